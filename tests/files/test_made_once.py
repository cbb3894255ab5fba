"""Two workers that begin on one passage at the same moment: one makes it, the other waits for it."""

import subprocess
import sys
import threading
from concurrent.futures import ThreadPoolExecutor, wait
from pathlib import Path

import numpy as np
import pytest

from render.files.known_hashes import key_of
from render.files.shelf import Sounds, shelf_of
from render.files.store import CACHE_VARIABLE

SOON_S = 30.0
"""For what takes a moment; the rest is for a busy machine."""
KEY = key_of("a passage")


@pytest.fixture
def cache(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv(CACHE_VARIABLE, str(tmp_path / "cache"))
    return tmp_path / "cache"


def test_what_another_worker_is_making_is_waited_for(cache: Path) -> None:
    """Two that begin on one passage at the same moment."""
    made, going_on = threading.Event(), threading.Event()

    def make() -> Sounds:
        made.set()
        assert going_on.wait(SOON_S)
        return {"clipped_runs": 0}, [np.full((3, 2), 0.25, np.float32)]

    def fail() -> Sounds:
        raise AssertionError

    with ThreadPoolExecutor(2) as workers:
        one = workers.submit(shelf_of().sound_made_once, KEY, make)
        assert made.wait(SOON_S)
        other = workers.submit(shelf_of().sound_made_once, KEY, fail)
        assert not wait([other], timeout=0.3).done
        going_on.set()
        for notes, (audio,) in (one.result(SOON_S), other.result(SOON_S)):
            assert (notes, audio.tolist()) == ({"clipped_runs": 0}, [[0.25, 0.25]] * 3)
    assert [path.name for path in (cache / "sounds").iterdir()] == [KEY]


MAKER = """
import sys, time
from render.files.shelf import shelf_of
shelf_of().sound_made_once(sys.argv[1], lambda: print("making", flush=True) or time.sleep(600))
"""


def test_what_another_worker_was_killed_over_is_made_all_the_same(cache: Path) -> None:
    sounds: Sounds = {"clipped_runs": 0}, []
    with subprocess.Popen([sys.executable, "-c", MAKER, KEY], stdout=subprocess.PIPE, text=True) as other:
        assert other.stdout is not None and other.stdout.readline() == "making\n"
        with ThreadPoolExecutor(1) as workers:
            here = workers.submit(shelf_of().sound_made_once, KEY, lambda: sounds)
            assert not wait([here], timeout=0.3).done
            other.kill()
            assert here.result(SOON_S) == sounds
