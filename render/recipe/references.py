"""What a recipe says about itself: names that must exist, counts, and positions that must resolve."""

import re
from collections.abc import Iterable, Iterator
from typing import Any

from render.recipe.markers import MarkerCircle, UnknownMarker, time_of
from render.recipe.nodes import Path, Problem
from render.recipe.positions import NAME, TrackPosition
from render.recipe.schema import LANDING_MARKER, Recipe, Track
from render.recipe.wording import did_you_mean
from render.values import Grid

EVERYBODY, NOBODY = "all", "none"
NAMELESS = "?"
"""Stands for a track that a broken entry does not name."""
_VARIANT = re.compile(r"[A-Za-z0-9]+(?:[_-][A-Za-z0-9]+)*")
MAX_NAME = 64


def reference_problems(recipe: Recipe, data: dict[str, Any]) -> Iterator[Problem]:
    """Problems of names and references. `data` is the recipe as it was written, also where it is broken."""
    tracks = data.get("tracks")
    names = list(tracks) if isinstance(tracks, dict) else []
    yield from _name_problems(names)
    for name, track in recipe.tracks.items():
        written = tracks[name].get("markers") if isinstance(tracks, dict) else None
        yield from _marker_problems(name, track, list(written) if isinstance(written, dict) else [])
    yield from _track_name_problems(recipe, names)
    for index, jump in enumerate(recipe.jump_back):
        if jump.track in recipe.tracks:
            track = recipe.tracks[jump.track]
            known = list(tracks[jump.track].get("markers", {})) if isinstance(tracks, dict) else []
            yield from _position_problems(("jump_back", index, "to"), jump.to, jump.track, track, known)


def variant_problems(variants: dict[str, Any]) -> Iterator[Problem]:
    """Problems of the names and the content of `try`."""
    for name, patch in variants.items():
        path: Path = ("try", name)
        if not _VARIANT.fullmatch(name) or len(name) > MAX_NAME:
            right = "use letters, digits, and single `-` or `_` between them"
            yield Problem(path, "bad-name", f"'{name}' cannot be a variant's name", right, at_key=True)
        for key in ("try", "recipe"):
            if isinstance(patch, dict) and key in patch:
                yield Problem(
                    (*path, key), "bad-patch", f"a variant cannot change '{key}'", "leave it out", at_key=True
                )


def _name_problems(names: list[str]) -> Iterator[Problem]:
    if len(names) < 2:
        count = "one track" if names else "no tracks"
        yield Problem(
            ("tracks",), "too-few-tracks", f"the recipe has {count}", "two or more are layered", at_key=True
        )
    for name in names:
        if not re.fullmatch(NAME, name) or name in (EVERYBODY, NOBODY) or len(name) > MAX_NAME:
            right = "begin with a letter, then letters, digits, `_` or `-`; 'all' and 'none' are taken"
            yield Problem(
                ("tracks", name), "bad-name", f"'{name}' cannot be a track's name", right, at_key=True
            )


def _track_name_problems(recipe: Recipe, names: list[str]) -> Iterator[Problem]:
    def unknown(path: Path, name: str) -> Problem:
        right = did_you_mean(name, names, "the tracks are")
        return Problem(path, "unknown-track", f"no track is called '{name}'", right)

    if isinstance(recipe.tempo, str) and recipe.tempo not in names:
        problem = unknown(("tempo",), recipe.tempo)
        yield Problem(
            problem.path, problem.code, problem.wrong, f"write a number or a track; {problem.right}"
        )
    for index, keep in enumerate(recipe.low_cut.keep if recipe.low_cut else ()):
        path: Path = ("low_cut", "keep", index, "track")
        for name in keep.track:
            if name in (EVERYBODY, NOBODY):
                if len(keep.track) > 1:
                    yield Problem(path, "mixed-keep", f"'{name}' beside other names", f"write `{name}` alone")
            elif name not in names:
                yield unknown(path, name)
    for index, jump in enumerate(recipe.jump_back):
        if jump.track not in (NAMELESS, *names):
            yield unknown(("jump_back", index, "track"), jump.track)


def _marker_problems(name: str, track: Track, written: list[str]) -> Iterator[Problem]:
    path: Path = ("tracks", name, "markers")
    if LANDING_MARKER not in written:
        wrong = f"track '{name}' has no marker '{LANDING_MARKER}', which is not measured yet"
        yield Problem(
            path, "no-drop", wrong, f"state where it drops, as in `{LANDING_MARKER}: 1:29.614`", at_key=True
        )
    for marker, position in track.markers.items():
        if not re.fullmatch(NAME, marker) or marker == "bar" or len(marker) > MAX_NAME:
            right = "begin with a letter, then letters, digits, `_` or `-`; 'bar' is taken"
            yield Problem(
                (*path, marker), "bad-name", f"'{marker}' cannot be a marker's name", right, at_key=True
            )
        yield from _position_problems((*path, marker), position, name, track, written)


def _position_problems(
    path: Path, position: TrackPosition, name: str, track: Track, written: Iterable[str]
) -> Iterator[Problem]:
    grid = Grid(track.first_beat, track.bpm, track.beats_per_bar)
    try:
        time_of(position, track.markers, grid)
    except UnknownMarker as unknown:
        if unknown.name not in written:
            right = did_you_mean(unknown.name, written, f"the markers of '{name}' are")
            yield Problem(path, "unknown-marker", f"no marker of '{name}' is called '{unknown.name}'", right)
    except MarkerCircle as circle:
        wrong = f"markers defined by one another: {' → '.join((*circle.names, circle.names[0]))}"
        yield Problem(path, "marker-circle", wrong, "give one of them a time or a bar")
