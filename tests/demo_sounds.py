"""The sound of the demo's records, made once for a whole test run, whichever of its processes asks first."""

import hashlib
import os
from functools import cache
from pathlib import Path

import numpy as np

from render.demo.records import render_record
from render.demo.score import DemoRecord
from render.values import Audio

FOLDER_VARIABLE = "DROPKILN_TEST_SOUNDS"
"""Where `tests/conftest.py` says the folder that all processes of a run share, and no other run, is."""


@cache
def rendered(record: DemoRecord) -> tuple[Audio, int]:
    """What `render_record` gives: the sound, which nobody may change, and its rate in Hz."""
    name = hashlib.sha256(repr(record).encode()).hexdigest()
    path = Path(os.environ[FOLDER_VARIABLE]) / f"{name}.npz"
    if not path.exists():
        sound, rate_hz = render_record(record)
        unfinished = path.with_name(f"{os.getpid()}-{path.name}")
        np.savez(unfinished, sound=sound, rate_hz=rate_hz)
        unfinished.replace(path)
    with np.load(path) as kept:
        sound, rate_hz = kept["sound"], int(kept["rate_hz"])
    sound.flags.writeable = False
    return sound, rate_hz
