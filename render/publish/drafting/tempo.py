"""Which tempo a clip runs at, so that its records are changed least."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import PurePath

from render.faults import UsageError
from render.plan.align import SPEED_REFUSED, SPEED_WARNED, fold_of
from render.publish.drafting.records import Record
from render.recipe.quantities import MAX_BPM, MIN_BPM

BETWEEN_DIGITS = 2
"""A tempo between two records is anybody's choice, so it is a readable number."""
_AS_NEAR = 4
"""Digits to which two sums of changes count as the same."""


@dataclass(frozen=True)
class ClipTempo:
    """The tempo, whose it is (None where it lies between the records), and how it is written."""

    bpm: float
    of: Record | None
    written: str | float

    def change(self, record: Record) -> float:
        """By which part a record runs faster in the clip than on its own; half and double time are folded."""
        return self.bpm / (record.bpm * fold_of(record.bpm, self.bpm)) - 1.0

    def worst_change(self, record: Record) -> float:
        """The largest change, up or down, of any beat: that of a record whose tempo drifts differs."""
        fold = fold_of(record.bpm, self.bpm)
        return max(abs(self.bpm / (tempo_bpm * fold) - 1.0) for tempo_bpm in record.tempi_bpm)


def clip_tempo(records: Sequence[Record]) -> ClipTempo:
    """The tempo of the record that lets the others change least, counted as the fastest one counts.

    Of two records either would do; then the one with the voice, or more tone, stays as it is. Where no record's own
    tempo is within ±6 % of all others, the one half-way between the outermost is taken if it changes less.
    Raises UsageError where even that is beyond ±16 % of some.
    """
    best = min(_possible(records), key=lambda tempo: _cost(tempo, records))
    if _worst(best, records) > SPEED_REFUSED:
        raise _out_of_reach(records)
    return best


def _out_of_reach(records: Sequence[Record]) -> UsageError:
    counted = _counted(records)
    slowest, fastest = (records[of(range(len(records)), key=counted.__getitem__)] for of in (min, max))
    drift = " where they drift most" if slowest.drifts or fastest.drifts else ""
    return UsageError(
        " and ".join(PurePath(record.file).name for record in (slowest, fastest)),
        f"{slowest.bpm:.2f} and {fastest.bpm:.2f} BPM do not meet within ±16 %{drift}",
        "layer records whose tempi are nearer; half and double time were tried",
    )


def _counted(records: Sequence[Record]) -> list[float]:
    """Every record's tempo, in half or double time where that is nearer to the fastest one's."""
    fastest = max(record.bpm for record in records)
    return [record.bpm * fold_of(record.bpm, fastest) for record in records]


def _possible(records: Sequence[Record]) -> list[ClipTempo]:
    counted = _counted(records)
    own = [
        ClipTempo(bpm, record, record.name if bpm == record.bpm else bpm)
        for record, bpm in zip(records, counted, strict=True)
    ]
    between = round(math.sqrt(min(counted) * max(counted)), BETWEEN_DIGITS)
    return [tempo for tempo in (*own, ClipTempo(between, None, between)) if MIN_BPM <= tempo.bpm <= MAX_BPM]


def _cost(tempo: ClipTempo, records: Sequence[Record]) -> tuple[int, bool, float, bool, float]:
    """What speaks against a tempo, the weightiest first."""
    worst = _worst(tempo, records)
    total = sum(abs(math.log1p(tempo.change(record))) for record in records)
    return (
        (worst > SPEED_WARNED) + (worst > SPEED_REFUSED),
        tempo.of is None,
        round(total, _AS_NEAR),
        not (tempo.of and tempo.of.sings),
        -tempo.of.facts.tonal_weight if tempo.of else 0.0,
    )


def _worst(tempo: ClipTempo, records: Sequence[Record]) -> float:
    return max(map(tempo.worst_change, records))
