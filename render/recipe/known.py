"""What a recipe states of a track and what was measured of its recording, as the facts that a plan goes by.

What is stated wins. What is left out is measured; a record of which tempo, bar 1 and drop are stated is not listened
to at all.
"""

from collections.abc import Iterator, Sequence

from render.facts import NOTHING_GIVEN, ByBars, Fact, Given, Origin, RecordFacts, Recording, TrackFacts, runs
from render.recipe.markers import resolved
from render.recipe.nodes import Path, Problem
from render.recipe.positions import AtBar, AtDrop, AtTime, TrackPosition
from render.recipe.schema import LANDING_MARKER, Recipe, Track
from render.values import Grid

_COUNTED = {None: 1.0, "half": 0.5, "double": 2.0}


class UnknownFacts(Exception):
    """Facts that are neither stated nor could be measured; `problems` say which."""

    def __init__(self, problems: list[Problem]) -> None:
        self.problems = tuple(problems)
        super().__init__(self.problems)


def given_of(track: Track) -> Given:
    """What a recipe says of a record that matters for listening to it."""
    return Given(
        tempo_bpm=track.bpm,
        multiple=_COUNTED[track.count],
        first_beat_s=None if track.first_beat is None else track.first_beat + track.offset / 1000.0,
        nudge_s=track.nudge / 1000.0,
        shift_beats=track.shift,
        beats_per_bar=track.beats_per_bar if "beats_per_bar" in track.model_fields_set else None,
        phrase_bars=_phrase_bars(track),
    )


def needs_hearing(recipe: Recipe, name: str) -> bool:
    """Whether anything of a track that a plan cannot do without is left to be measured."""
    track = recipe.tracks[name]
    return (
        track.bpm is None
        or track.first_beat is None
        or LANDING_MARKER not in track.markers
        or any(isinstance(position.base, AtDrop) for _, position in _positions(recipe, name))
    )


def track_facts(
    recipe: Recipe,
    name: str,
    recording: Recording,
    heard: RecordFacts | None = None,
    given: Given = NOTHING_GIVEN,
    notes: tuple[str, ...] = (),
) -> TrackFacts:
    """The facts of one track.

    `heard` is what was measured, None where nothing had to be; `given` is what it was measured with, the beats
    beside the record included, and `notes` what is to be said about those. Raises UnknownFacts.
    """
    track = recipe.tracks[name]
    by = heard.by_bars if heard else None
    grid = _grid(name, track, by)
    if problems := _missing_drops(recipe, name, by):
        raise UnknownFacts(problems)
    origin: Origin = "beside" if given.beats else "measured"
    drops_s = tuple(drop.at_s for drop in by.drops) if by else ()
    bar_1 = min(by.grid.beat_confidence, by.grid.bar_confidence) if by else 1.0
    return TrackFacts(
        name=name,
        recording=recording,
        tempo_bpm=_fact(
            track.bpm is not None, grid.tempo_bpm, origin, by.grid.tempo_confidence if by else 1.0
        ),
        first_beat_s=_fact(track.first_beat is not None, grid.first_beat_s, origin, bar_1),
        beats_per_bar=_beats_per_bar(track, grid, given),
        drop_s=_drop(track, grid, by, drops_s),
        key=_key(track, by),
        beats_s=grid.beats_s,
        drops_s=drops_s,
        phrase_bars=_phrase(track, by),
        tonal_weight=_tonal_weight(track, heard),
        voice_s=_voice(track, grid, by),
        warnings=(*notes, *(by.grid.reasons if by else ())),
    )


def time_in_record(track: Track, position: TrackPosition, grid: Grid, drops_s: Sequence[float] = ()) -> float:
    """Seconds from the recording's start to a position of the track; stated times are moved by its `offset`.

    `grid` and `drops_s` are those of the track's facts.
    """
    base, beats = resolved(position, track.markers, grid.beats_per_bar)
    match base:
        case AtBar(bar, beat):
            return grid.time_s(grid.beat_of_bar(bar, beat) + beats)
        case AtTime(time_s):
            origin_s = time_s + track.offset / 1000.0
        case AtDrop(number):
            origin_s = drops_s[number - 1]
    return grid.time_s(grid.beat_at(origin_s) + beats) if beats else origin_s


