"""Facts come back as they were put, or are measured again: never others', older ones', or a part.

Yardstick: equality with what was put in; the file system's own times.
"""

import hashlib
import json
import math
import os
import typing
from dataclasses import asdict, replace
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from render import facts as facts_module
from render.facts import (
    FACTS_VERSION,
    BarFacts,
    ByBars,
    DropCandidate,
    Given,
    GivenBeats,
    GridFinding,
    KeyCandidate,
    RecordFacts,
    Recording,
    RecordLevels,
    StrippedPassage,
)
from render.faults import SourceError
from render.files import facts_store as module
from render.files import known_hashes
from render.files.facts_store import Place, facts_json, facts_of_json, facts_store, place_of
from render.files.store import CACHE_VARIABLE, Store
from render.values import Grid

MIB = 1024 * 1024
CLASSES = (Grid, GridFinding, DropCandidate, KeyCandidate, StrippedPassage, RecordLevels, BarFacts, ByBars)

numbers = st.floats(allow_nan=False)
shares = st.floats(0, 1)


def some(of: st.SearchStrategy[typing.Any]) -> st.SearchStrategy[tuple[typing.Any, ...]]:
    return st.lists(of, max_size=3).map(tuple)


for_types: dict[object, st.SearchStrategy[typing.Any]] = {
    float: numbers, int: st.integers(-(2**60), 2**60), str: st.text(), bool: st.booleans()
}  # fmt: skip


def of_type(kind: typing.Any) -> st.SearchStrategy[typing.Any]:
    """Any value of a type as `render.facts` writes them."""
    if kind in for_types:
        return for_types[kind]
    if kind in CLASSES or kind is RecordFacts:
        fields = typing.get_type_hints(kind)
        fields.pop("version", None)
        return st.builds(kind, **{name: of_type(of) for name, of in fields.items()})
    arguments = typing.get_args(kind)
    if typing.get_origin(kind) is tuple and arguments[-1] is Ellipsis:
        return some(of_type(arguments[0]))
    if typing.get_origin(kind) is tuple:
        return st.tuples(*map(of_type, arguments))
    return st.one_of(*(st.none() if one is type(None) else of_type(one) for one in arguments))


FACTS = RecordFacts(180.5, RecordLevels(-9.1, None, None, -0.3, 2), 0.25, None)


@pytest.fixture
def store(tmp_path: Path) -> Store:
    return Store(tmp_path / "cache", MIB)


@pytest.fixture
def recording(tmp_path: Path) -> Recording:
    path = tmp_path / "lanterns.wav"
    path.write_bytes(b"sound")
    os.utime(path, (1e9, 1e9))
    return Recording(str(path), "wav", 44_100, 2, 44_100, 5)


def place(recording: Recording, store: Store, known: Given | None = None) -> Place:
    return place_of(recording, known or Given(), store)


# --- JSON ---


@given(of_type(RecordFacts))
def test_any_facts_come_back_as_they_were(facts: RecordFacts) -> None:
    back = facts_of_json(facts_json(facts))
    assert back == facts
    assert repr(back) == repr(facts)  # tuples, not lists, and -0.0 apart from 0.0


def test_what_is_no_number_comes_back_too() -> None:
    facts = replace(FACTS, tonal_weight=math.nan, duration_s=math.inf)
    back = facts_of_json(facts_json(facts))
    assert back is not None
    assert math.isnan(back.tonal_weight)
    assert back.duration_s == math.inf


@pytest.mark.parametrize("version", [FACTS_VERSION - 1, FACTS_VERSION + 1, str(FACTS_VERSION), None])
def test_facts_of_another_version_are_none(version: object) -> None:
    content = json.dumps({**asdict(FACTS), "version": version}).encode()
    assert facts_of_json(content) is None


def without(name: str) -> bytes:
    content = asdict(FACTS)
    del content[name]
    return json.dumps(content).encode()


@pytest.mark.parametrize(
    "content",
    [
        b"",
        b"\xff",
        b"null",
        b"[]",
        b"{}",
        facts_json(FACTS)[:-1],
        facts_json(FACTS).replace(b"180.5", b'"180.5"'),
        facts_json(FACTS).replace(b"180.5", b"null"),
        facts_json(FACTS).replace(b'"clipped_runs":2', b'"clipped_runs":2.5'),
        without("levels"),
        without("by_bars"),
    ],
)
def test_what_is_no_facts_is_none(content: bytes) -> None:
    assert facts_of_json(content) is None


# --- places ---


def test_facts_are_kept_for_their_record(recording: Recording, store: Store) -> None:
    assert place(recording, store).get() is None
    place(recording, store).put(FACTS)
    assert place(recording, store).get() == FACTS


def test_facts_follow_the_content_wherever_it_goes(recording: Recording, store: Store) -> None:
    place(recording, store).put(FACTS)
    moved = Path(recording.path).rename(Path(recording.path).with_name("renamed.wav"))
    assert place(replace(recording, path=str(moved)), store).get() == FACTS


def test_another_content_under_the_same_name_has_facts_of_its_own(recording: Recording, store: Store) -> None:
    place(recording, store).put(FACTS)
    path = Path(recording.path)
    path.write_bytes(b"noise")  # of the same length, and then of the same time
    os.utime(path, (1e9, 1e9))
    assert place(recording, store).get() is None


