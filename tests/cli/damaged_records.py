"""Records that broke off or were scratched, and what becomes of each: made anew for every run, never kept.

A case is one record in one format, cut at some place or with one byte changed. Half of the changed bytes lie in what
the format says of the sound, half in the sound. Cases are tried in a process of their own, which may crash or hang.
"""

import json
import multiprocessing
import os
import shutil
import subprocess
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from multiprocessing.connection import Connection
from pathlib import Path

import numpy as np
import soundfile
from desk import EMBER, RATE_HZ, SLATE, TEMPO_BPM, Desk, Ended

from render.files.ffmpeg import find_ffmpeg

PLACES = 20
"""Of cuts, and of changed bytes, in each format."""

ENCODED = {
    "WAV": (".wav", ["-c:a", "pcm_s24le"]),
    "AIFF": (".aiff", ["-c:a", "pcm_s24be"]),
    "FLAC": (".flac", ["-c:a", "flac"]),
    "Ogg Vorbis": (".ogg", ["-c:a", "libvorbis", "-q:a", "6"]),
    "Opus": (".opus", ["-c:a", "libopus", "-b:a", "160k"]),
    "MP3": (".mp3", ["-c:a", "libmp3lame", "-b:a", "192k"]),
    "MP3 without a tag": (".mp3", ["-c:a", "libmp3lame", "-b:a", "192k", "-write_xing", "0"]),
    "M4A": (".m4a", ["-c:a", "aac", "-b:a", "192k"]),
    "M4A, index first": (".m4a", ["-c:a", "aac", "-b:a", "192k", "-movflags", "faststart"]),
    "M4A, lossless": (".m4a", ["-c:a", "alac"]),
}

HANGS_AFTER_S = 60.0
"""A case takes half a second on an idle machine."""

FADED_FRAMES = 512
"""At the clip's ends, where the lanes are faded."""

INAUDIBLE = 2e-6
"""Sixteen times the steps of 24 bits: what rounding leaves where the lanes' gains changed a little."""


@dataclass(frozen=True)
class Case:
    form: str
    what: str
    """`cut at 1234`, `byte 1234 changed`."""
    data: bytes

    def __str__(self) -> str:
        return f"{self.form}, {self.what}"


@dataclass(frozen=True)
class Outcome:
    """What became of a case. `look` and `render` are `refused`, `right`, `told`, or what is wrong.

    - `refused`: one line says what is wrong with the record, and there is no clip;
    - `right`: the clip is, sample for sample, that of the undamaged record;
    - `told`: it is not, or need not be, and a warning says that the record is damaged;
    - `unnoticed`: the clip has another sound for up to a quarter of a second, and no warning.
    """

    look: str
    render: str
    text: str = ""


