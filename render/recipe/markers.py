"""Markers: the named positions of one track, and what they come down to."""

from collections.abc import Iterator, Mapping

from render.recipe.positions import AtBar, AtDrop, AtMarker, AtTime, TrackPosition
from render.recipe.schema import LANDING_MARKER


class UnknownMarker(Exception):
    """A position names a marker that the track does not have."""

    def __init__(self, name: str) -> None:
        self.name = name
        super().__init__(name)


class MarkerCircle(Exception):
    """Markers that are defined by one another."""

    def __init__(self, names: tuple[str, ...]) -> None:
        self.names = names
        super().__init__(names)


def resolved(
    position: TrackPosition, markers: Mapping[str, TrackPosition], beats_per_bar: int
) -> tuple[AtTime | AtBar | AtDrop, float]:
    """What a position comes down to, and how many of the track's beats it lies after that.

    The landing marker is, where nobody stated it, the likeliest of the drops that were heard.
    Raises UnknownMarker and MarkerCircle.
    """
    beats = 0.0
    seen: dict[str, None] = {}
    while True:
        beats += position.offset.beats(beats_per_bar)
        if not isinstance(position.base, AtMarker):
            return position.base, beats
        name = position.base.name
        if name in seen:
            raise MarkerCircle(tuple(seen)[list(seen).index(name) :])
        if name not in markers:
            if name == LANDING_MARKER:
                return AtDrop(1), beats
            raise UnknownMarker(name)
        seen[name] = None
        position = markers[name]


def circles(markers: Mapping[str, TrackPosition]) -> Iterator[tuple[str, ...]]:
    """The markers that are defined by one another, each circle once, beginning with the one that stands first."""
    order = {name: index for index, name in enumerate(markers)}
    done: set[str] = set()
    for start in markers:
        walk: dict[str, None] = {}
        name = start
        while name in markers and name not in done and name not in walk:
            walk[name] = None
            base = markers[name].base
            name = base.name if isinstance(base, AtMarker) else ""
        if name in walk:
            circle = tuple(walk)[list(walk).index(name) :]
            first = circle.index(min(circle, key=order.__getitem__))
            yield circle[first:] + circle[:first]
        done.update(walk)
