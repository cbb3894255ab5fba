"""What a run can tell of its cost beforehand: from what clips usually cost, or from the report of the last run."""

import json
from collections.abc import Mapping
from typing import Any

import pytest
from standing_in import order

from render.night.ahead import Ahead, Passages
from render.night.estimate import (
    BYTES_BESIDE,
    BYTES_PER_CLIP_S,
    WALL_S_PER_CLIP_S,
    WALL_S_PER_STRETCHED_S,
    Costs,
    costs_of,
    dry_run_json,
    dry_run_lines,
    estimate,
)
from render.night.words import lasting

ENGINES = ["rubberband", "signalsmith"]
STRETCHED, REST = WALL_S_PER_STRETCHED_S["signalsmith"], WALL_S_PER_CLIP_S
SLOW = Costs(2.0, {"flac": 200_000.0}, "a test")
"""Everything takes twice as long as usual."""


def ahead(names: str = "ab", cache_bytes: int = 0, **to_make: Passages) -> Ahead:
    """Clips of 10 s, of which those are to be made that have passages."""
    return Ahead([order(name) for name in names], to_make, "signalsmith", cache_bytes)


def earlier(*clips: Mapping[str, Any]) -> str:
    """The report of a run in which 10 s of a clip took 2 s, with 20 s stretched for it, unless it says otherwise."""
    usual = {"outcome": "made", "format": "flac", "duration_s": 10.0, "size_bytes": 1_000_000}
    made = {"wall_s": 2.0, "stretched_s": 20.0, "engine": "signalsmith"}
    return json.dumps({"clips": [usual | made | clip for clip in clips]})


# --- from what is known ---


@pytest.mark.parametrize("engine", ENGINES)
def test_what_the_last_run_took_is_held_against_what_is_usual_for_what_it_stretched(engine: str) -> None:
    """Where it stretched little, it was quick; the next one may have to stretch more, by another engine."""
    usual_s = 20.0 * WALL_S_PER_STRETCHED_S[engine] + 20.0 * REST
    report = earlier(
        {"engine": engine, "wall_s": 1.5 * usual_s},
        {"engine": engine, "wall_s": 0.5 * usual_s, "stretched_s": 0.0},
        {"outcome": "kept", "wall_s": 0.001, "stretched_s": None},
        {"outcome": "failed", "wall_s": 600.0, "stretched_s": None, "engine": None, "size_bytes": None},
    )
    costs = costs_of(report)
    assert costs.slowness == pytest.approx(2.0)
    assert costs.known_from == "the 2 clips of the last run"
    stretching = costs.wall_s(order("a"), Passages(2, stretched_s=20.0), "signalsmith")
    assert stretching == pytest.approx(2.0 * (20.0 * STRETCHED + 10.0 * REST))


def test_clips_become_as_large_as_those_that_the_last_run_made() -> None:
    """4 MB for 20 s of FLAC are 200 kB a second; of what it did not make the usual is taken."""
    costs = costs_of(
        earlier(
            {"size_bytes": 1_500_000}, {"size_bytes": 2_500_000}, {"format": "mp3", "size_bytes": 500_000}
        )
    )
    told = {form: costs.bytes_per_clip_s[form] for form in ("flac", "mp3", "wav")}
    assert told == pytest.approx({"flac": 200_000, "mp3": 50_000, "wav": BYTES_PER_CLIP_S["wav"]})


@pytest.mark.parametrize(
    "text",
    [
        None,
        "",
        "{",
        "[]",
        "7",
        '{"clips": 3}',
        '{"clips": [7]}',
        '{"clips": [{}]}',
        earlier(),
        earlier({"duration_s": 0.0, "stretched_s": 0.0}),
        earlier({"wall_s": float("inf")}),
        earlier({"wall_s": 10**400}),
        earlier({"size_bytes": float("nan")}),
        earlier({"stretched_s": None}),
        earlier({"engine": "another"}),
        earlier({"engine": ["signalsmith"]}),
    ],
)
def test_without_a_report_that_can_be_used_costs_are_the_usual_ones(text: str | None) -> None:
    assert costs_of(text) == Costs()


def test_a_report_from_before_it_said_how_much_was_stretched_is_not_used() -> None:
    clip = {"outcome": "made", "format": "flac", "duration_s": 10.0, "wall_s": 2.0, "size_bytes": 1_000_000}
    assert costs_of(json.dumps({"clips": [clip]})) == Costs()


# --- to what lies ahead ---


def test_an_estimate_leaves_out_what_is_there_and_shares_the_work() -> None:
    """Three of four clips of 10 s, 40 s stretched for them, at twice the usual cost for two workers; 2 MB each."""
    new, old = Passages(2, stretched_s=20.0), Passages(2, cached=2)
    cost = estimate(ahead("abcd", a=new, c=new, d=old), SLOW, jobs=2)
    assert (cost.clips, cost.clip_s) == (3, 30.0)
    assert cost.wall_s == pytest.approx(40.0 * STRETCHED + 30.0 * REST)
    assert cost.size_bytes == pytest.approx(3 * (2_000_000 + BYTES_BESIDE))


def test_a_dry_run_says_that_its_costs_are_an_estimate_and_from_what() -> None:
    new = Passages(2, stretched_s=1000.0)
    lines = list(dry_run_lines(ahead(a=new), SLOW, jobs=1))
    assert lines[:2] == ["a.flac  10.0 s at 140 BPM", "b.flac  10.0 s at 140 BPM  (is there, kept)"]
    took = lasting(2.0 * (1000.0 * STRETCHED + 10.0 * REST))
    said = f"to make: 1 clip, 10 s of sound; estimated from a test: about {took}"
    assert lines[2] == f"{said} and 2.0 MB"
    with_cache = list(dry_run_lines(ahead(a=new, cache_bytes=410_000_000), SLOW, jobs=1))
    assert with_cache[2] == f"{said}, 2.0 MB, and 410.0 MB in the cache"
    assert list(dry_run_lines(ahead("b"), SLOW, jobs=1))[1] == "to make: nothing"


def test_a_dry_run_says_of_how_many_passages_nothing_has_to_be_stretched() -> None:
    before = {"a": Passages(3, cached=1, shared=1), "b": Passages(2), "c": Passages(1, cached=1)}
    assert [line.partition("BPM")[2] for line in dry_run_lines(ahead("abc", **before), SLOW, jobs=1)][:3] == [
        "  (2 of its 3 passages stretched before)",
        "",
        "  (1 of its 1 passage stretched before)",
    ]


def test_a_dry_run_for_scripts_says_the_same_of_each_clip() -> None:
    a, b = json.loads(dry_run_json(ahead(a=Passages(3, cached=1, shared=1, stretched_s=20.0)), SLOW))
    assert (a["name"], a["clip"], a["kept"], a["passages"], a["passages_cached"]) == (
        "a",
        "a.flac",
        False,
        3,
        1,
    )
    assert a["estimated_wall_s"] == pytest.approx(2.0 * (20.0 * STRETCHED + 10.0 * REST), abs=0.05)
    assert (b["kept"], b["passages"], b["passages_cached"]) == (True, 0, 0)
    assert (b["estimated_wall_s"], b["estimated_bytes"]) == (0.0, 0)
