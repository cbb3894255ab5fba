"""Everything a draft decides, and the recipe that says it, as plain data.

A variant is another choice; its patch is what differs between the two recipes.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

from render.facts import runs
from render.publish.drafting.lanes import Lane, Span, lane_of, span_of
from render.publish.drafting.low_end import Keeper, keepers
from render.publish.drafting.records import FIRST_BEAT_DIGITS
from render.publish.drafting.tempo import ClipTempo
from render.recipe.kinds import FORMAT_VERSION
from render.recipe.schema import LANDING_MARKER, LOW_CUT_CORNER_HZ
from render.values import counted

DRUMS = "drums"


@dataclass(frozen=True)
class Choice:
    """`low_end` names who keeps it on the way in, and everybody in the order of taking it from the landing on.

    `gives_way` names the lane that jumps back to its drums at the landing instead of dropping; `semitones` what is
    pitched.
    """

    title: str
    tempo: ClipTempo
    lanes: tuple[Lane, ...]
    span: Span
    low_end: tuple[str, tuple[str, ...]]
    gives_way: str | None = None
    semitones: Mapping[str, int] = field(default_factory=dict)

    def lane(self, name: str) -> Lane:
        return next(lane for lane in self.lanes if lane.record.name == name)

    def keepers(self) -> list[Keeper]:
        before, after = self.low_end
        return keepers(before, after, self.span)

    def lasting(self, lead: int, tail: int) -> "Choice":
        return replace(self, span=span_of(self.lanes, lead, tail))

    def giving_way(self, name: str | None) -> "Choice":
        """The same with another lane, or none, jumping back; who jumps back takes the low end last."""
        before, after = self.low_end
        if name is not None:
            after = (*(other for other in after if other != name), name)
        return replace(self, gives_way=name, low_end=(before, after))

    def landing_on(self, name: str, place: int) -> "Choice":
        """The same with another of a record's drops: its candidate `place`, counted from 0."""
        lane = self.lane(name)
        other = lane_of(lane.record, lane.record.by.drops[place], self.tempo.bpm)
        lanes = tuple(other if one is lane else one for one in self.lanes)
        stays = other.drums() == lane.drums()  # else the marker for its drums does not lie before this drop
        gives_way = None if self.gives_way == name and not stays else self.gives_way
        return replace(
            self, lanes=lanes, span=span_of(lanes, self.span.lead, self.span.tail), gives_way=gives_way
        )


def recipe_data(choice: Choice) -> dict[str, Any]:
    """The recipe of a choice, without variants."""
    span = choice.span
    data: dict[str, Any] = {
        "recipe": FORMAT_VERSION,
        "title": choice.title,
        "tempo": choice.tempo.written,
        "lead": counted(span.lead),
        "tail": counted(span.tail),
        "tracks": {lane.record.name: _track(choice, lane) for lane in choice.lanes},
        "low_cut": {
            "below": f"{LOW_CUT_CORNER_HZ:g} Hz",
            "keep": [{"from": moment(one.from_beat, span), "track": one.name} for one in choice.keepers()],
        },
    }
    for lane in choice.lanes:
        if lane.record.name == choice.gives_way and (passage := lane.drums()):
            loop = counted(lane.loop_beats(passage))
            data["jump_back"] = [{"track": lane.record.name, "at": "landing", "to": DRUMS, "loop": loop}]
    return data


def _track(choice: Choice, lane: Lane) -> dict[str, Any]:
    record, name, span = lane.record, lane.record.name, choice.span
    data: dict[str, Any] = {"file": record.file}
    if not record.drifts:
        data |= {"bpm": record.bpm, "first_beat": f"{record.first_beat_s:.{FIRST_BEAT_DIGITS}f} s"}
    data["beats_per_bar"] = record.grid.beats_per_bar
    if record.key:
        data["key"] = record.key
    data["tonal_weight"] = round(record.facts.tonal_weight, 2)
    data["voice"] = voiced_bars(record.by.bars.voiced)
    data["markers"] = {LANDING_MARKER: lane.drop.written}
    if passage := lane_of(record, record.by.drops[0], choice.tempo.bpm).drums():
        data["markers"][DRUMS] = record.place(passage).written
    if name in span.enters:
        data["enter"] = moment(span.enters[name], span)
    if name in span.leaves:
        data["leave"] = moment(span.leaves[name], span)
    if semitones := choice.semitones.get(name):
        data["pitch"] = f"{semitones:+d} {'semitone' if abs(semitones) == 1 else 'semitones'}"
    return data


def voiced_bars(voiced: Sequence[bool]) -> str | list[str]:
    """The bars with a voice as a recipe has them: `none`, `bars 9 to 24`, or a list of such."""
    texts = [f"bars {first} to {last}" if last > first else f"bar {first}" for first, last in runs(voiced)]
    return texts if len(texts) > 1 else (texts or ["none"])[0]


def moment(beat: int, span: Span) -> str:
    """A moment of the clip as a recipe has it: `start`, `landing`, `landing + 40 beats`."""
    if beat == 0:
        return "landing"
    if beat == -span.lead:
        return "start"
    return f"landing {'-' if beat < 0 else '+'} {counted(abs(beat))}"


def patch_between(old: Mapping[str, Any], new: Mapping[str, Any]) -> dict[str, Any]:
    """The JSON Merge Patch (RFC 7396) that turns one recipe into another."""
    patch: dict[str, Any] = {}
    for key, value in new.items():
        was = old.get(key)
        if isinstance(value, Mapping) and isinstance(was, Mapping):
            if inner := patch_between(was, value):
                patch[key] = inner
        elif was != value:
            patch[key] = value
    return patch | {key: None for key in old if key not in new}
