"""What a recipe says about itself: names that must exist, counts, and positions that must resolve."""

import re
from collections.abc import Iterator
from typing import Any

from render.recipe.markers import circles
from render.recipe.nodes import Path, Problem, shortened
from render.recipe.positions import NAME, AtBar, AtMarker, TrackPosition, is_marker_name
from render.recipe.quantities import shown
from render.recipe.schema import LANDING_MARKER, Recipe, Track
from render.recipe.wording import did_you_mean

EVERYBODY, NOBODY = "all", "none"
NAMELESS = "?"
"""Stands for a track that a broken entry does not name."""
_VARIANT = re.compile(r"[A-Za-z0-9]+(?:[_-][A-Za-z0-9]+)*")
MAX_NAME = 64
MAX_TRACKS = 8
"""Twice what anybody plays at once; it bounds what a clip needs of memory."""
MAX_VARIANTS = 100
"""More than anybody listens to; each of them is checked in full."""


def reference_problems(recipe: Recipe, data: dict[str, Any]) -> Iterator[Problem]:
    """Problems of names and references. `data` is the recipe as it was written, also where it is broken."""
    tracks = data.get("tracks")
    if not isinstance(tracks, dict):
        return
    yield from _name_problems(list(tracks))
    for name, track in recipe.tracks.items():
        yield from _marker_problems(name, track, tracks[name].get("markers"))
        yield from _correction_problems(name, track)
    yield from _track_name_problems(recipe, list(tracks))
    for index, jump in enumerate(recipe.jump_back):
        if jump.track in recipe.tracks:
            track, written = recipe.tracks[jump.track], tracks[jump.track].get("markers", {})
            if isinstance(written, dict):
                yield from _position_problems(("jump_back", index, "to"), jump.to, jump.track, track, written)


def variant_problems(variants: dict[str, Any]) -> Iterator[Problem]:
    """Problems of the names and the content of `try`."""
    if len(variants) > MAX_VARIANTS:
        right = f"{MAX_VARIANTS} are the most, so put the others into another file"
        yield Problem(("try",), "too-many", f"the recipe has {len(variants)} variants", right, at_key=True)
    seen: dict[str, str] = {}
    for name, patch in variants.items():
        path: Path = ("try", name)
        if (twin := seen.setdefault(name.casefold(), name)) != name:
            wrong = f"{shown(name)} and {shown(twin)} would be one file on some disks"
            yield Problem(path, "bad-name", wrong, "give one of them another name", at_key=True)
        if not _VARIANT.fullmatch(name) or len(name) > MAX_NAME:
            right = "use letters, digits, and single `-` or `_` between them"
            yield Problem(path, "bad-name", f"{shown(name)} cannot be a variant's name", right, at_key=True)
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
    if len(names) > MAX_TRACKS:
        wrong = f"the recipe has {len(names)} tracks"
        yield Problem(("tracks",), "too-many", wrong, f"{MAX_TRACKS} are the most", at_key=True)
    for name in names:
        if not re.fullmatch(NAME, name) or name in (EVERYBODY, NOBODY) or len(name) > MAX_NAME:
            wrong = f"{shown(name)} cannot be a track's name"
            yield Problem(("tracks", name), "bad-name", wrong, _name_hint(EVERYBODY, NOBODY), at_key=True)


def _track_name_problems(recipe: Recipe, names: list[str]) -> Iterator[Problem]:
    def unknown(path: Path, name: str, *others: str) -> Problem:
        right = did_you_mean(name, (*names, *others), "write one of")
        return Problem(path, "unknown-track", f"no track is called {shown(name)}", right)

    if isinstance(recipe.tempo, str) and recipe.tempo not in names:
        wrong = f"{shown(recipe.tempo)} is neither a tempo nor a track"
        right = did_you_mean(recipe.tempo, names, "write a number, or a track's name")
        yield Problem(("tempo",), "unknown-track", wrong, right)
    for index, keep in enumerate(recipe.low_cut.keep if recipe.low_cut else ()):
        path: Path = ("low_cut", "keep", index, "track")
        for place, name in enumerate(keep.track):
            if name in (EVERYBODY, NOBODY):
                if len(keep.track) > 1:
                    wrong = f"'{name}' beside other names"
                    yield Problem((*path, place), "mixed-keep", wrong, f"write `{name}` alone")
            elif name not in names:
                yield unknown((*path, place), name, EVERYBODY, NOBODY)
    for index, jump in enumerate(recipe.jump_back):
        if jump.track not in (NAMELESS, *names):
            yield unknown(("jump_back", index, "track"), jump.track)


