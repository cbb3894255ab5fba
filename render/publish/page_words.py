"""What the listening page says of a clip: its receipt in a performer's words, and the numbers behind them.

Every word of a title or a name is text, never markup; numbers are set with a minus sign.
"""

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from render.facts import TrackFacts
from render.plan.explain import drift_percent, events
from render.plan.model import ClipPlan, Lane
from render.publish.lettering import cleaned, minus, spoken
from render.values import clock

TIMING = ("landing-off", "beat-off", "lane-off", "landing-not-measured")
LOW_END = ("low-end-overlap", "low-end-shared")
SHOWN = (*TIMING, *LOW_END, "headroom", "keys", "two-voices")
"""The kinds of findings that have a row of their own."""

DROPS = "drops"


@dataclass(frozen=True)
class Said:
    """What is said of a clip, in sentences, under a word that says what they are about."""

    about: str
    sentences: Sequence[str]
    warns: bool = False


@dataclass(frozen=True)
class Table:
    caption: str
    head: Sequence[str]
    rows: Sequence[Sequence[str]]


def layered(plan: ClipPlan) -> str:
    """Which tracks lie over each other, and what each does at the landing."""
    lanes: dict[str, list[str]] = {}
    for lane in plan.lanes:
        lanes.setdefault(_at_the_landing(lane), []).append(lane.track)
    told = [
        f"{spoken(tracks)} {'drop' if does == DROPS and len(tracks) > 1 else does}"
        for does, tracks in lanes.items()
    ]
    return f"{cleaned('; '.join(told))}."


def said_of(receipt: Mapping[str, Any], facts: Mapping[str, TrackFacts]) -> list[Said]:
    """What there is to know before the clip is played on decks: always these five, then what else is a warning."""
    findings = receipt["findings"]
    unheard = any(known.voice_s is None for known in facts.values())
    others = [cleaned(one["text"]) for one in findings if one["level"] != "note" and one["code"] not in SHOWN]
    return [
        _landing(receipt["tracks"], findings),
        _found("Low end", findings, LOW_END, "No low end to overlap."),
        _found("Headroom", findings, ("headroom",), "Not measured."),
        _found("Keys", findings, ("keys",), "No two keys to compare."),
        _found("Voices", findings, ("two-voices",), "Not listened for." if unheard else "Never two at once."),
        *([Said("Also", others, True)] if others else []),
    ]


def notes_of(receipt: Mapping[str, Any]) -> list[str]:
    """What else was noted."""
    found = receipt["findings"]
    return [cleaned(f["text"]) for f in found if f["level"] == "note" and f["code"] not in SHOWN]


def landing_error_ms(receipt: Mapping[str, Any]) -> float | None:
    """By how much the worst of the tracks misses the landing; None where none was measured."""
    errors = (track["landing_error_ms"] for track in receipt["tracks"])
    return max((abs(error) for error in errors if error is not None), default=None)


def tables_of(receipt: Mapping[str, Any], plan: ClipPlan, facts: Mapping[str, TrackFacts]) -> list[Table]:
    """The numbers: of the tracks, of the clip, and what happens when."""
    tracks = receipt["tracks"]
    mix, encoded = receipt["mix"], receipt["encoded"]
    overlap = receipt["low_end_overlap"]
    return [
        Table(
            "Tracks",
            (
                "track",
                "file",
                "BPM",
                "tempo",
                "pitch",
                "gain",
                "key",
                "landing",
                "worst beat",
                "beats measured",
            ),
            [_track_row(*pair, facts) for pair in zip(tracks, plan.lanes, strict=True)],
        ),
        Table(
            "What happens when",
            ("beat", "in the clip", "track", "what", "in the record"),
            list(_event_rows(plan, facts)),
        ),
        Table(
            "Clip",
            ("what", "measured"),
            [
                ("tempo", f"{plan.clock.tempo_bpm:g} BPM"),
                ("landing", f"at {clock(plan.clock.landing_s)} of {clock(plan.clock.duration_s)}"),
                ("tracks together, before the trim", _levels(mix)),
                ("trim", _number(receipt["trim_db"], "dB", 1)),
                ("clip as encoded", _levels(encoded)),
                ("headroom needed", _number(receipt["headroom_needed_db"], "dB", 1)),
                ("beats with two low ends", "–" if overlap is None else f"{overlap:.0%}"),
                ("stretched by", cleaned(str(receipt["engine"]))),
            ],
        ),
    ]


