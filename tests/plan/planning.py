"""Recipes and made-up recordings for tests of the plan: no audio, no files."""

from dataclasses import dataclass
from functools import lru_cache

from render.facts import Recording, TrackFacts
from render.plan.build import PlanError, plan_clip
from render.plan.model import ClipPlan
from render.recipe.known import track_facts
from render.recipe.reader import read
from render.recipe.schema import Recipe

RATE_HZ = 44_100


@dataclass(frozen=True)
class Record:
    """A track of a test recipe: its lines beside `file`, and how long and at what rate its recording is."""

    lines: str
    duration_s: float = 240.0
    rate_hz: int = RATE_HZ


def recipe_text(tracks: dict[str, Record], rest: str = "") -> str:
    lines = ["recipe: 1", "title: Test", "tracks:"]
    for name, record in tracks.items():
        lines += [f"  {name}:", f"    file: {name}.wav"]
        lines += [f"    {line.strip()}" for line in record.lines.split(";")]
    return "\n".join([*lines, *rest.strip("\n").split("\n"), ""])


def recipe_of(tracks: dict[str, Record], rest: str = "") -> Recipe:
    return _read(recipe_text(tracks, rest))


@lru_cache(maxsize=8)
def _read(text: str) -> Recipe:
    reading = read(text, "test.yaml")[0]
    assert reading.recipe is not None
    assert not reading.problems, reading.problems
    return reading.recipe


def facts_of(recipe: Recipe, tracks: dict[str, Record]) -> dict[str, TrackFacts]:
    return {
        name: track_facts(
            recipe,
            name,
            Recording(
                track.file,
                "WAV",
                tracks[name].rate_hz,
                2,
                round(tracks[name].duration_s * tracks[name].rate_hz),
                1,
            ),
        )
        for name, track in recipe.tracks.items()
    }


def planned(tracks: dict[str, Record], rest: str = "") -> ClipPlan:
    recipe = recipe_of(tracks, rest)
    return plan_clip(recipe, facts_of(recipe, tracks), "test")


def problems_of(tracks: dict[str, Record], rest: str = "") -> list[str]:
    """What stands against a recipe, as `code: wrong; right`."""
    try:
        planned(tracks, rest)
    except PlanError as error:
        return [f"{p.code}: {p.wrong}; {p.right}" for p in error.problems]
    return []