def _marker_problems(name: str, track: Track, written: Any) -> Iterator[Problem]:
    """`written` are the markers as they stand in the file, or what stands in their place."""
    if not isinstance(written, dict):
        return
    path: Path = ("tracks", name, "markers")
    for marker, position in track.markers.items():
        if not is_marker_name(marker) or len(marker) > MAX_NAME:
            wrong = f"{shown(marker)} cannot be a marker's name"
            counts = re.fullmatch(r".+-\d+(beat|bar)s?", marker)
            right = "it reads as beats or bars before another" if counts else _name_hint("bar")
            yield Problem((*path, marker), "bad-name", wrong, right, at_key=True)
        yield from _position_problems((*path, marker), position, name, track, written)
    for circle in circles(track.markers):
        wrong = f"markers defined by one another: {' → '.join(map(shortened, (*circle, circle[0])))}"
        yield Problem((*path, circle[0]), "marker-circle", wrong, "give one of them a time or a bar")


def _correction_problems(name: str, track: Track) -> Iterator[Problem]:
    """What corrects a measured fact stands beside the stated one, or a phrase is not whole bars."""
    path: Path = ("tracks", name)
    if track.count and track.bpm is not None:
        wrong = f"'count' beside 'bpm' of {shown(name)}"
        yield Problem((*path, "count"), "two-tempi", wrong, "leave one out; `bpm` alone says it", at_key=True)
    for key, moved in (("nudge", track.nudge), ("shift", track.shift)):
        if moved and track.first_beat is not None:
            wrong = f"'{key}' beside 'first_beat' of {shown(name)}"
            right = "change `first_beat`, or leave it out and have it measured"
            yield Problem((*path, key), "two-origins", wrong, right, at_key=True)
    phrase_bars = track.phrase_bars
    if phrase_bars is not None and (phrase_bars < 1 or phrase_bars % 1):
        wrong = f"a phrase of {phrase_bars:g} bars"
        yield Problem((*path, "phrase"), "not-bars", wrong, "whole bars, as in `phrase: 8 bars`")


def _position_problems(
    path: Path, position: TrackPosition, name: str, track: Track, written: dict[str, Any]
) -> Iterator[Problem]:
    """Problems of one position; those of the markers that it goes by are told at the markers."""
    match position.base:
        case AtBar(bar, beat) if beat >= track.beats_per_bar + 1:
            wrong = f"bar {bar} has {track.beats_per_bar} beats, so there is no beat {beat:g}"
            yield Problem(path, "bad-bar", wrong, f"use `bar {bar}.1` to `bar {bar}.{track.beats_per_bar}`")
        case AtMarker(marker) if marker not in written and marker != LANDING_MARKER:
            wrong = f"no marker of {shown(name)} is called {shown(marker)}"
            yield Problem(path, "unknown-marker", wrong, _meant(marker, written, name))


def _meant(marker: str, written: dict[str, Any], track: str) -> str:
    """What was probably meant by a marker that there is not."""
    if bar := re.fullmatch(r"[Bb]ar(\d+)", marker):
        return f"bars are written `bar {bar[1]}`"
    counted = re.fullmatch(r"(.+?)-(\d+)", marker)
    if counted and counted[1] in written:
        return f"write `{counted[1]} - {counted[2]} beats`, or bars"
    return did_you_mean(marker, written, f"the markers of {shown(track)} are")


def _name_hint(*taken: str) -> str:
    return f"begin with a letter, then letters, digits, `_` or `-`, but not {' or '.join(map(shown, taken))}"
