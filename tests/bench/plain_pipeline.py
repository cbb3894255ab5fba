"""The same preview by the plainest pipeline of general tools, beside ours: `python -m tests.bench.plain_pipeline`.

The plain one is a single FFmpeg command, as somebody who knows FFmpeg would write it: each record is trimmed to the
recipe's times, stretched by the filter `rubberband` (by `atempo` where FFmpeg has none), cut with `highpass` while the
other one has the low end, and both go through `amix` and `loudnorm` into the same kind of MP3. It is given every time
to the microsecond, and asked to become as loud as our clip; nothing is corrected that only a measurement would show.

Both are held against what is known of the records, by the tests' own measures: the attacks of each lane, alone through
the same pipeline, against those of the record (`tests.recorded.attack_lag`), and FFmpeg's meter for the file. Single
beats are told of the clicks alone: in music, that measure misreads some. What they cost is the processor's time for
the whole command, with nothing cached.
"""

import json
import os
import shutil
import statistics
import subprocess
import sys
import tempfile
from collections import defaultdict
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import cache, partial
from pathlib import Path

import imageio_ffmpeg
import numpy as np
import soundfile

from render.files.engines import engines_here
from render.files.ffmpeg import MP3_BITRATE
from render.files.store import CACHE_VARIABLE
from tests.bench.costs import missing_engines, processor_s
from tests.bench.previews import Preview, Record, of_clicks, of_demo_records
from tests.bench.rows import Row, load, tell
from tests.recorded.attack_lag import Beat, Heard, Lags
from tests.recorded.outside_meter import Levels, decoded, levels_of

LANDING_MS, WORST_BEAT_MS, CEILING_DBTP, CEILING_SLACK_DB = 1.0, 2.0, -1.0, 0.1
LOW_CUT_HZ = 150.0
"""What a recipe's `low_cut` takes where it says nothing else."""
ROUNDS, QUICK_ROUNDS = 3, 1
ALONE = "alone"
"""The variant of ours in which one lane is heard alone."""
Way = Callable[..., Path]
"""Makes the clip of a preview, or that of one of its records alone, and says where it is."""


def rows(quick: bool) -> Iterator[Row]:
    with tempfile.TemporaryDirectory() as place:
        yield from preview_rows(of_clicks(Path(place) / "clicks"), QUICK_ROUNDS if quick else ROUNDS)
        if not quick:
            yield from preview_rows(of_demo_records(Path(place) / "demo"), ROUNDS)


def preview_rows(preview: Preview, rounds: int) -> Iterator[Row]:
    """What came of each engine of ours and of the plain command, and what they cost."""
    came: dict[str, Came] = {}
    spent_s: dict[str, list[float]] = defaultdict(list)
    with load() as during:
        for number in range(rounds):
            for who, way in ways(preview, preview.folder / f"round{number}"):
                spent_s[who].append(processor_s(way))
                if number == 0:
                    came[who] = came_of(preview, way)
    for measure in MEASURES if preview.clicks else MEASURES[:-1]:
        for who, one in came.items():
            what, told, asked = measure(one)
            yield Row(f"{preview.what}: {what}, {who}", told, asked, during)
    yield from missing_engines(f"{preview.what}: ours")
    *our_names, plain_name = spent_s
    for who in our_names:
        ratios = [mine / its for mine, its in zip(spent_s[who], spent_s[plain_name], strict=True)]
        told = f"{statistics.median(ratios):.1f} × ({min(ratios):.1f} to {max(ratios):.1f})"
        yield Row(f"{preview.what}: time of the processor, {who} / {plain_name}", told, "", during)


def ways(preview: Preview, out: Path) -> Iterator[tuple[str, Way]]:
    """Each engine of ours, then the plain command, which has to become as loud as what the first of them has made."""
    engines = [engine.name for engine in engines_here()]
    for engine in engines:
        yield f"ours, {engine}", partial(ours, preview, engine, out / engine)
    receipt = json.loads((out / engines[0] / "clips" / "clip.json").read_text(encoding="utf-8"))
    _, stretch = stretching_ffmpeg()
    name = "one FFmpeg command" if stretch == "rubberband" else f"one FFmpeg command with {stretch}"
    yield name, partial(plain, preview, receipt["encoded"]["integrated_lufs"], out)


# --- the two pipelines ---


def ours(preview: Preview, engine: str, out: Path, only: Record | None = None) -> Path:
    """The recipe's clip by the program as a person starts it, or one of its lanes with the other turned down."""
    recipe, name = preview.recipe, "clip"
    if only:
        (other,) = (record for record in preview.records if record is not only)
        alone = f"{ALONE}: {{tracks: {{{other.name}: {{gain: -60 dB}}}}}}"
        recipe, name = f"{recipe}try: {{{alone}}}\n", only.name
    (preview.folder / f"{name}.yaml").write_text(recipe, encoding="utf-8")
    program = str(Path(sys.executable).with_name("dropkiln"))
    options = ["--out", str(out), "--jobs", "1", "--engine", engine, "--plain"]
    run(preview.folder, program, "render", f"{name}.yaml", *options, **{CACHE_VARIABLE: str(out / "cache")})
    return out / "clips" / (f"{name}--{ALONE}.mp3" if only else f"{name}.mp3")


