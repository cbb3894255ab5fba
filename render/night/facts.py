"""The facts of the tracks of recipes: recordings opened, and measured where a recipe leaves something out."""

import os
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import TypeVar

from render.facts import Given, RecordFacts, Recording, TrackFacts
from render.faults import SourceError
from render.files.beats_beside import given_with_beats
from render.files.facts_store import facts_store
from render.files.known_recordings import known_recording
from render.night.ears import Wanted, facts_of_records
from render.recipe.known import UnknownFacts, given_of, needs_hearing, track_facts
from render.recipe.nodes import Problem
from render.recipe.reader import Reading
from render.recipe.schema import Recipe

K = TypeVar("K")
V = TypeVar("V")


@dataclass(frozen=True)
class Page:
    """One recipe file as it was read."""

    path: Path
    readings: list[Reading]


class Records:
    """The recordings that recipes ask for: each is opened once, and listened to where a recipe leaves something out.

    What was found at first is kept, so that a file that changes meanwhile is not seen in two states.
    """

    def __init__(self) -> None:
        self._opened: dict[Path, Recording | SourceError] = {}
        self._given: dict[Wanted, tuple[Given, tuple[str, ...]] | SourceError] = {}
        self._heard: dict[Wanted, RecordFacts | SourceError] = {}

    def listen(self, pages: Iterable[Page], jobs: int, plain: bool) -> None:
        """Measure every record of which a recipe of these pages leaves something out, `jobs` of them at once."""
        wanted = dict.fromkeys(
            one for page in pages for reading in page.readings for one in self._wanted(page, reading)
        )
        self._heard |= zip(wanted, facts_of_records(list(wanted), jobs, plain), strict=True)

    def facts_of(self, page: Page, reading: Reading) -> tuple[dict[str, TrackFacts], list[Problem]]:
        """The facts of every track of a recipe that is whole and whose recording can be opened, and the problems."""
        facts: dict[str, TrackFacts] = {}
        problems: list[Problem] = []
        for recipe, name in _tracks(reading):
            at = ("tracks", name, "file")
            try:
                recording = self._recording(page, recipe, name)
                if reading.is_whole(name):
                    facts[name] = self._track_facts(recipe, name, recording)
            except SourceError as error:
                wrong = f"{recipe.tracks[name].file}: {error.wrong}"
                problems.append(Problem(at, "source", wrong, error.right))
            except UnknownFacts as error:
                problems += error.problems
        return facts, problems

    def _recording(self, page: Page, recipe: Recipe, name: str) -> Recording:
        """Raises SourceError."""
        path = _absolute(page.path.parent, recipe.tracks[name].file)
        return _once(self._opened, path, lambda path: known_recording(path, facts_store()))

    def _track_facts(self, recipe: Recipe, name: str, recording: Recording) -> TrackFacts:
        """Raises SourceError and UnknownFacts."""
        if not needs_hearing(recipe, name):
            return track_facts(recipe, name, recording)
        given, notes = self._with_beats(recording, given_of(recipe.tracks[name]))
        heard = self._heard[recording, given]
        if isinstance(heard, SourceError):
            raise heard
        return track_facts(recipe, name, recording, heard, given, notes)

    def _with_beats(self, recording: Recording, given: Given) -> tuple[Given, tuple[str, ...]]:
        """What is given of a record, with the beats beside it. Raises SourceError, which names their file."""
        try:
            return _once(self._given, (recording, given), lambda wanted: given_with_beats(*wanted))
        except SourceError as error:
            wrong = f"{Path(error.subject).name} beside it: {error.wrong}"
            raise SourceError(recording.path, wrong, error.right) from error

    def _wanted(self, page: Page, reading: Reading) -> Iterator[Wanted]:
        """What has to be measured for a recipe; what stands in the way is told by `facts_of`."""
        for recipe, name in _tracks(reading):
            if reading.is_whole(name) and needs_hearing(recipe, name):
                try:
                    recording = self._recording(page, recipe, name)
                    given, _ = self._with_beats(recording, given_of(recipe.tracks[name]))
                except SourceError:
                    continue
                yield recording, given


def _tracks(reading: Reading) -> Iterator[tuple[Recipe, str]]:
    """The tracks whose recording is named."""
    if reading.recipe is None:
        return
    for name in reading.recipe.tracks:
        at = ("tracks", name, "file")
        if not any(problem.path in (at, at[:2]) for problem in reading.problems):
            yield reading.recipe, name


def _once(known: dict[K, V | SourceError], key: K, find: Callable[[K], V]) -> V:
    """What `find` finds for a key, or the SourceError it raises, the first time it is asked."""
    if key not in known:
        try:
            known[key] = find(key)
        except SourceError as error:
            known[key] = error
    found = known[key]
    if isinstance(found, SourceError):
        raise found
    return found


def _absolute(folder: Path, file: str) -> Path:
    try:
        named = Path(file).expanduser()
    except RuntimeError as error:
        raise SourceError(file, "nobody here has this name", "write the folder out") from error
    return Path(os.path.abspath(folder / named))  # noqa: PTH100 - links stay as they are named