GIVEN = [
    Given(),
    Given(tempo_bpm=174.0),
    Given(tempo_bpm=174.5),
    Given(first_beat_s=174.0),
    Given(multiple=2.0),
    Given(nudge_s=0.01),
    Given(shift_beats=1.0),
    Given(beats_per_bar=3),
    Given(phrase_bars=8),
    Given(beats=GivenBeats((0.1, 0.5, 0.9))),
    Given(beats=GivenBeats((0.1, 0.5, 0.9), bar_index=1)),
    Given(beats=GivenBeats((0.1, 0.5, 0.9), beats_per_bar=1)),
]


def test_whatever_else_was_given_has_facts_of_its_own(recording: Recording, store: Store) -> None:
    keys = {place(recording, store, known).key for known in GIVEN}
    assert len(keys) == len(GIVEN)


def test_a_tempo_written_without_its_decimals_is_the_same(recording: Recording, store: Store) -> None:
    one, other = (place(recording, store, Given(tempo_bpm=tempo)) for tempo in (174, 174.0))
    assert one.key == other.key


def test_other_ears_have_facts_of_their_own(
    recording: Recording, store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    place(recording, store).put(FACTS)
    monkeypatch.setattr(module, "FACTS_VERSION", FACTS_VERSION + 1)
    assert place(recording, store).get() is None


def test_an_entry_that_is_no_facts_is_measured_again(recording: Recording, store: Store) -> None:
    here = place(recording, store)
    store.put(here.key, b"{}")
    assert here.get() is None
    here.put(FACTS)
    assert here.get() == FACTS


def test_facts_of_a_record_that_was_changed_meanwhile_are_not_kept(
    recording: Recording, store: Store
) -> None:
    before = place(recording, store)
    Path(recording.path).write_bytes(b"other")
    before.put(FACTS)
    assert before.get() is None
    assert place(recording, store).get() is None


def test_a_record_that_is_gone_is_told(recording: Recording, store: Store) -> None:
    Path(recording.path).unlink()
    with pytest.raises(SourceError, match="there is no such file"):
        place(recording, store)


def test_a_record_on_a_disk_that_fails_is_told(
    recording: Recording, store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    def failing(*_: object) -> None:
        raise OSError(5, "Input/output error")  # EIO

    monkeypatch.setattr(hashlib, "file_digest", failing)
    with pytest.raises(SourceError, match=r"it cannot be read \(Input/output error\)"):
        place(recording, store)


# --- hashes ---


@pytest.fixture
def hashed(monkeypatch: pytest.MonkeyPatch) -> list[Path]:
    """The files that were read to be hashed."""
    files: list[Path] = []
    real = known_hashes.sha256_of

    def sha256_of(path: Path) -> str:
        files.append(path)
        return real(path)

    monkeypatch.setattr(known_hashes, "sha256_of", sha256_of)
    return files


def later(monkeypatch: pytest.MonkeyPatch, seconds: float) -> None:
    now_ns = known_hashes.time.time_ns()
    monkeypatch.setattr(known_hashes.time, "time_ns", lambda: now_ns + round(seconds * 1e9))


def test_a_file_that_was_not_touched_is_hashed_once(
    recording: Recording, store: Store, hashed: list[Path], monkeypatch: pytest.MonkeyPatch
) -> None:
    later(monkeypatch, 10)
    assert place(recording, store).key == place(recording, store).key
    assert len(hashed) == 1


def test_a_file_that_was_changed_a_moment_ago_is_hashed_again(
    recording: Recording, store: Store, hashed: list[Path]
) -> None:
    """Within one tick of the disk's clock it may be changed once more without another time."""
    place(recording, store)
    place(recording, store)
    assert len(hashed) == 2


@pytest.mark.skipif(os.name != "posix", reason="POSIX notes when a file was last changed (stat.h, st_ctim)")
def test_a_change_of_the_same_length_and_with_its_old_time_is_noticed(
    recording: Recording, store: Store, hashed: list[Path], monkeypatch: pytest.MonkeyPatch
) -> None:
    later(monkeypatch, 10)
    before = place(recording, store)
    path = Path(recording.path)
    path.write_bytes(b"SOUND")
    os.utime(path, (1e9, 1e9))
    assert place(recording, store).key != before.key
    assert len(hashed) == 2


# --- the user's ---


def test_the_store_lies_in_the_cache_folder_and_is_one_for_a_run(
    tmp_path: Path, recording: Recording, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv(CACHE_VARIABLE, str(tmp_path / "mine"))
    assert facts_store() is facts_store()
    place(recording, facts_store()).put(FACTS)
    assert len(list((tmp_path / "mine" / "facts").iterdir())) == 1


def test_everything_that_facts_are_made_of_is_tried_here() -> None:
    made_of, seen = [RecordFacts], set()
    while made_of:
        kind = made_of.pop()
        seen.add(kind)
        hints = str(typing.get_type_hints(kind).values())
        made_of += [one for one in CLASSES if one not in seen and f".{one.__name__}" in hints]
    assert seen == {RecordFacts, *CLASSES}
    assert facts_module.RecordFacts is RecordFacts