def plain(preview: Preview, lufs: float, out: Path, only: Record | None = None) -> Path:
    """The clip by one FFmpeg command, or one of its lanes alone through the same filters."""
    records = [record for record in preview.records if only in (None, record)]
    graph = "".join(f"[{n}:a]{lane_filters(preview, record)}[lane{n}];" for n, record in enumerate(records))
    graph += "".join(f"[lane{n}]" for n in range(len(records)))
    graph += f"amix=inputs={len(records)}:normalize=0,loudnorm=I={lufs:.2f}:TP={CEILING_DBTP:g}"
    path = out / f"{only.name if only else 'clip'}.mp3"
    files = [word for record in records for word in ("-i", record.file)]
    mp3 = ["-ar", "44100", "-t", f"{preview.length_s:.6f}", "-c:a", "libmp3lame", "-b:a", MP3_BITRATE]
    program, _ = stretching_ffmpeg()
    run(preview.folder, program, "-v", "error", "-y", *files, "-filter_complex", graph, *mp3, str(path))
    return path


def lane_filters(preview: Preview, record: Record) -> str:
    start_s, end_s = record.beat_s(-preview.lead), record.beat_s(preview.tail)
    _, stretch = stretching_ffmpeg()
    others_turn = "gte" if record is preview.records[0] else "lt"
    return (
        f"atrim=start={start_s:.6f}:end={end_s:.6f},asetpts=PTS-STARTPTS,"
        f"{stretch}=tempo={preview.speed(record):.9f},"
        f"highpass=f={LOW_CUT_HZ:g}:enable='{others_turn}(t,{preview.landing_s:.6f})'"
    )


@cache
def stretching_ffmpeg() -> tuple[str, str]:
    """An FFmpeg and the filter it stretches with: the one that encodes our clips, if it has the better filter."""
    wheel, installed = imageio_ffmpeg.get_ffmpeg_exe(), shutil.which("ffmpeg")
    for program in filter(None, (wheel, installed)):
        command = [program, "-hide_banner", "-filters"]
        if " rubberband " in subprocess.run(command, capture_output=True, text=True, check=True).stdout:
            return program, "rubberband"
    return wheel, "atempo"


def run(folder: Path, *command: str, **environment: str) -> None:
    ended = subprocess.run(
        command,
        cwd=folder,
        env={**os.environ, **environment},
        stdin=subprocess.DEVNULL,
        capture_output=True,
        text=True,
        check=False,
    )
    assert ended.returncode == 0, ended.stderr


# --- what came of them ---


@dataclass(frozen=True)
class Came:
    """A clip, by FFmpeg's meter and decoder, and how late each of its lanes is."""

    lags: dict[str, Lags]
    landing: int
    """Which of the lags is that of the landing."""
    levels: Levels
    over: int
    """Samples beyond full scale in the decoded file."""


def came_of(preview: Preview, way: Way) -> Came:
    clip = way()
    with tempfile.TemporaryDirectory() as folder:
        sound, _ = decoded(clip, Path(folder))
    return Came(
        {record.name: lags_of(preview, record, way(record)) for record in preview.records},
        preview.lead - 1,
        levels_of(clip),
        int(np.count_nonzero(np.abs(sound) > 1.0)),
    )


def lags_of(preview: Preview, record: Record, clip: Path) -> Lags:
    """How late each beat of a lane is, heard alone: those whose surroundings lie within the clip."""
    source, source_rate_hz = soundfile.read(preview.folder / record.file, always_2d=True)
    with tempfile.TemporaryDirectory() as folder:
        sound, rate_hz = decoded(clip, Path(folder))
    speed, beat_s = preview.speed(record), 60.0 / preview.tempo_bpm
    heard = Heard(sound.mean(axis=1), rate_hz, source.mean(axis=1), source_rate_hz, speed)
    beats = range(1 - preview.lead, preview.tail - 1)
    return heard.lags([Beat(preview.landing_s + beat * beat_s, record.beat_s(beat)) for beat in beats])


def landing(came: Came) -> tuple[str, str, str]:
    lags = {name: each.beats[came.landing] for name, each in came.lags.items()}
    return "landing of each lane", of_lanes(lags), f"≤ {LANDING_MS:g} ms"


def all_beats(came: Came) -> tuple[str, str, str]:
    lags = {name: each.common for name, each in came.lags.items()}
    told = f"{of_lanes(lags)}; {clear_beats(came)}"
    return "all beats of each lane together", told, f"≤ {LANDING_MS:g} ms"


def clear_beats(came: Came) -> str:
    """How many attacks are enough like the record's to be told one by one."""
    counts = " and ".join(f"{len(each.told)} of {len(each.beats)}" for each in came.lags.values())
    return f"{counts} are clear alone"


def of_lanes(lags_ms: dict[str, float | None]) -> str:
    told = ", ".join(
        f"{name} {'not clear' if ms is None else f'{ms:+.2f} ms'}" for name, ms in lags_ms.items()
    )
    known = [ms for ms in lags_ms.values() if ms is not None]
    return f"{told}; {max(known) - min(known):.2f} ms apart" if len(known) == len(lags_ms) else told


def worst_beat(came: Came) -> tuple[str, str, str]:
    worst = {name: max(map(abs, each.told), default=None) for name, each in came.lags.items()}
    told = ", ".join(f"{name} {'none clear' if ms is None else f'{ms:.2f} ms'}" for name, ms in worst.items())
    return "worst beat of each lane", told, f"≤ {WORST_BEAT_MS:g} ms"


def peak(came: Came) -> tuple[str, str, str]:
    told = f"{came.levels.true_peak_dbtp:+.2f} dBTP at {came.levels.integrated_lufs:.1f} LUFS"
    clips = f"{came.over} samples over full scale" if came.over else "does not clip"
    return "true peak of the MP3", f"{told}, {clips}", f"≤ {CEILING_DBTP + CEILING_SLACK_DB:g} dBTP"


MEASURES: tuple[Callable[[Came], tuple[str, str, str]], ...] = (landing, all_beats, peak, worst_beat)


if __name__ == "__main__":
    tell(rows("--quick" in sys.argv[1:]))
