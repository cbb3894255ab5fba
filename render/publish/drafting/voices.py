"""Where in a clip two records are sung at once."""

from collections.abc import Iterator
from itertools import combinations

from render.publish.drafting.choice import Choice

Beats = tuple[float, float]
_SHORTEST_BEATS = 1.0
"""Two voices that only touch do not disturb each other."""


def together(choice: Choice) -> Iterator[tuple[tuple[str, str], Beats]]:
    """The spans, in clip beats, in which two lanes have a voice at once, with the lanes' names."""
    for one, other in combinations(choice.lanes, 2):
        names = one.record.name, other.record.name
        start = max(map(choice.span.plays_from, names))
        end = min(map(choice.span.plays_until, names))
        for first in one.voiced_beats():
            for second in other.voiced_beats():
                span = max(first[0], second[0], start), min(first[1], second[1], end)
                if span[1] - span[0] >= _SHORTEST_BEATS:
                    yield names, span
