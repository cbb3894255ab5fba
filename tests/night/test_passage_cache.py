"""What was stretched once is never stretched again, and comes out the same to the bit."""

import json
import shutil
from dataclasses import fields, replace
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

import render.clip.lanes
from render.clip.identity import sound_versions
from render.clip.source import Source
from render.facts import Recording
from render.faults import SourceError, UsageError
from render.files import known_hashes, shelf
from render.files.engines import EngineChoice, engine_of
from render.files.shelf import LIMIT_VARIABLE, shelf_of, sounds_limit_bytes
from render.files.store import CACHE_VARIABLE
from render.make import Done, Kept
from render.sound.spans import PAD_S, Span
from tests.night.tables import TRY, Counting, Table, samples_of, together

ENGINES = [
    pytest.param(
        "rubberband",
        marks=pytest.mark.skipif(not shutil.which("rubberband"), reason="needs the rubberband executable"),
    ),
    "signalsmith",
]


@pytest.mark.parametrize("choice", ENGINES)
def test_a_variant_stretches_nothing_anew_and_sounds_as_it_would_without_the_cache(
    table: Table, cache: Path, choice: EngineChoice
) -> None:
    engine = Counting(engine_of(choice))
    first, second, _ = table.orders(table.recipe(TRY))
    together([first], engine)
    assert engine.stretched == 1
    from_cache = samples_of(together([second], engine))
    assert engine.stretched == 1
    shutil.rmtree(cache)
    assert samples_of(together([replace(second, force=True)], engine)) == from_cache
    assert engine.stretched == 2


def test_a_clip_says_how_much_had_to_be_stretched_for_it(table: Table) -> None:
    """8 beats at 140 BPM, played 140/136 as fast, and a pad on either side; the other record is not stretched."""
    made = together(table.orders(table.recipe(TRY)))
    given_s = 8 * 60 / 140 * (140 / 136) + 2 * PAD_S
    assert [one.stretched_s for one in made if isinstance(one, Done)] == pytest.approx(
        [given_s, 0, 0], abs=1e-4
    )


def test_all_variants_of_a_recipe_stretch_once(table: Table) -> None:
    engine = Counting()
    assert len(samples_of(together(table.orders(table.recipe(TRY)), engine))) == 3
    assert engine.stretched == 1


def test_another_recipe_over_the_same_passage_stretches_nothing(table: Table) -> None:
    engine = Counting()
    together(table.orders(table.recipe()), engine)
    other = table.recipe("low_cut: {keep: [{from: start, track: pad}]}", name="other")
    samples_of(together(table.orders(other), engine))
    assert engine.stretched == 1


def test_force_stretches_again_but_once_for_all_variants(table: Table) -> None:
    engine = Counting()
    recipe = table.recipe(TRY)
    before = samples_of(together(table.orders(recipe), engine))
    assert samples_of(together(table.orders(recipe, force=True), engine)) == before
    assert engine.stretched == 2


def test_another_version_of_the_engine_stretches_again(table: Table) -> None:
    recipe = table.recipe()
    together(table.orders(recipe), Counting())
    newer = Counting(version_of_its_own="another")
    samples_of(together(table.orders(recipe), newer))
    assert newer.stretched == 1


