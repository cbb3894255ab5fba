"""Recordings that are known are not opened, and hashed once; whatever may have changed is opened again."""

from pathlib import Path

import numpy as np
import pytest
import soundfile

from render.facts import NOTHING_GIVEN
from render.faults import SourceError
from render.files import audio_files, known_hashes, known_recordings
from render.files.audio_files import open_recording
from render.files.facts_store import facts_store, place_of
from render.files.known_recordings import known_recording
from render.files.shelf import shelf_of
from render.files.store import CACHE_VARIABLE

LATER_NS = 10_000_000_000
"""After this no change of a file hides within a tick of its disk's clock."""


@pytest.fixture(autouse=True)
def cache(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv(CACHE_VARIABLE, str(tmp_path / "cache"))
    return tmp_path / "cache"


@pytest.fixture
def later(monkeypatch: pytest.MonkeyPatch) -> None:
    now_ns = known_hashes.time.time_ns()
    monkeypatch.setattr(known_hashes.time, "time_ns", lambda: now_ns + LATER_NS)


@pytest.fixture
def opened(monkeypatch: pytest.MonkeyPatch) -> list[Path]:
    """The files that were opened."""
    paths: list[Path] = []
    monkeypatch.setattr(
        audio_files, "open_recording", lambda path: paths.append(path) or open_recording(path)
    )
    return paths


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return written(tmp_path / "a.wav", 44_100)


def written(path: Path, rate_hz: int) -> Path:
    soundfile.write(path, np.full((4_410, 2), 0.25), rate_hz)
    return path


@pytest.mark.usefixtures("later")
def test_a_recording_that_was_not_touched_is_opened_once(path: Path, opened: list[Path]) -> None:
    first, again = (known_recording(path, facts_store()) for _ in range(2))
    assert first == again == open_recording(path)
    assert opened == [path]


@pytest.mark.usefixtures("later")
def test_a_recording_that_was_replaced_is_opened_again(path: Path, opened: list[Path]) -> None:
    known_recording(path, facts_store())
    written(path.with_name("b.wav"), 48_000).replace(path)
    assert known_recording(path, facts_store()).rate_hz == 48_000
    assert opened == [path, path]


def test_a_recording_that_was_written_a_moment_ago_is_opened_again(path: Path, opened: list[Path]) -> None:
    for _ in range(2):
        known_recording(path, facts_store())
    assert opened == [path, path]


@pytest.mark.usefixtures("later")
@pytest.mark.parametrize("what", ["RECORDING_VERSION", "_versions"])
def test_another_version_of_what_reads_opens_it_again(
    path: Path, opened: list[Path], monkeypatch: pytest.MonkeyPatch, what: str
) -> None:
    known_recording(path, facts_store())
    other = {"RECORDING_VERSION": 0, "_versions": lambda: ("0.0.0",)}[what]
    monkeypatch.setattr(known_recordings, what, other)
    known_recording(path, facts_store())
    assert opened == [path, path]


@pytest.mark.usefixtures("later")
def test_what_cannot_be_opened_is_told_each_time(path: Path, opened: list[Path]) -> None:
    path.write_bytes(b"no sound")
    for _ in range(2):
        with pytest.raises(SourceError, match="it is not a sound file that can be read"):
            known_recording(path, facts_store())
    assert opened == [path, path]
    with pytest.raises(SourceError, match="there is no such file"):
        known_recording(path.with_name("gone.wav"), facts_store())


@pytest.mark.usefixtures("later")
def test_a_record_is_hashed_once_for_its_facts_and_for_its_clips(
    path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    hashed: list[Path] = []
    real = known_hashes.sha256_of
    monkeypatch.setattr(known_hashes, "sha256_of", lambda path: hashed.append(path) or real(path))
    place_of(open_recording(path), NOTHING_GIVEN, facts_store())
    assert shelf_of().sha256(path) == shelf_of(fresh=True).sha256(path) == real(path)
    assert hashed == [path]
