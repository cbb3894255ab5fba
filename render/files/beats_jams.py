"""Beats in a JAMS file.

JAMS keeps what was marked of a recording as JSON: a list of annotations, each with a namespace and with observations
of time, duration, value and confidence (Humphrey et al., "JAMS: A JSON Annotated Music Specification for Reproducible
MIR Research", ISMIR 2014; namespaces and layout as of version 0.2 and later). Two namespaces hold beats:

- `beat`: the value is the beat's number in the bar, or null;
- `beat_position`: the value holds `position`, the beat's number, and `num_beats`, how many its bar has.

Observations are a list of objects or, as older files have it, one object of lists.
"""

import json
import math
from collections.abc import Iterator
from itertools import islice
from typing import Any

from render.files.beat_marks import MOST_BEATS, MOST_BEATS_PER_BAR, BeatsFault, Mark, whole_number
from render.files.one_line import quoted

_NAMESPACES = ("beat", "beat_position")
_MOST_LISTED = 6
"""Namespaces that a note lists."""
_MONSTROUS = 10**15
"""Whole numbers from here on are not repeated in a message."""


def marks_of_jams(text: str) -> tuple[list[Mark] | None, tuple[str, ...]]:
    """The marks of the first annotation of beats, and notes; None where the file holds other things only.

    At most one mark more than a record may have. Raises BeatsFault.
    """
    annotations = _annotations(text)
    of_beats = [one for one in annotations if one.get("namespace") in _NAMESPACES]
    if not of_beats:
        return None, (f": it holds no beats{_what_else(annotations)}: the beats are measured",)
    several = f": it holds {len(of_beats)} annotations of beats: the first is taken"
    notes = (several,) if len(of_beats) > 1 else ()
    first = of_beats[0]
    in_object = first["namespace"] == "beat_position"
    observations = enumerate(_observations(first.get("data")), start=1)
    return [
        _mark(f", beat {count}", time, value, in_object)
        for count, (time, value) in islice(observations, MOST_BEATS + 1)
    ], notes


def _annotations(text: str) -> list[dict[str, Any]]:
    try:
        jams = json.loads(text)
    except json.JSONDecodeError as error:
        wrong = f"this is not JSON ({error.msg}, column {error.colno})"
        raise BeatsFault(f":{error.lineno}", wrong, "a JAMS file is JSON") from error
    except (RecursionError, ValueError) as error:  # ValueError: a whole number of thousands of digits
        raise BeatsFault(
            "", "it is nested too deep or holds a monstrous number", "a JAMS file does not"
        ) from error
    annotations = jams.get("annotations") if isinstance(jams, dict) else None
    if not isinstance(annotations, list) or not all(isinstance(one, dict) for one in annotations):
        right = "JAMS of version 0.2 or later can be read"
        raise BeatsFault("", "it has no list of annotations", right)
    return annotations


def _what_else(annotations: list[dict[str, Any]]) -> str:
    others = sorted({one["namespace"] for one in annotations if isinstance(one.get("namespace"), str)})
    more = ["…"] if len(others) > _MOST_LISTED else []
    return f", but {', '.join([*map(quoted, others[:_MOST_LISTED]), *more])}" if others else ""


def _observations(data: Any) -> Iterator[tuple[Any, Any]]:
    """Time and value of each observation."""
    match data:
        case list():
            for count, one in enumerate(data, start=1):
                if not isinstance(one, dict):
                    right = "an observation has a time, a duration, a value and a confidence"
                    raise BeatsFault(f", beat {count}", "it is no observation", right)
                yield one.get("time"), one.get("value")
        case {"time": list() as times, "value": list() as values}:
            if len(times) != len(values):
                wrong = f"{len(times)} times, but {len(values)} values"
                raise BeatsFault("", wrong, "each beat has a time and a value, be it null")
            yield from zip(times, values, strict=True)
        case _:
            right = "its data is a list of observations, or lists of times and values"
            raise BeatsFault("", "its annotation of beats holds no observations", right)


def _mark(place: str, time: Any, value: Any, in_object: bool) -> Mark:
    time_s = _float(time)
    if not math.isfinite(time_s):
        raise BeatsFault(place, f"{_shown(time)} is no time", "a time is a number of seconds")
    if value is None or (isinstance(value, float) and math.isnan(value)):  # tables write NaN for nothing
        return Mark(place, time_s)
    if not in_object:
        return Mark(place, time_s, _place_in_bar(place, value))
    if not isinstance(value, dict):
        raise BeatsFault(place, f"{_shown(value)} is no position", "it has a `position` and `num_beats`")
    beats_per_bar = _place_in_bar(place, value.get("num_beats"))
    return Mark(place, time_s, _place_in_bar(place, value.get("position")), beats_per_bar)


def _place_in_bar(place: str, value: Any) -> int:
    number = whole_number(_float(value))
    if number is None:
        right = f"beats of a bar count from 1, to {MOST_BEATS_PER_BAR} at the most"
        raise BeatsFault(place, f"{_shown(value)} is no beat of a bar", right)
    return number


def _float(value: Any) -> float:
    """A number as a float; NaN for anything else."""
    if isinstance(value, bool) or not isinstance(value, int | float):
        return math.nan
    try:
        return float(value)
    except OverflowError:
        return math.inf


def _shown(value: Any) -> str:
    match value:
        case dict():
            return "an object"
        case list():
            return "a list"
        case str():
            return f"'{quoted(value)}'"
        case None:
            return "nothing"
        case int() if abs(value) >= _MONSTROUS:
            return "a monstrous number"
        case _:
            return f"'{json.dumps(value)}'"
