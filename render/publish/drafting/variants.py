"""What else a performer would try with the same records: the variants of a draft."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import combinations

from render.plan.keys import AGREE_UP_TO, places_apart, relation, transposed
from render.publish.drafting.choice import Choice
from render.publish.drafting.names import variant_name
from render.publish.drafting.records import Record
from render.values import clock

SHORTEST_BEATS = 8
"""A clip with less than this on either side of the landing is not halved."""


@dataclass(frozen=True)
class Variant:
    name: str
    choice: Choice
    why: str


def variants(base: Choice) -> Iterator[Variant]:
    if base.gives_way:
        yield Variant(
            "both-drop", base.giving_way(None), "the same without the jump: is one drop really better?"
        )
    yield from _giving_way(base)
    yield _other_keeper(base)
    yield from _semitone(base)
    yield from _second_drops(base)
    span = base.span
    if min(span.lead, span.tail) >= SHORTEST_BEATS:
        yield Variant(
            "short", base.lasting(span.lead // 2, span.tail // 2), "the same landing, a quick listen"
        )


def _giving_way(base: Choice) -> Iterator[Variant]:
    drop = "other drop" if len(base.lanes) == 2 else "other drops"
    for number, lane in enumerate(base.lanes, 1):
        name = lane.record.name
        if name != base.gives_way and lane.drums():
            yield Variant(
                variant_name(name, number, "gives-way"),
                base.giving_way(name),
                f"{name} does not drop: its drums go on below the {drop}",
            )


def _other_keeper(base: Choice) -> Variant:
    before, (first, second, *others) = base.low_end
    swapped = replace(base, low_end=(before, (second, first, *others)))
    return Variant("other-keeper", swapped, f"from the landing {second} keeps the low end, not {first}")


def _semitone(base: Choice) -> Iterator[Variant]:
    keys = {lane.record: lane.record.tonal_key for lane in base.lanes if lane.record.tonal_key}
    found = best_semitone(keys)
    if found is None:
        return
    record, semitones = found
    key = transposed(keys[record], semitones)
    near = [f"{relation(key, keys[other])} for {other.name}" for other in keys if other is not record]
    choice = replace(base.giving_way(None), semitones={record.name: semitones})
    way = "up" if semitones > 0 else "down"
    yield Variant(f"semitone-{way}", choice, f"{record.name} in {key}: {'; '.join(near)}")


def best_semitone(keys: Mapping[Record, str]) -> tuple[Record, int] | None:
    """The record that brings the keys nearest together when it goes up or down a semitone; None where none does.

    Of two that do it as well, the one without a voice, and with less tone, is pitched.
    """
    moves = [(record, semitones) for record in keys for semitones in (1, -1)]

    def cost(move: tuple[Record, int]) -> tuple[int, bool, float]:
        record, semitones = move
        moved = {**keys, record: transposed(keys[record], semitones)}
        return _apart(list(moved.values())), record.sings, record.facts.tonal_weight

    best = min(moves, key=cost, default=None)
    return best if best and cost(best)[0] < _apart(list(keys.values())) else None


def quarrels(record: Record, other: Record) -> bool:
    """Whether both are tonal, in keys that do not agree."""
    keys = record.tonal_key, other.tonal_key
    return None not in keys and _apart([key for key in keys if key]) > 0


def _apart(keys: Sequence[str]) -> int:
    """Places on the circle of fifths between all pairs of keys that do not agree."""
    gaps = (places_apart(one, other) for one, other in combinations(keys, 2))
    return sum(gap for gap in gaps if gap > AGREE_UP_TO)


def _second_drops(base: Choice) -> Iterator[Variant]:
    for number, lane in enumerate(base.lanes, 1):
        record = lane.record
        if record.drop_close:
            drop = record.by.drops[1]
            yield Variant(
                variant_name(record.name, number, "second-drop"),
                base.landing_on(record.name, 1),
                f"{record.name} may as well drop at {clock(drop.at_s)}",
            )
