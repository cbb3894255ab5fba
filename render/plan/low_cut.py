"""Who keeps the low end when, and in which spans the others lose theirs."""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

from render.plan.model import CutSpan
from render.recipe.references import EVERYBODY
from render.values import nearest_frame


@dataclass(frozen=True)
class Keeping:
    """From a clip beat on, the tracks that keep the low end; before the first, nothing is cut."""

    from_beat: float
    tracks: tuple[str, ...]

    def keeps(self, track: str) -> bool:
        return self.tracks == (EVERYBODY,) or track in self.tracks


def cut_beats(track: str, keepings: Sequence[Keeping], end_beat: float) -> Iterator[tuple[float, float]]:
    """The spans, in clip beats, in which a track's low band is removed; spans that touch are one."""
    begins: float | None = None
    for keeping in keepings:
        if keeping.keeps(track):
            if begins is not None:
                yield begins, keeping.from_beat
            begins = None
        elif begins is None:
            begins = keeping.from_beat
    if begins is not None:
        yield begins, end_beat


def cut_spans(
    track: str, keepings: Sequence[Keeping], end_beat: float, beat_frames: Callable[[float], float]
) -> tuple[CutSpan, ...]:
    """The same with clip frames. Spans are those of the clip, also where the lane is not playing."""
    return tuple(
        CutSpan(start, end, nearest_frame(beat_frames(start)), nearest_frame(beat_frames(end)))
        for start, end in cut_beats(track, keepings, end_beat)
    )
