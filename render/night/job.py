"""What a run is asked to make: recipe files to orders, all read and checked before anything is made."""

import os
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from render.facts import Recording, TrackFacts
from render.faults import Fault, SourceError, UsageError
from render.files.audio_files import open_recording
from render.make import Order
from render.plan.build import PlanError, plan_clip
from render.plan.model import ClipFormat, ClipPlan
from render.publish.receipt import BadReceipt, plan_of, read_receipt
from render.recipe.nodes import MAX_TEXT_BYTES, Problem
from render.recipe.reader import Reading, faults_of, read
from render.recipe.schema import Recipe
from render.recipe.stated import stated_facts

RECIPE_SUFFIXES = (".yaml", ".yml")
RECEIPT_SUFFIX = ".json"


@dataclass(frozen=True)
class Planned:
    """A clip that can be made: its plan and the facts of its tracks."""

    plan: ClipPlan
    facts: dict[str, TrackFacts]


@dataclass
class Work:
    """What can be made, and what is wrong with the recipes that cannot."""

    planned: list[Planned] = field(default_factory=list)
    faults: list[Fault] = field(default_factory=list)

    def orders(self, folder: Path, force: bool) -> list[Order]:
        return [Order(one.plan, one.facts, folder, force) for one in self.planned]


def read_work(paths: Sequence[Path], form: ClipFormat | None = None) -> Work:
    """Everything that files and folders of recipes ask for; a receipt asks for its own clip again.

    `form` overrides the format of the recipes. Raises UsageError where a path cannot be taken.
    """
    work = Work()
    for path in recipe_files(paths):
        if path.suffix == RECEIPT_SUFFIX:
            work.planned.append(_from_receipt(path))
        else:
            _read_file(path, form, work)
    return work


def recipe_files(paths: Iterable[Path]) -> list[Path]:
    """The recipe files meant by paths, each once: files as named, folders by the recipes in them.

    Raises UsageError for what is not there, holds no recipe, or would give two clips the same name.
    """
    files: dict[Path, None] = {}
    for path in paths:
        if path.is_dir():
            found = sorted(
                p for p in path.iterdir() if p.suffix in RECIPE_SUFFIXES and not p.name.startswith(".")
            )
            if not found:
                raise UsageError(str(path), "no recipe in this folder", "a recipe ends in .yaml")
            files |= dict.fromkeys(found)
        elif not path.exists():
            raise UsageError(str(path), "no such file or folder", "name a recipe or a folder of recipes")
        elif path.suffix not in (*RECIPE_SUFFIXES, RECEIPT_SUFFIX):
            raise UsageError(str(path), "not a recipe by its name", "a recipe ends in .yaml")
        else:
            files[path] = None
    by_name: dict[str, Path] = {}
    for file in files:
        if (other := by_name.setdefault(file.stem.casefold(), file)) != file:
            raise UsageError(
                str(file), f"would overwrite the clips of {other}", "give one of them another name"
            )
    return list(files)


def _from_receipt(path: Path) -> Planned:
    try:
        return Planned(*plan_of(read_receipt(path.read_text(encoding="utf-8"))))
    except (BadReceipt, UnicodeDecodeError) as error:
        raise UsageError(
            str(path), f"not a receipt: {error}", "name a recipe, or the .json beside a clip"
        ) from error


def _read_file(path: Path, form: ClipFormat | None, work: Work) -> None:
    """Add what one recipe file asks for, or all its faults."""
    text = _text(path, work)
    if text is None:
        return
    readings = read(text, str(path))
    recordings: dict[str, Recording | SourceError] = {}
    found: list[tuple[Reading, Problem]] = []
    planned: list[Planned] = []
    for reading in readings:
        if reading.recipe is None:
            continue
        recipe = reading.recipe if form is None else _in_format(reading.recipe, form)
        facts = _facts(reading, recipe, path.parent, recordings, found)
        if reading.plannable:
            try:
                planned.append(Planned(plan_clip(recipe, facts, path.stem, reading.variant), facts))
            except PlanError as error:
                found += [(reading, problem) for problem in error.problems]
    faults = faults_of(readings, found)
    work.faults += faults
    if not faults:
        work.planned += planned


def _text(path: Path, work: Work) -> str | None:
    """A file's text; None where it is not text, and a fault says so."""
    try:
        with path.open("rb") as file:
            # One byte more than a recipe may have is enough for the reader to refuse it.
            return file.read(MAX_TEXT_BYTES + 1).decode("utf-8")
    except UnicodeDecodeError as error:
        line = error.object[: error.start].count(b"\n") + 1
        column = error.start - error.object.rfind(b"\n", 0, error.start)
        if error.start < MAX_TEXT_BYTES - 3:
            work.faults.append(
                Fault(
                    str(path), line, column, "not-utf8", "this is not UTF-8 text", "save the recipe as UTF-8"
                )
            )
            return None
        return "#" * (MAX_TEXT_BYTES + 1)
    except PermissionError as error:
        raise UsageError(str(path), "may not be read", "allow reading it") from error


def _in_format(recipe: Recipe, form: ClipFormat) -> Recipe:
    return recipe.model_copy(update={"clip": recipe.clip.model_copy(update={"format": form})})


def _facts(
    reading: Reading,
    recipe: Recipe,
    folder: Path,
    recordings: dict[str, Recording | SourceError],
    found: list[tuple[Reading, Problem]],
) -> dict[str, TrackFacts]:
    """The facts of every track that is whole and whose recording can be opened; problems are added to `found`."""
    facts = {}
    for name, track in recipe.tracks.items():
        at = ("tracks", name, "file")
        if any(
            problem.path in (at, at[:2]) and problem.code != "unknown-key" for problem in reading.problems
        ):
            continue
        if track.file not in recordings:
            recordings[track.file] = _opened(folder, track.file)
        match recordings[track.file]:
            case SourceError() as error:
                found.append((reading, Problem(at, "source", f"{track.file}: {error.wrong}", error.right)))
            case Recording() as recording if reading.is_whole(name):
                facts[name] = stated_facts(name, track, recording)
    return facts


def _opened(folder: Path, file: str) -> Recording | SourceError:
    path = Path(os.path.abspath(folder / Path(file).expanduser()))  # noqa: PTH100 - links stay as they are named
    try:
        return open_recording(path)
    except SourceError as error:
        return error
