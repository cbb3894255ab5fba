"""What the picture of a record says: its facts, its warnings, where it may drop, and the whole of it in sentences."""

import math
from pathlib import PurePath

from render.facts import ByBars, DropCandidate, GridFinding, RecordFacts, Recording, runs
from render.publish.lettering import cleaned, minus
from render.publish.tones import RANGE_DB
from render.values import clock

SURE = 0.8
"""From here on the runner-up is not worth a word."""
NO_BEAT = "No beat was found, so there are no bars to draw. State `bpm` and `first_beat` in the recipe."
NO_BAR = "The record ends before its first bar does, so there are no bars to draw."
_NARROW = "\N{NO-BREAK SPACE}"
"""Between a number and its unit, which stay on one line."""


def file_name(recording: Recording) -> str:
    return PurePath(recording.path).name


def facts_items(heard: RecordFacts) -> list[str]:
    """The record's facts, each a few words."""
    levels = heard.levels
    items = _items_by_bars(heard.by_bars) if heard.by_bars else []
    items.append(f"tonal weight {_percent(heard.tonal_weight)}")
    items.append(_number(levels.integrated_lufs, "LUFS") or "no loudness to read")
    if peak := _number(levels.true_peak_dbtp, "dBTP"):
        items.append(f"peak {peak}")
    items.append(f"{clock(heard.duration_s)} long")
    if heard.by_bars and not any(heard.by_bars.bars.voiced):
        items.append("no voice heard")
    return [item.replace(" ", _NARROW) for item in items]


def warnings(recording: Recording, heard: RecordFacts) -> list[str]:
    """What a performer should know before trusting the rest."""
    found = [*heard.by_bars.grid.reasons] if heard.by_bars else []
    if heard.levels.clipped_runs:
        runs = heard.levels.clipped_runs
        found.append(f"clipped in {runs} place{'s' if runs > 1 else ''}")
    return [*found, recording.note] if recording.note else found


def nothing_to_draw(heard: RecordFacts) -> str | None:
    """Why there are no bars; None where there are."""
    if heard.by_bars is None:
        return NO_BEAT
    return None if heard.by_bars.bars.voiced else NO_BAR


def candidate_place(drop: DropCandidate) -> str:
    return f"bar {drop.bar}, {clock(drop.at_s)}"


def summary(recording: Recording, heard: RecordFacts) -> str:
    """What the picture shows, for those who do not see it."""
    said = [f"{file_name(recording)}: {', '.join(facts_items(heard))}."]
    said += [f"Beware: {warning}." for warning in warnings(recording, heard)]
    if reason := nothing_to_draw(heard):
        said.append(reason)
    elif by := heard.by_bars:
        said += [
            f"Drop {number}: {candidate_place(drop)}; {', '.join(drop.why)}."
            for number, drop in enumerate(by.drops, 1)
        ]
        voice = [_bars(first, last) for first, last in runs(by.bars.voiced)]
        said += [f"Voice: {', '.join(voice)}."] if voice else []
        drums = [_bars(passage.bar, passage.last_bar) for passage in by.stripped]
        said += [f"Little but drums: {', '.join(drums)}."] if drums else []
    return cleaned(" ".join(said))


def legend(by: ByBars) -> list[str]:
    """What the strips mean, those that are there."""
    said = ["low: share of each bar’s power below 120 Hz"]
    said += ["voice: somebody sings or speaks"] if any(by.bars.voiced) else []
    said += ["drums: little else"] if by.stripped else []
    return said


def tone_scale() -> str:
    return f"dB below the loudest bar and band; paper: {minus(f'{-RANGE_DB:g}')} and less"


def minutes(time_s: float) -> str:
    """`m:ss`, as a player shows it: the second that has begun."""
    seconds = math.floor(max(time_s, 0.0))
    return f"{seconds // 60}:{seconds % 60:02d}"


def rival(found: GridFinding) -> str:
    """The tempo that it may be instead, where that is a close call."""
    close = found.runner_up_bpm is not None and found.tempo_confidence < SURE
    return f", or {found.runner_up_bpm:.2f}" if close else ""


def _items_by_bars(by: ByBars) -> list[str]:
    found = by.grid
    items = [f"{found.grid.tempo_bpm:.3f} BPM{rival(found)} ({_percent(found.tempo_confidence)} sure)"]
    items += [f"{key.name} ({_percent(key.confidence)} sure)" for key in by.keys[:1]]
    return [*items, _phrases(found)]


def _phrases(found: GridFinding) -> str:
    return f"phrases of {found.phrase_bars} bars" if found.phrase_bars else "no phrases heard"


def _bars(first: int, last: int) -> str:
    return f"bars {first} to {last}" if last > first else f"bar {first}"


def _percent(share: float) -> str:
    return f"{share * 100:.0f} %"


def _number(value: float | None, unit: str) -> str | None:
    return None if value is None else minus(f"{value:.1f} {unit}")
