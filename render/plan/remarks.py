"""What a performer should know of the records that meet in a clip: what was only heard, keys, voices."""

from collections.abc import Iterator, Mapping, Sequence
from itertools import combinations

from render.facts import Fact, TrackFacts
from render.plan.keys import AGREE_UP_TO, TONAL_FROM, places_apart, relation, transposed
from render.plan.lane_remarks import OFF_BEAT_S
from render.plan.model import Lane, Reason
from render.recipe.known import time_in_record
from render.recipe.schema import LANDING_MARKER, Recipe, Track
from render.values import clock

NEAR_SEMITONE = 0.2
"""A pitch farther than this from a whole semitone is between two keys: a fifth of one is heard as out of tune."""
LEAST_VOICES_BEATS = 4.0
"""Two voices that meet for less than a bar do not disturb each other (common practice)."""

Spans = list[tuple[float, float]]


def remarks(recipe: Recipe, lanes: Sequence[Lane], facts: Mapping[str, TrackFacts]) -> Iterator[Reason]:
    """Reasons about single tracks, then about pairs, in the order of the lanes."""
    for lane in lanes:
        yield from _heard(facts[lane.track])
        yield from _off_beat(recipe.tracks[lane.track], facts[lane.track])
    for one, other in combinations(lanes, 2):
        yield from _keys(one, other, facts)
        yield from _voices(one, other, facts)


def _heard(known: TrackFacts) -> Iterator[Reason]:
    """What of a track was not stated, and what to beware of."""
    told = [
        f"{what}{_sure(fact)}"
        for what, fact in (
            (f"{known.tempo_bpm.value:.3f} BPM", known.tempo_bpm),
            (f"bar 1 at {clock(known.first_beat_s.value)}", known.first_beat_s),
            (f"drop at {clock(known.drop_s.value)}", known.drop_s),
        )
        if fact.source in ("measured", "beside")
    ]
    if told:
        yield Reason("note", "measured", f"{known.name}, as heard: {', '.join(told)}", known.name)
    for warning in known.warnings:
        yield Reason("warning", "unsure", f"{known.name}: {warning}", known.name)


def _off_beat(track: Track, known: TrackFacts) -> Iterator[Reason]:
    """Markers beside the beat; that of the landing is told with its lane."""
    for marker, position in track.markers.items():
        if marker == LANDING_MARKER:
            continue
        off_s = known.grid.off_beat_s(time_in_record(track, position, known.grid, known.drops_s))
        if abs(off_s) > OFF_BEAT_S:
            side = "after" if off_s > 0 else "before"
            text = f"'{marker}' lies {abs(off_s) * 1000:.0f} ms {side} a beat"
            yield Reason("note", "marker-off-beat", f"{known.name}: {text}", known.name, off_s * 1000)


def _sure(fact: Fact[float]) -> str:
    return " (marked)" if fact.source == "beside" else f" ({fact.confidence:.0%} sure)"


def _keys(one: Lane, other: Lane, facts: Mapping[str, TrackFacts]) -> Iterator[Reason]:
    """How the keys of two lanes agree, as they sound in the clip."""
    pair = facts[one.track], facts[other.track]
    keys = [_sounding_key(lane, known) for lane, known in zip((one, other), pair, strict=True)]
    if None in keys:
        return
    first, second = str(keys[0]), str(keys[1])
    text = f"{one.track} in {first} over {other.track} in {second}: {relation(first, second)}"
    drums = [known.name for known in pair if known.tonal_weight and known.tonal_weight.value < TONAL_FROM]
    if drums:
        text += f"; it hardly matters, {' and '.join(drums)} being mostly drums"
    apart = places_apart(first, second)
    quarrel = apart > AGREE_UP_TO and not drums
    yield Reason("warning" if quarrel else "note", "keys", text, "", float(apart))


def _sounding_key(lane: Lane, known: TrackFacts) -> str | None:
    """A track's key at the pitch it is played at; None where it is unknown or between two keys."""
    if known.key is None or between_keys(lane):
        return None
    return transposed(known.key.value, round(lane.semitones))


def between_keys(lane: Lane) -> bool:
    """Whether the tempo takes a lane's pitch to where no key is."""
    return abs(lane.semitones - round(lane.semitones)) > NEAR_SEMITONE


def _voices(one: Lane, other: Lane, facts: Mapping[str, TrackFacts]) -> Iterator[Reason]:
    """Where somebody sings or speaks in both lanes."""
    met = [
        (max(start, begin), min(end, stop))
        for start, end in _voice_beats(one, facts[one.track])
        for begin, stop in _voice_beats(other, facts[other.track])
        if max(start, begin) < min(end, stop)
    ]
    beats = sum(end - start for start, end in met)
    if beats >= LEAST_VOICES_BEATS:
        text = f"{one.track} and {other.track} both have a voice for {beats:.0f} beats, from {min(met)[0]:+.0f} on"
        yield Reason("warning", "two-voices", text, "", beats)


def _voice_beats(lane: Lane, known: TrackFacts) -> Spans:
    """The spans of the clip, in clip beats, in which a lane has a voice."""
    spans: Spans = []
    for passage in lane.passages:
        start_s, end_s = (
            frames / known.recording.rate_hz
            for frames in (passage.source_start_frames, passage.source_end_frames)
        )
        beats_per_s = (passage.end_beat - passage.start_beat) / (end_s - start_s)
        for voice_s, silence_s in known.voice_s.value if known.voice_s else ():
            if max(voice_s, start_s) < min(silence_s, end_s):
                spans.append(
                    (
                        passage.start_beat + (max(voice_s, start_s) - start_s) * beats_per_s,
                        passage.start_beat + (min(silence_s, end_s) - start_s) * beats_per_s,
                    )
                )
    return spans
