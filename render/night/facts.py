"""The facts of the tracks of recipes: recordings opened, and measured where a recipe leaves something out."""

import os
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import TypeVar

from render.facts import Given, RecordFacts, Recording, TrackFacts
from render.faults import SourceError
from render.files.audio_files import open_recording
from render.files.beats_beside import given_with_beats
from render.night.ears import facts_of_records
from render.recipe.known import UnknownFacts, given_of, needs_hearing, track_facts
from render.recipe.nodes import Problem
from render.recipe.reader import Reading
from render.recipe.schema import Recipe

T = TypeVar("T")

Wanted = tuple[Recording, Given]
Heard = dict[Wanted, RecordFacts | SourceError]


@dataclass
class Page:
    """One recipe file as it was read, and its recordings by the names it gives them."""

    path: Path
    readings: list[Reading]
    recordings: dict[str, Recording | SourceError] = field(default_factory=dict)

    def recording(self, file: str) -> Recording | SourceError:
        if file not in self.recordings:
            self.recordings[file] = _opened(self.path.parent, file)
        return self.recordings[file]


def heard_for(pages: Iterable[Page], jobs: int) -> Heard:
    """What was measured of every record of which a recipe leaves something out, `jobs` of them at once."""
    wanted = dict.fromkeys(
        one for page in pages for reading in page.readings for one in _wanted(page, reading)
    )
    return dict(zip(wanted, facts_of_records(list(wanted), jobs), strict=True))


def facts_of(page: Page, reading: Reading, heard: Heard) -> tuple[dict[str, TrackFacts], list[Problem]]:
    """The facts of every track of a recipe that is whole and whose recording can be opened, and the problems."""
    facts: dict[str, TrackFacts] = {}
    problems: list[Problem] = []
    for recipe, name in _tracks(reading):
        at = ("tracks", name, "file")
        try:
            recording = _require(page.recording(recipe.tracks[name].file))
            if reading.is_whole(name):
                facts[name] = _facts_of(recipe, name, recording, heard)
        except SourceError as error:
            problems.append(Problem(at, "source", f"{recipe.tracks[name].file}: {error.wrong}", error.right))
        except UnknownFacts as error:
            problems += error.problems
    return facts, problems


def _facts_of(recipe: Recipe, name: str, recording: Recording, heard: Heard) -> TrackFacts:
    """Raises SourceError and UnknownFacts."""
    wanted = _needed(recipe, name, recording)
    if wanted is None:
        return track_facts(recipe, name, recording, None)
    _, given = wanted
    return track_facts(recipe, name, recording, _require(heard[wanted]), given.beats is not None)


def _wanted(page: Page, reading: Reading) -> Iterator[Wanted]:
    """What a recipe needs to have measured; what stands in the way is told by `facts_of`."""
    for recipe, name in _tracks(reading):
        recording = page.recording(recipe.tracks[name].file)
        if isinstance(recording, SourceError) or not reading.is_whole(name):
            continue
        try:
            wanted = _needed(recipe, name, recording)
        except SourceError:
            continue
        if wanted:
            yield wanted


def _tracks(reading: Reading) -> Iterator[tuple[Recipe, str]]:
    """The tracks whose recording is named."""
    if reading.recipe is None:
        return
    for name in reading.recipe.tracks:
        at = ("tracks", name, "file")
        if not any(problem.path in (at, at[:2]) for problem in reading.problems):
            yield reading.recipe, name


def _needed(recipe: Recipe, name: str, recording: Recording) -> Wanted | None:
    """What has to be measured of a track, with the beats that lie beside its record. Raises SourceError."""
    if not needs_hearing(recipe, name):
        return None
    try:
        return recording, given_with_beats(Path(recording.path), given_of(recipe.tracks[name]))
    except SourceError as error:
        wrong = f"{Path(error.subject).name} beside it: {error.wrong}"
        raise SourceError(recording.path, wrong, error.right) from error


def _require(found: T | SourceError) -> T:
    if isinstance(found, SourceError):
        raise found
    return found


def _opened(folder: Path, file: str) -> Recording | SourceError:
    try:
        named = Path(file).expanduser()
    except RuntimeError:
        return SourceError(file, "nobody here has this name", "write the folder out")
    path = Path(os.path.abspath(folder / named))  # noqa: PTH100 - links stay as they are named
    try:
        return open_recording(path)
    except SourceError as error:
        return error
