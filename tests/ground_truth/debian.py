"""Sets made of what Debian's archive holds: recorded loops, tracker music, MIDI pieces, produced music.

Packages are fetched and unpacked as `tests/recorded/conftest.py` says; what is rendered from them stays beside them
in the cache folder, never in the repository. Tracker music needs the program openmpt123, MIDI needs fluidsynth.
Without them, or without a way to the archive, a set is empty and says why (`Missing`).
"""

import shutil
import subprocess
import tempfile
import zipfile
from collections.abc import Callable
from functools import cache, partial
from pathlib import Path

import numpy as np
import pytest
import soundfile

from render.values import Audio
from tests.ground_truth.facts_of_recordings import (
    LOOPS,
    MODULES,
    PIECES,
    PRODUCED,
    Loop,
    Module,
    Piece,
    Produced,
)
from tests.ground_truth.truth import Record, Truth, steady_beats
from tests.ground_truth.written_midi import WRITTEN, Written
from tests.recorded.conftest import cache_folder, package

RATE_HZ = 44_100
EXCERPT_S = 90
RENDER_LIMIT_S = 120
SOUNDFONT = ("timgm6mb-soundfont", "usr/share/sounds/sf2/TimGM6mb.sf2")
PRODUCED_FROM_S = 15


class Missing(Exception):
    """Why a set cannot be had on this machine."""


def loop_records() -> list[Record]:
    """Drum loops as recorded, one after another: exact in tempo, and drums alone."""
    unpacked("sonic-pi-samples")
    return [Record(_loop_truth(loop), partial(_tiled, loop)) for loop in LOOPS]


def module_records() -> list[Record]:
    _tool("openmpt123")
    for name in {module.package for module in MODULES}:
        unpacked(name)
    return [Record(_module_truth(module), partial(_rendered_module, module)) for module in MODULES]


def midi_records() -> list[Record]:
    """Pieces somebody wrote, and pieces written here so that their keys are known."""
    _tool("fluidsynth")
    unpacked(SOUNDFONT[0])
    unpacked("openttd-openmsx")
    pieces = [Record(_piece_truth(piece), partial(_rendered_piece, piece)) for piece in PIECES]
    return pieces + [Record(_written_truth(piece), partial(_rendered_written, piece)) for piece in WRITTEN]


def produced_records() -> list[Record]:
    """Produced electronic music, whose tempo two measurements agreed upon: true to about 0.01 %."""
    unpacked("nexuiz-music")
    return [Record(_produced_truth(piece), partial(_excerpt, piece)) for piece in PRODUCED]


@cache
def unpacked(name: str) -> Path:
    """The files of a Debian package; raises `Missing` where it cannot be had."""
    try:
        return package(name)
    except pytest.skip.Exception as reason:
        raise Missing(str(reason)) from reason


def _tool(name: str) -> str:
    found = shutil.which(name)
    if not found:
        raise Missing(f"needs the program {name}")
    return found


def _loop_truth(loop: Loop) -> Truth:
    length_s = loop.repeats * loop.frames / RATE_HZ
    return Truth(
        name=loop.name,
        set="loops",
        tempo_bpm=loop.tempo_bpm,
        first_beat_s=0.0,
        beats=steady_beats(0.0, loop.tempo_bpm, length_s),
        beats_per_bar=None if loop.beats % 4 else 4,
        tonal=loop.tonal,
        phase="exact" if loop.phase_exact else "open",
        caveats=() if loop.phase_exact else ("its strongest attacks lie on the off-beat",),
    )


def _tiled(loop: Loop) -> tuple[Audio, int]:
    path = unpacked("sonic-pi-samples") / f"usr/share/sonic-pi/samples/{loop.name}.flac"
    audio, rate_hz = soundfile.read(path, dtype="float32", always_2d=True, frames=loop.frames)
    assert rate_hz == RATE_HZ
    return np.tile(audio, (loop.repeats, 1)), rate_hz


def _module_truth(module: Module) -> Truth:
    return Truth(
        name=module.name,
        set="modules",
        tempo_bpm=module.tempo_bpm,
        first_beat_s=0.0,
        beats=steady_beats(0.0, module.tempo_bpm, EXCERPT_S),
        phase="exact" if module.phase_exact else "open",
        caveats=() if module.phase_exact else ("its strongest attacks lie on the off-beat",),
    )


def _rendered_module(module: Module) -> tuple[Audio, int]:
    source = unpacked(module.package) / module.path
    return _kept(f"{module.package}-{source.stem}", partial(_play_module, source))