@pytest.mark.parametrize("damage", ["a bit", "an end", "all of it"])
def test_what_is_damaged_is_made_again(table: Table, cache: Path, damage: str) -> None:
    engine = Counting()
    recipe = table.recipe()
    before = samples_of(together(table.orders(recipe), engine))
    kept = [path for path in (cache / "sounds").iterdir() if not path.name.startswith(".")]
    assert kept
    for path in kept:
        content = bytearray(path.read_bytes())
        content[len(content) // 2] ^= 1
        path.write_bytes({"a bit": content, "an end": content[:-1000], "all of it": b""}[damage])
    (table.clips / "test.flac").unlink()
    assert samples_of(together(table.orders(recipe), engine)) == before
    assert engine.stretched == 2


@pytest.mark.slow
def test_without_a_cache_that_can_be_written_clips_are_made_all_the_same(table: Table, cache: Path) -> None:
    with_it = samples_of(together(table.orders(table.recipe(TRY))))
    shutil.rmtree(cache)
    cache.write_text("in the way")
    assert samples_of(together(table.orders(table.recipe(TRY), force=True))) == with_it


def test_a_disk_with_little_room_is_left_to_the_clips(
    table: Table, cache: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    free = shutil.disk_usage(table.folder)._replace(free=shelf.ROOM_LEFT_BYTES)
    monkeypatch.setattr(shelf.shutil, "disk_usage", lambda _: free)
    samples_of(together(table.orders(table.recipe())))
    assert not (cache / "sounds").exists()


@pytest.mark.parametrize("limit", ["nothing", "-1", "nan", "inf", ""])
def test_a_limit_that_is_none_is_told(limit: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv(LIMIT_VARIABLE, limit)
    if not limit:  # as where it is not set
        assert sounds_limit_bytes() == 8 * 1024**3
        return
    with pytest.raises(UsageError, match=f"{LIMIT_VARIABLE}: '{limit}' is no size; give a number of GiB"):
        sounds_limit_bytes()


def test_a_limit_of_0_keeps_no_sound(table: Table, cache: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv(LIMIT_VARIABLE, "0")
    engine = Counting()
    samples_of(together(table.orders(table.recipe(TRY)), engine))
    assert engine.stretched > 1
    assert not (cache / "sounds").exists()


def test_a_record_replaced_after_it_was_planned_fails_its_clip(table: Table) -> None:
    orders = table.orders(table.recipe())
    path = table.pad(gain=0.5)
    (outcome,) = together(orders)
    assert isinstance(outcome, SourceError)
    assert str(outcome).startswith(f"{path}: it changed while the night ran; ")
    assert list(table.clips.iterdir()) == []


def test_a_record_replaced_while_it_is_read_fails_its_clip_and_is_not_remembered(
    table: Table, cache: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    read_span = render.clip.lanes.read_span

    def replaced_meanwhile(recording: Recording, *at: int) -> Any:
        if recording.path.endswith("pad.wav"):
            table.pad(gain=0.5)
        return read_span(recording, *at)

    monkeypatch.setattr(render.clip.lanes, "read_span", replaced_meanwhile)
    (outcome,) = together(table.orders(table.recipe()))
    assert isinstance(outcome, SourceError)
    assert "it changed while the night ran" in str(outcome)
    monkeypatch.undo()
    monkeypatch.setenv(CACHE_VARIABLE, str(cache))
    table.pad()
    engine = Counting()
    samples_of(together(table.orders(table.recipe()), engine))
    assert engine.stretched == 1


def test_what_has_not_changed_is_recognised_without_reading_it(
    table: Table, monkeypatch: pytest.MonkeyPatch
) -> None:
    recipe = table.recipe(TRY)
    together(table.orders(recipe))
    now_ns = known_hashes.time.time_ns()
    monkeypatch.setattr(known_hashes.time, "time_ns", lambda: now_ns + 10_000_000_000)
    together(table.orders(recipe))  # by now all files are old enough to be remembered
    read: list[Path] = []
    hashed = known_hashes.sha256_of

    def reading(path: Path) -> str:
        read.append(path)
        return hashed(path)

    monkeypatch.setattr(known_hashes, "sha256_of", reading)
    assert [type(outcome) for outcome in together(table.orders(recipe))] == [Kept] * 3
    assert read == []
    clip = table.clips / "test.flac"
    content = bytearray(clip.read_bytes())
    content[len(content) // 2] ^= 1
    clip.write_bytes(content)
    assert [type(outcome) for outcome in together(table.orders(recipe))] == [Done, Kept, Kept]
    assert clip in read


SOURCE = Source(
    Recording("a.wav", "wav", 44_100, 2, 1_000_000, 4_000_000),
    "ab" * 32,
    sound_versions(engine_of("signalsmith")),
    44_100,
)
SPAN = Span(1000, 200_000, 1.02, 0.0)
SPANS = st.builds(
    Span,
    st.integers(-10_000, 10**9),
    st.integers(1, 10**8),
    st.floats(0.5, 2.0),
    st.none() | st.floats(-12.0, 12.0),
)


@given(SPANS, SPANS)
def test_spans_share_a_key_only_where_they_are_the_same(one: Span, other: Span) -> None:
    assert (SOURCE.key(one) == SOURCE.key(other)) == (one == other)


@given(st.sampled_from([field.name for field in fields(Span)]), st.integers(1, 1000))
def test_every_part_of_a_span_counts(part: str, step: int) -> None:
    change = step * 1e-3 if part in ("speed", "semitones") else step
    changed = replace(SPAN, **{part: getattr(SPAN, part) + change})
    assert SOURCE.key(changed) != SOURCE.key(SPAN)


def test_a_pitch_that_follows_is_not_one_that_is_kept() -> None:
    assert SOURCE.key(replace(SPAN, semitones=None)) != SOURCE.key(SPAN)


def test_everything_that_a_stretch_depends_on_counts_and_a_file_s_place_does_not() -> None:
    recording = SOURCE.recording
    others = [
        replace(SOURCE, sha256="cd" * 32),
        replace(SOURCE, clip_rate_hz=48_000),
        replace(SOURCE, recording=replace(recording, rate_hz=48_000)),
        replace(SOURCE, recording=replace(recording, delay_frames=1105)),
        *(replace(SOURCE, versions={**SOURCE.versions, name: "0"}) for name in SOURCE.versions),
    ]
    assert {"dropkiln", "engine", "signalsmith", "soxr", "librosa", "numpy", "scipy", "sound"} <= {
        *SOURCE.versions
    }
    keys = [source.key(SPAN) for source in (SOURCE, *others)]
    assert len(set(keys)) == len(keys)
    moved = replace(SOURCE, recording=replace(recording, path="elsewhere/b.wav"))
    assert moved.key(SPAN) == SOURCE.key(SPAN)


def test_a_reading_that_is_none_is_read_again(cache: Path) -> None:
    kind: Any = shelf.TypeAdapter(float | None)
    desk = shelf_of()
    key = known_hashes.key_of("anything")
    assert desk.reading(key, kind, lambda: 1.5) == 1.5
    assert desk.reading(key, kind, lambda: 2.5) == 1.5
    desk.readings.put(key, json.dumps("loud").encode())
    assert desk.reading(key, kind, lambda: 2.5) == 2.5