def _at_the_landing(lane: Lane) -> str:
    if lane.drops:
        return DROPS
    jump = next((leg for leg in lane.legs if leg.begins == "jump" and round(leg.start_beat, 3) == 0), None)
    if jump:
        return f"goes back to {jump.marker}"
    return "plays on" if lane.start_beat <= 0 < lane.end_beat else "is silent at the landing"


def _landing(tracks: Sequence[Mapping[str, Any]], findings: Sequence[Mapping[str, Any]]) -> Said:
    errors = {track["name"]: track["landing_error_ms"] for track in tracks}
    measured = {name: abs(error) for name, error in errors.items() if error is not None}
    off = _found("Landing", findings, TIMING, "")
    if not measured:
        return Said("Landing", [*off.sentences] if any(off.sentences) else ["Not measured."], off.warns)
    most_ms = math.ceil(max(measured.values()) * 10 - 1e-6) / 10  # rounded up: it is a promise
    who = f"All {len(errors)} tracks" if len(errors) > 2 else "Both tracks"
    if len(measured) < len(errors):
        who = cleaned(spoken(list(measured)))
    sentence = f"{who} within {max(most_ms, 0.1):.1f} ms of the beat."
    return Said("Landing", [sentence, *filter(None, off.sentences)], off.warns)


def _found(about: str, findings: Sequence[Mapping[str, Any]], codes: Sequence[str], without: str) -> Said:
    """What was found of some kinds, in sentences; `without` is said where nothing was."""
    found = [one for one in findings if one["code"] in codes]
    sentences = [cleaned(one["text"]) for one in found]
    return Said(about, sentences or [without], any(one["level"] != "note" for one in found))


def _track_row(track: Mapping[str, Any], lane: Lane, facts: Mapping[str, TrackFacts]) -> tuple[str, ...]:
    known, first = facts[lane.track], lane.passages[0]
    return (
        cleaned(lane.track),
        cleaned(track["file"]),
        f"{known.tempo_bpm.value:.6g}",
        minus(drift_percent(lane) or f"{(first.speed - 1) * 100:+.2f} %"),
        _pitch(first.semitones),
        _number(track["gain_db"], "dB", 1),
        known.key.value if known.key else "–",
        _number(track["landing_error_ms"], "ms", 2),
        _number(track["worst_beat_ms"], "ms", 2),
        str(track["beats_measured"]),
    )


def _pitch(semitones: float | None) -> str:
    if semitones is None:
        return "follows the tempo"
    if semitones == 0:
        return "kept"
    return minus(f"{semitones:+g} semitone{'' if abs(semitones) == 1 else 's'}")


def _event_rows(plan: ClipPlan, facts: Mapping[str, TrackFacts]) -> Iterator[tuple[str, ...]]:
    for event in events(plan, facts):
        there = (
            "" if event.source_s is None else f"bar {event.bar}.{event.bar_beat:g}, {clock(event.source_s)}"
        )
        what = cleaned(event.what)
        beat = minus(f"{event.beat:+g}") if round(event.beat, 3) else "landing"
        yield beat, clock(event.clip_s), cleaned(event.track), what, there


def _levels(readings: Mapping[str, Any]) -> str:
    loudness = _number(readings["integrated_lufs"], "LUFS", 1)
    return f"{loudness}, peak {_number(readings['true_peak_dbtp'], 'dBTP', 1)}"


def _number(value: float | None, unit: str, digits: int) -> str:
    """A number that may be missing; one that rounds to nothing has no sign."""
    if value is None:
        return "–"
    return f"{minus(f'{round(value, digits) + 0.0:.{digits}f}')} {unit}"