def _positions(recipe: Recipe, name: str) -> Iterator[tuple[Path, TrackPosition]]:
    """Every position in a track that the recipe names, with the path it stands at."""
    for marker, position in recipe.tracks[name].markers.items():
        yield ("tracks", name, "markers", marker), position
    for index, jump in enumerate(recipe.jump_back):
        if jump.track == name:
            yield ("jump_back", index, "to"), jump.to


def _grid(name: str, track: Track, by: ByBars | None) -> Grid:
    if track.bpm is not None and track.first_beat is not None:
        return Grid(track.first_beat + track.offset / 1000.0, track.bpm, track.beats_per_bar)
    if by is None:
        wrong = f"no beat was found in the record of '{name}'"
        right = "state `bpm`, `first_beat` and the marker `drop`"
        raise UnknownFacts([Problem(("tracks", name), "no-beat", wrong, right, at_key=True)])
    return by.grid.grid


def _missing_drops(recipe: Recipe, name: str, by: ByBars | None) -> list[Problem]:
    """What asks for a drop that was not heard."""
    there = len(by.drops) if by else 0
    problems = [
        Problem(
            path,
            "no-such-drop",
            f"'{position.written}': the record of '{name}' was heard to drop in {_times(there)}",
            f"use up to `drop {there}`, or state a time" if there else "state a time, as in `1:29.614`",
        )
        for path, position in _positions(recipe, name)
        if isinstance(position.base, AtDrop) and position.base.number > there
    ]
    if LANDING_MARKER not in recipe.tracks[name].markers and not there:
        wrong = f"no drop was found in the record of '{name}'"
        right = f"state where it drops, as in `markers: {{{LANDING_MARKER}: 1:29.614}}`"
        problems.append(Problem(("tracks", name), "no-drop", wrong, right, at_key=True))
    return problems


def _times(count: int) -> str:
    return {0: "no place", 1: "one place"}.get(count, f"{count} places")


def _drop(track: Track, grid: Grid, by: ByBars | None, drops_s: Sequence[float]) -> Fact[float]:
    stated = track.markers.get(LANDING_MARKER)
    if stated is None:
        assert by is not None  # else its absence has been told
        return Fact(drops_s[0], "measured", by.drop_confidence)
    base, beats = resolved(stated, track.markers, grid.beats_per_bar)
    if isinstance(base, AtBar) and by and (track.bpm is None or track.first_beat is None):
        return Fact(by.grid.local_time_s(grid.beat_of_bar(base.bar, base.beat) + beats))
    return Fact(time_in_record(track, stated, grid, drops_s))


def _fact(stated: bool, value: float, origin: Origin, confidence: float) -> Fact[float]:
    return Fact(value) if stated else Fact(value, origin, confidence)


def _beats_per_bar(track: Track, grid: Grid, given: Given) -> Fact[int]:
    if "beats_per_bar" in track.model_fields_set:
        return Fact(grid.beats_per_bar)
    marked = given.beats and given.beats.beats_per_bar
    return Fact(grid.beats_per_bar, "beside" if marked else "assumed")


def _key(track: Track, by: ByBars | None) -> Fact[str] | None:
    if track.key:
        return Fact(track.key)
    return Fact(by.keys[0].name, "measured", by.keys[0].confidence) if by and by.keys else None


def _tonal_weight(track: Track, heard: RecordFacts | None) -> Fact[float] | None:
    if track.tonal_weight is not None:
        return Fact(track.tonal_weight)
    return Fact(heard.tonal_weight, "measured") if heard else None


def _phrase(track: Track, by: ByBars | None) -> Fact[int] | None:
    if stated := _phrase_bars(track):
        return Fact(stated)
    return Fact(by.grid.phrase_bars, "measured") if by and by.grid.phrase_bars else None


def _phrase_bars(track: Track) -> int | None:
    return None if track.phrase_bars is None else round(track.phrase_bars)


def _voice(track: Track, grid: Grid, by: ByBars | None) -> Fact[tuple[tuple[float, float], ...]] | None:
    """The spans with a voice, in seconds."""
    if track.voice is not None:
        bars = ((grid.beat_of_bar(first), grid.beat_of_bar(last + 1)) for first, last in track.voice)
        return Fact(tuple((grid.time_s(start), grid.time_s(end)) for start, end in bars))
    if by is None:
        return None
    starts_s = by.bars.starts_s
    spans = [(starts_s[first - 1], starts_s[last]) for first, last in runs(by.bars.voiced)]
    return Fact(tuple(spans), "measured")
