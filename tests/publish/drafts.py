"""Facts as if they had been heard of records, and the plans that a draft over such records leads to."""

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

from hypothesis import strategies as st

from render.facts import (
    BarFacts,
    ByBars,
    DropCandidate,
    GridFinding,
    KeyCandidate,
    RecordFacts,
    Recording,
    RecordLevels,
    StrippedPassage,
)
from render.plan.build import PlanError, plan_clip
from render.plan.model import ClipPlan
from render.publish.draft import Heard, draft
from render.recipe.known import needs_hearing, track_facts
from render.recipe.reader import Reading, read
from render.values import Grid

BEATS_PER_BAR = 4
BANDS = 10
RATE_HZ = 44_100
NO_LOW_END = 0.001


def facts(
    tempo_bpm: float = 174.0,
    *,
    first_beat_s: float = 0.25,
    bars: int = 96,
    drop_bars: Sequence[int] = (49, 17),
    scores: Sequence[float] = (3.5, 0.5, 0.2, 0.1),
    key: str | None = "F minor",
    tonal_weight: float = 0.5,
    voiced: Sequence[tuple[int, int]] = (),
    drums: Sequence[tuple[int, int]] = (),
    low_before: float = NO_LOW_END,
    low_after: float = 0.5,
    late_s: float = 0.0,
    drifting: bool = False,
    **found: Any,
) -> RecordFacts:
    """A record of whole bars. `voiced` are first and last bars, `drums` first bars and counts of bars.

    `low_before` and `low_after` are the low end's share of a bar's power before and after the likeliest drop; all
    bars are as loud. Drops are heard `late_s` after their bars.
    """
    grid = Grid(first_beat_s, tempo_bpm, BEATS_PER_BAR)
    if drifting:  # one beat in eight is 1 % longer
        times = [first_beat_s]
        for beat in range(bars * BEATS_PER_BAR):
            times.append(times[-1] + grid.beat_s * (1.01 if beat % 8 == 0 else 1.0))
        grid = replace(grid, beats_s=tuple(times))
    starts_s = tuple(grid.time_s(bar * BEATS_PER_BAR) for bar in range(bars + 1))
    finding = GridFinding(grid, 0.99, tempo_bpm / 1.5, not drifting, 1.0, 0.99, 0.99, 8, 1, ())
    by = ByBars(
        grid=replace(finding, **found),
        drops=tuple(
            DropCandidate(starts_s[bar - 1] + late_s, bar, score, ("the low end comes in, +30 dB",))
            for bar, score in zip(drop_bars, scores, strict=False)
        ),
        keys=(KeyCandidate(key, 0.8, 0.9), KeyCandidate("C major", 0.3, 0.05)) if key else (),
        stripped=tuple(StrippedPassage(starts_s[bar - 1], bar, count, 0.8) for bar, count in drums),
        bars=BarFacts(
            starts_s=starts_s,
            voice=(0.0,) * bars,
            voice_confidence=(0.9,) * bars,
            voiced=tuple(any(a <= bar <= b for a, b in voiced) for bar in range(1, bars + 1)),
            low_end=tuple(low_before if bar < drop_bars[0] else low_after for bar in range(1, bars + 1))
            if drop_bars
            else (low_after,) * bars,
            bands_db=((-10.0,) * BANDS,) * bars,
        ),
    )
    levels = RecordLevels(-10.0, 6.0, -0.5, -0.6, 0)
    return RecordFacts(starts_s[-1] + 0.5, levels, tonal_weight, by)


def drafted(**records: RecordFacts) -> str:
    """The draft over records by the names of their files."""
    return draft([Heard(f"{name}.flac", one) for name, one in records.items()])


def readings_of(text: str) -> list[Reading]:
    """The recipe and its variants, in none of which anything is wrong."""
    readings = read(text, "draft.yaml")
    assert [problem for reading in readings for problem in reading.problems] == [], text
    return readings


def plans_of(text: str, records: Sequence[RecordFacts]) -> dict[str, ClipPlan]:
    """What would play when, by variant; the recipe as written is ''."""
    plans = {}
    for reading in readings_of(text):
        recipe = reading.recipe
        assert recipe is not None
        known = {}
        for (name, track), heard in zip(recipe.tracks.items(), records, strict=True):
            recording = Recording(track.file, "FLAC", RATE_HZ, 2, round(heard.duration_s * RATE_HZ), 1)
            known[name] = track_facts(recipe, name, recording, heard if needs_hearing(recipe, name) else None)
        try:
            plans[reading.variant] = plan_clip(recipe, known, "draft", reading.variant)
        except PlanError as error:
            told = [f"{problem.path}: {problem.wrong}" for problem in error.problems]
            raise AssertionError(f"variant '{reading.variant}': {told}\n{text}") from error
    return plans


KEYS = st.sampled_from(["F minor", "E minor", "Ab major", "C# minor", "F# major", "B major", "Bb minor"])


@st.composite
def any_record(draw: st.DrawFn) -> dict[str, Any]:
    """What `facts` makes a record from, of any sort that can be heard; bar 1 may begin before the recording."""
    bars = draw(st.integers(2, 100))
    drop_bars = draw(st.lists(st.integers(2, bars), min_size=1, max_size=4, unique=True))
    ahead = [(bar, count) for count in (8, 16) for bar in (1, 5, 9, 17, 33) if bar + count <= drop_bars[0]]
    return {
        "tempo_bpm": draw(st.floats(60.0, 200.0)),
        "first_beat_s": draw(st.floats(-0.012, 3.0)),
        "bars": bars,
        "drop_bars": drop_bars,
        "scores": sorted(draw(st.lists(st.floats(-1, 4), min_size=4, max_size=4)), reverse=True),
        "key": draw(st.none() | KEYS),
        "tonal_weight": draw(st.floats(0, 1)),
        "voiced": draw(st.lists(st.tuples(st.integers(1, 60), st.integers(1, 120)), max_size=3)),
        "drums": draw(st.lists(st.sampled_from(ahead), max_size=2)) if ahead else (),
        "low_before": draw(st.floats(0, 1)),
        "low_after": draw(st.floats(0, 1)),
        "late_s": draw(st.sampled_from([0.0, 0.0, 0.003, -0.004])),
        "drifting": draw(st.booleans()),
        "tempo_confidence": draw(st.floats(0, 1)),
        "beat_confidence": draw(st.floats(0, 1)),
        "bar_confidence": draw(st.floats(0, 1)),
        "runner_up_bpm": draw(st.none() | st.floats(60, 200)),
    }