def cases(forms: Sequence[str], folder: Path) -> Iterator[Case]:
    for form in forms:
        data = encoded(form, folder)
        rng = np.random.default_rng(sorted(ENCODED).index(form))
        for at in np.linspace(0.01, 0.995, PLACES) * len(data):
            yield Case(form, f"cut at {int(at)}", data[: int(at)])
        about = places_about_the_sound(form, data)
        for at in [*rng.choice(about, PLACES // 2), *rng.integers(0, len(data), PLACES - PLACES // 2)]:
            changed = bytearray(data)
            changed[at] ^= int(rng.integers(1, 256))
            yield Case(form, f"byte {at} changed", bytes(changed))


def encoded(form: str, folder: Path) -> bytes:
    suffix, arguments = ENCODED[form]
    source, path = folder / "undamaged.wav", folder / f"undamaged{suffix}"
    soundfile.write(source, SLATE, RATE_HZ, subtype="PCM_24")
    made = path.with_name(f"encoded{suffix}")
    subprocess.run([find_ffmpeg(), "-y", "-v", "error", "-i", source, *arguments, made], check=True)
    source.unlink()
    return made.read_bytes()


def places_about_the_sound(form: str, data: bytes) -> list[int]:
    """Which bytes say something of the sound and are not it."""
    match form:
        case "WAV":
            return [*range(data.index(b"data") + 8)]
        case "AIFF":
            return [*range(data.index(b"SSND") + 16)]
        case "FLAC":
            return [*range(42), *range(found := data.index(b"\xff\xf8"), found + 16)]
        case "Ogg Vorbis" | "Opus":
            heads = [at for at in range(len(data)) if data.startswith(b"OggS", at)]
            return [*range(100), *(at + offset for at in heads for offset in range(27))]
        case "MP3" | "MP3 without a tag":
            first = data.index(b"\xff\xfb")
            heads = [at for at in range(first, len(data)) if data.startswith(b"\xff\xfb\xb0", at)]
            return [*range(first + 200), *(at + offset for at in heads for offset in range(4))]
        case _:
            start = data.index(b"moov") - 4
            return [*range(start, start + int.from_bytes(data[start : start + 4], "big"))]


def outcomes(tried: Sequence[Case], folder: Path) -> Iterator[tuple[Case, Outcome]]:
    """What becomes of each case, in a process that is begun again when it crashes or hangs."""
    left = list(tried)
    while left:
        here, there = multiprocessing.Pipe()
        child = multiprocessing.get_context("spawn").Process(target=_try_all, args=(there, left, folder))
        child.start()
        there.close()
        try:
            while left:
                if not here.poll(HANGS_AFTER_S):
                    child.kill()
                    yield left.pop(0), Outcome("hangs", "hangs")
                    break
                outcome: Outcome = here.recv()
                yield left.pop(0), outcome
        except EOFError:
            child.join()
            yield left.pop(0), Outcome("crashes", "crashes", f"status {child.exitcode}")
        finally:
            child.kill()
            child.join()


def _try_all(parent: Connection, tried: Sequence[Case], folder: Path) -> None:
    os.environ["DROPKILN_CACHE"] = str(folder / "cache")
    bench = _Bench(folder)
    for case in tried:
        try:
            parent.send(bench.outcome(case))
        except Exception as error:  # noqa: BLE001 - whatever it is, it is what became of the case
            parent.send(Outcome("fails", "fails", f"{type(error).__name__}: {error}"))


class _Bench:
    """A desk with one damaged record after the other on it."""

    def __init__(self, folder: Path) -> None:
        place = folder / f"desk-{os.getpid()}"
        place.mkdir()
        self.folder, self.desk = folder, Desk(place)
        (place / "slate.wav").unlink()
        self._undamaged: dict[str, tuple[np.ndarray, set[str]]] = {}

    def outcome(self, case: Case) -> Outcome:
        if case.form not in self._undamaged:
            self._render(case.form, encoded(case.form, self.folder))
            assert self.desk.clips() == ["test.flac", "test.json", "test.svg"]
            self._undamaged[case.form] = self._clip()
        ended = self._render(case.form, case.data)
        text = " | ".join(ended.told)
        look, looked = self._looked(case.form)
        return Outcome(look, self._rendered(case, ended.status, ended.told), f"{text} | {looked}")

    def _render(self, form: str, data: bytes) -> Ended:
        name = f"slate{ENCODED[form][0]}"
        shutil.rmtree(self.desk.folder / "out", ignore_errors=True)
        self.desk.text(name, data)
        self.desk.recipe("test.yaml", ("slate.wav", name))
        self._before = set(self.desk.contents())
        return self.desk.run("render", "test.yaml")

    def _clip(self) -> tuple[np.ndarray, set[str]]:
        audio, _ = soundfile.read(self.desk.folder / "out/clips/test.flac")
        found = self.desk.receipt("test")["findings"]
        return audio, {one["text"] for one in found if one["level"] == "warning"}

    def _rendered(self, case: Case, status: int, told: list[str]) -> str:
        there = self.desk.clips()
        stray = {one for one in self.desk.contents() if not one.startswith("out")} - self._before
        if stray:
            return f"leaves {sorted(stray)} behind"
        if status:
            if len(told) != 1 or there not in ([], ["test.log"]) or (status == 2) != (there == []):
                return f"is refused with {len(told)} lines, status {status} and {there}"
            return "refused"
        if there != ["test.flac", "test.json", "test.svg"]:
            return f"is made with {there}"
        self.desk.assert_whole("test")
        audio, warnings = self._clip()
        right, usual = self._undamaged[case.form]
        if audio.shape == right.shape and np.array_equal(audio, right):
            return "right"
        if warnings - usual:
            return "told"
        return "unnoticed" if audio.shape == right.shape and is_a_glitch(audio, right) else "WRONG"

    def _looked(self, form: str) -> tuple[str, str]:
        before = self.desk.contents()
        ended = self.desk.run("look", f"slate{ENCODED[form][0]}", "--json")
        if self.desk.contents() != before:
            return "leaves files behind", ""
        looked = json.loads(ended.out)
        if ended.status:
            return ("refused" if (looked, len(ended.told)) == ([], 1) else "is garbled"), ended.err
        return ("told" if looked[0].get("note") else "heard"), ""


def is_a_glitch(audio: np.ndarray, right: np.ndarray) -> bool:
    """Whether a clip is the right one but for up to a quarter of a second.

    A changed sample changes the loudness of its lane a little, and with it the gains of both: so the clip may be any
    sum of the right one and of the other lane, which is not damaged and not stretched.
    """
    start = round((0.25 + 4 * 60 / TEMPO_BPM) * RATE_HZ)
    basis = np.stack([right[:, 0], EMBER[start : start + len(right), 0]], axis=1)
    within = np.ones(len(right), bool)
    for _ in range(8):
        gains = np.linalg.lstsq(basis[within], audio[within, 0], rcond=None)[0]
        apart = np.abs(audio[:, 0] - basis @ gains)
        within = apart <= max(INAUDIBLE, float(np.quantile(apart[within], 0.95)))
    differs = np.abs(audio - (basis @ gains)[:, None]).max(axis=1) > INAUDIBLE
    off = np.flatnonzero(differs[FADED_FRAMES:-FADED_FRAMES])
    return len(off) == 0 or int(off[-1] - off[0]) <= RATE_HZ // 4


def table(found: Sequence[tuple[Case, Outcome]]) -> str:
    """How many cases of each format came to what, as Markdown."""
    heads = ("refused", "right", "told", "unnoticed")
    rows = ["| format | damage | " + " | ".join(heads) + " | look: refused | heard, told | heard |"]
    rows.append("|---|---|" + "--:|" * 7)
    for form in dict.fromkeys(case.form for case, _ in found):
        for damage in ("cut", "byte"):
            of = [outcome for case, outcome in found if case.form == form and case.what.startswith(damage)]
            counts = [sum(one.render == head for one in of) for head in heads]
            counts += [sum(one.look == head for one in of) for head in ("refused", "told", "heard")]
            rows.append(f"| {form} | {damage} | " + " | ".join(map(str, counts)) + " |")
    return "\n".join(rows)