def _play_module(source: Path, folder: Path) -> Path:
    copy = folder / source.name  # the player writes beside what it plays
    shutil.copy(source, copy)
    shape = ["--samplerate", str(RATE_HZ), "--channels", "2", "--float", "--end-time", str(EXCERPT_S)]
    _run([_tool("openmpt123"), "--quiet", "--batch", "--render", *shape, str(copy)])
    return copy.with_name(copy.name + ".wav")


def _piece_truth(piece: Piece) -> Truth:
    return Truth(
        name=piece.name,
        set="midi",
        tempo_bpm=piece.tempo_bpm,
        first_beat_s=0.0,
        beats=steady_beats(0.0, piece.tempo_bpm, EXCERPT_S),
        key=piece.key,
        tonal=True,
        caveats=("the synthesiser starts notes on blocks of 64 frames: 1.5 ms", *piece.caveats),
    )


def _rendered_piece(piece: Piece) -> tuple[Audio, int]:
    source = unpacked("openttd-openmsx") / f"usr/share/games/openttd/baseset/openmsx/{piece.name}.mid"
    return _kept(f"openmsx-{piece.name}", partial(_play_midi, source))


def _written_truth(piece: Written) -> Truth:
    return Truth(
        name=piece.name,
        set="midi",
        tempo_bpm=piece.tempo_bpm,
        first_beat_s=0.0,
        beats=steady_beats(0.0, piece.tempo_bpm, piece.length_s),
        key=piece.key,
        tonal=piece.key is not None,
        held_out=piece.held_out,
        caveats=("the synthesiser starts notes on blocks of 64 frames: 1.5 ms",),
    )


def _rendered_written(piece: Written) -> tuple[Audio, int]:
    def play(folder: Path) -> Path:
        source = folder / "piece.mid"
        source.write_bytes(piece.midi_file())
        return _play_midi(source, folder)

    return _kept(f"written-{piece.stem}", play)


def _play_midi(source: Path, folder: Path) -> Path:
    font_package, font = SOUNDFONT
    made = folder / "piece.wav"
    soundfont = str(unpacked(font_package) / font)
    _run(
        [
            _tool("fluidsynth"),
            "-ni",
            "-q",
            "-g",
            "0.6",
            "-r",
            str(RATE_HZ),
            "-F",
            str(made),
            soundfont,
            str(source),
        ]
    )
    return made


def _produced_truth(piece: Produced) -> Truth:
    return Truth(
        name=piece.name,
        set="produced",
        tempo_bpm=piece.tempo_bpm,
        first_beat_s=piece.first_beat_s,
        beats=steady_beats(piece.first_beat_s, piece.tempo_bpm, EXCERPT_S),
        beats_per_bar=None,
        phase="measured",
        caveats=("tempo and beat are a consensus of two measurements, to 0.01 % and 25 ms",),
    )


def _excerpt(piece: Produced) -> tuple[Audio, int]:
    def take(folder: Path) -> Path:
        with zipfile.ZipFile(unpacked("nexuiz-music") / "usr/share/games/nexuiz/data/music.pk3") as packed:
            member = Path(packed.extract(f"sound/cdtracks/{piece.name}.ogg", folder))
        with soundfile.SoundFile(member) as file:
            file.seek(PRODUCED_FROM_S * file.samplerate)
            audio = file.read(EXCERPT_S * file.samplerate, dtype="float32", always_2d=True)
            soundfile.write(folder / "excerpt.wav", audio, file.samplerate)
        return folder / "excerpt.wav"

    return _kept(f"produced-{piece.name}", take)


def _kept(name: str, make: Callable[[Path], Path]) -> tuple[Audio, int]:
    """What `make` renders into a folder, from the cache if it was rendered before; peaks at -1 dBFS at most."""
    place = cache_folder() / "ground-truth" / f"{name}.flac"
    if not place.is_file():
        place.parent.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryDirectory(dir=place.parent) as folder:
            made = make(Path(folder))
            audio, rate_hz = soundfile.read(made, dtype="float32", always_2d=True, frames=EXCERPT_S * RATE_HZ)
            audio *= min(1.0, 0.891 / float(np.max(np.abs(audio))))
            soundfile.write(Path(folder) / "made.flac", audio, rate_hz)
            (Path(folder) / "made.flac").replace(place)
    audio, rate_hz = soundfile.read(place, dtype="float32", always_2d=True)
    return audio, rate_hz


def _run(command: list[str]) -> None:
    subprocess.run(command, check=True, capture_output=True, timeout=RENDER_LIMIT_S)
