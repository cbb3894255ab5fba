"""A recipe from measured facts: decided as a performer would begin, told with its reasons, open to every change."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import PurePath
from typing import Any

from render.facts import ByBars, RecordFacts
from render.faults import SourceError
from render.publish.drafting.choice import Choice, patch_between, recipe_data
from render.publish.drafting.lanes import lane_of, usual_span
from render.publish.drafting.low_end import keeper_before, low_ends
from render.publish.drafting.names import distinct, title, track_names
from render.publish.drafting.records import Record, record_of
from render.publish.drafting.remarks import remarks_on
from render.publish.drafting.tempo import clip_tempo
from render.publish.drafting.text import yaml_text
from render.publish.drafting.variants import Variant, quarrels, variants
from render.publish.drafting.voices import together


@dataclass(frozen=True)
class Heard:
    """A record that was listened to. `file` is its path as the recipe names it."""

    file: str
    facts: RecordFacts


def draft(heard: Sequence[Heard]) -> str:
    """The text of a recipe over two or more records that were heard to have a beat and a drop.

    Raises UsageError where their tempi do not meet, SourceError for a record that `unfit` speaks against.
    """
    base = chosen(heard)
    data = recipe_data(base)
    tried = _distinct(data, list(variants(base)))
    data["try"] = {variant.name: patch_between(data, recipe_data(variant.choice)) for variant in tried}
    return yaml_text(data, remarks_on(base, tried))


def unfit(one: Heard) -> SourceError | None:
    """Why a record cannot be drafted, if it cannot."""
    return None if isinstance(by := _by_bars(one), ByBars) else by


def chosen(heard: Sequence[Heard]) -> Choice:
    """What a performer would try first."""
    paths = [PurePath(one.file) for one in heard]
    records = []
    for name, one in zip(track_names(paths), heard, strict=True):
        by = _by_bars(one)
        if isinstance(by, SourceError):
            raise by
        records.append(record_of(name, one.file, one.facts, by))
    tempo = clip_tempo(records)
    lanes = tuple(lane_of(record, record.by.drops[0], tempo.bpm) for record in records)
    span = usual_span(lanes)
    ends = low_ends(lanes, span)
    after = tuple(ends.strongest_after())
    choice = Choice(title(paths), tempo, lanes, span, (after[0], after))
    choice = choice.giving_way(_gives_way(choice))
    after = choice.low_end[1]
    return replace(choice, low_end=(keeper_before(lanes, span, ends, after[0]), after))


def _by_bars(one: Heard) -> ByBars | SourceError:
    if one.facts.by_bars is None:
        right = "write a recipe by hand, and state `bpm`, `first_beat` and the marker `drop`"
        return SourceError(one.file, "no beat was found", right)
    if not one.facts.by_bars.drops:
        return SourceError(
            one.file, "no drop was found", "write a recipe by hand, and state the marker `drop`"
        )
    return one.facts.by_bars


def _gives_way(choice: Choice) -> str | None:
    """Who jumps back to its drums because its drop would quarrel with another: two keys, or two voices at once."""
    clashes = {lane.record.name: _clashes(choice, lane.record) for lane in choice.lanes if lane.drums()}
    strongest = choice.low_end[1][0]
    most = min(clashes, key=lambda name: (-clashes[name], name == strongest), default=None)
    return most if most and clashes[most] else None


def _clashes(choice: Choice, record: Record) -> int:
    """With how many others a record's drop would quarrel."""
    sung_with = {
        other for names, (_, end) in together(choice) if record.name in names and end > 0 for other in names
    }
    others = [lane.record for lane in choice.lanes if lane.record is not record]
    return sum(quarrels(record, other) or other.name in sung_with for other in others)


def _distinct(data: dict[str, Any], tried: Sequence[Variant]) -> list[Variant]:
    """The variants that differ from the recipe and from each other, under names of their own."""
    kept: list[Variant] = []
    seen = [data]
    for variant in tried:
        made = recipe_data(variant.choice)
        if made not in seen:
            kept.append(replace(variant, name=distinct(variant.name, [one.name for one in kept])))
            seen.append(made)
    return kept
