"""What it costs to hear a record: `python -m tests.bench.ears_cost`.

Speed is seconds of sound for each second of one core's time (the processor's, not the clock's), imports done. Memory is
the peak of a fresh process that hears a stereo file of ten minutes block by block, as the program does.
"""

import multiprocessing
import os
import statistics
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any
from unittest.mock import patch

import soundfile

from render.analysis.bands import BandListener
from render.analysis.grid import find_grid
from render.analysis.levels import LevelListener
from render.analysis.onsets import OnsetListener
from render.analysis.record import RecordListener
from render.analysis.tonal import TonalListener
from render.analysis.voice import VoiceListener
from render.demo.records import RECORDS, render_record
from render.files.audio_files import blocks_of, open_recording
from render.values import Audio
from tests.bench.costs import peak_mib_of
from tests.bench.rows import Load, Row, load, tell

RECORD = "thimbleyard"
"""The one that is sung."""
ROUNDS = 5
BLOCK_FRAMES = 65_536
LONG_S = 600.0
SPEED_BAR = 40.0
MEMORY_BAR_MIB = 600.0
LISTENERS: dict[str, Callable[[int], Any]] = {
    "attacks": OnsetListener,
    "bands": BandListener,
    "tones": TonalListener,
    "voice": VoiceListener,
    "levels": LevelListener,
    "everything": RecordListener,
}


def rows(quick: bool) -> Iterator[Row]:
    one_thread = dict.fromkeys(("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "NUMBA_NUM_THREADS"), "1")
    spawn = multiprocessing.get_context("spawn")
    with (
        tempfile.TemporaryDirectory() as folder,
        patch.dict(os.environ, one_thread),
    ):  # for what is started below
        path = Path(folder) / "ten-minutes.flac"
        sound, rate_hz = render_record(next(record for record in RECORDS if record.name == RECORD))
        write_long(path, sound, rate_hz)
        with spawn.Pool(1) as pool, load() as during:
            cost_s = pool.apply(costs_s, (sound, rate_hz, 2 if quick else ROUNDS))
        yield from speed_rows(cost_s, len(sound) / rate_hz, during)
        with spawn.Pool(1) as pool, load() as during:
            before_mib, peak_mib, cpu_s = pool.apply(hear_file, (path,))
    told = f"{peak_mib:.0f} MiB, {before_mib:.0f} of them imports"
    yield Row("peak memory of hearing ten minutes", told, f"≤ {MEMORY_BAR_MIB:.0f} MiB", during)
    yield Row("hearing ten minutes, decoding included", f"{LONG_S / cpu_s:.0f} × real time", "", during)


def speed_rows(cost_s: dict[str, float], duration_s: float, during: Load) -> Iterator[Row]:
    whole = cost_s.pop("everything")
    yield Row("hearing a record", f"{duration_s / whole:.0f} × real time", f"≥ {SPEED_BAR:.0f} ×", during)
    shares = sorted(cost_s.items(), key=lambda item: -item[1])
    told = ", ".join(f"{name} {each / whole:.0%}" for name, each in shares)
    yield Row("where its time goes, each part alone", told, "", during)


def write_long(path: Path, sound: Audio, rate_hz: int) -> None:
    """The same record over and over until ten minutes are full."""
    with soundfile.SoundFile(path, "w", rate_hz, sound.shape[1]) as file:
        left = round(LONG_S * rate_hz)
        while left:
            part = sound[:left]
            file.write(part)
            left -= len(part)


def costs_s(sound: Audio, rate_hz: int, rounds: int) -> dict[str, float]:
    """The median cost of each listener, and of the grid from what was heard."""
    times: dict[str, list[float]] = {name: [] for name in (*LISTENERS, "grid")}
    for _ in range(rounds):
        for name, listener_type in LISTENERS.items():
            start_s = time.process_time()
            heard = heard_by(listener_type(rate_hz), sound)
            times[name].append(time.process_time() - start_s)
            if name == "attacks":
                start_s = time.process_time()
                find_grid(heard)
                times["grid"].append(time.process_time() - start_s)
    return {name: statistics.median(each) for name, each in times.items()}


def heard_by(listener: Any, sound: Audio) -> Any:
    for first in range(0, len(sound), BLOCK_FRAMES):
        listener.feed(sound[first : first + BLOCK_FRAMES])
    return listener.heard()


def hear_file(path: Path) -> tuple[float, float, float]:
    """Memory before, and at its peak while a file is heard, in MiB; and the processor's time, in seconds."""
    before_mib, start_s = peak_mib_of(), time.process_time()
    recording = open_recording(path)
    listener = RecordListener(recording.rate_hz)
    for block in blocks_of(recording):
        listener.feed(block)
    assert listener.heard().by_bars is not None
    return before_mib, peak_mib_of(), time.process_time() - start_s


if __name__ == "__main__":
    tell(rows("--quick" in sys.argv[1:]))
