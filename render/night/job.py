"""What a run is asked to make: recipe files to orders, all read and checked before anything is made."""

import contextlib
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

from render.clip.order import Matched, Order
from render.facts import TrackFacts
from render.faults import Fault, SourceError, UsageError
from render.files.shelf import shelf_of
from render.night.batch import Batch, batches_of
from render.night.facts import Page, Records
from render.night.paths import RECEIPT_SUFFIX, content_of, recipe_files
from render.night.receipts import MAX_RECEIPT_BYTES, from_receipt
from render.plan.build import PlanError, plan_clip
from render.plan.model import ClipFormat, ClipPlan
from render.recipe.nodes import MAX_TEXT_BYTES, Problem
from render.recipe.reader import Reading, faults_of, read
from render.recipe.schema import Recipe


@dataclass(frozen=True)
class Planned:
    """A clip that can be made: its plan, the facts of its tracks, and the file that asks for it."""

    plan: ClipPlan
    facts: dict[str, TrackFacts]
    source: Path
    matched: Matched | None = None
    """How loud it is to be, where a receipt asks for it."""


@dataclass
class Work:
    """What can be made, and what is wrong with the recipes that cannot."""

    planned: list[Planned] = field(default_factory=list)
    faults: list[Fault] = field(default_factory=list)

    def orders(self, folder: Path, force: bool) -> list[Order]:
        """The clips to be made, with what their recordings are now.

        Raises UsageError for a cache limit that is none.
        """
        recordings = {known.recording.path for one in self.planned for known in one.facts.values()}
        now = dict(_hashes(recordings))
        return [
            Order(one.plan, one.facts, folder, force, one.matched, _named(one.facts, now))
            for one in self.planned
        ]

    def batches(self, folder: Path, force: bool) -> list[Batch]:
        """The same orders, those of one recipe together."""
        return batches_of(self.orders(folder, force))


def read_work(
    paths: Sequence[Path], form: ClipFormat | None = None, jobs: int = 1, plain: bool = False
) -> Work:
    """Everything that files and folders of recipes ask for; a receipt asks for its own clip again.

    What recipes leave out is measured, `jobs` records at once, and told without a moving display if `plain`. `form`
    overrides the format of the recipes. Raises UsageError where a path cannot be taken, and where two clips would have
    the same name.
    """
    work = Work()
    files = recipe_files(paths)
    pages = {
        path: page
        for path in files
        if path.suffix != RECEIPT_SUFFIX and (page := _page(path, form, work.faults)) is not None
    }
    records = Records()
    records.listen(pages.values(), jobs, plain)
    by_name: dict[str, Path] = {}
    for path in files:
        if path.suffix == RECEIPT_SUFFIX:
            planned = [_from_receipt(path, form)]
        else:
            planned = _from_page(pages[path], records, work.faults) if path in pages else []
        for one in planned:
            # On some disks names that differ in capitals alone are the same.
            if (other := by_name.setdefault(one.plan.name.casefold(), path)) != path:
                wrong = f"would overwrite the clip '{one.plan.name}' of {other}"
                raise UsageError(str(path), wrong, "give one of them another name")
        work.planned += planned
    work.faults = sorted(set(work.faults))
    return work


def _from_receipt(path: Path, form: ClipFormat | None) -> Planned:
    plan, facts, matched = from_receipt(path, content_of(path, MAX_RECEIPT_BYTES + 1))
    return Planned(plan if form is None else replace(plan, format=form), facts, path, matched)


def _hashes(paths: Iterable[str]) -> Iterator[tuple[str, str]]:
    """What is in each file; a recording that cannot be read any more is left for its clips to tell."""
    shelf = shelf_of()
    for path in paths:
        with contextlib.suppress(SourceError):
            yield path, shelf.sha256(Path(path))


def _named(facts: Mapping[str, TrackFacts], hashes: Mapping[str, str]) -> dict[str, str]:
    paths = {name: known.recording.path for name, known in facts.items()}
    return {name: hashes[path] for name, path in paths.items() if path in hashes}


def _page(path: Path, form: ClipFormat | None, all_faults: list[Fault]) -> Page | None:
    """One recipe file as it was read; None where it is not text, and a fault says so."""
    text = _text(path, all_faults)
    if text is None:
        return None
    readings = read(text, str(path))
    if form is not None:
        readings = [replace(one, recipe=one.recipe and _in_format(one.recipe, form)) for one in readings]
    return Page(path, readings)


def _from_page(page: Page, records: Records, all_faults: list[Fault]) -> list[Planned]:
    """What one recipe file asks for; nothing where it has faults, which are added to `all_faults`."""
    found: list[tuple[Reading, Problem]] = []
    planned: list[Planned] = []
    for reading in page.readings:
        if reading.recipe is None:
            continue
        facts, problems = records.facts_of(page, reading)
        found += [(reading, problem) for problem in problems]
        if reading.plannable:
            try:
                plan = plan_clip(reading.recipe, facts, page.path.stem, reading.variant)
                planned.append(Planned(plan, facts, page.path))
            except PlanError as error:
                found += [(reading, problem) for problem in error.problems]
    faults = faults_of(page.readings, found)
    all_faults += faults
    return [] if faults else planned


def _text(path: Path, all_faults: list[Fault]) -> str | None:
    """A file's text; None where there is none, and a fault says so: the other recipes are made."""
    try:
        # One byte more than a recipe may have is enough for the reader to refuse it.
        content = content_of(path, MAX_TEXT_BYTES + 1)
    except UsageError as error:
        all_faults.append(Fault(str(path), 1, 1, "unreadable", error.wrong, error.right))
        return None
    try:
        return content.decode("utf-8")
    except UnicodeDecodeError as error:
        if error.start >= MAX_TEXT_BYTES - 3:
            return "#" * (MAX_TEXT_BYTES + 1)
        line = content[: error.start].count(b"\n") + 1
        column = error.start - content.rfind(b"\n", 0, error.start)
        wrong = "this is not UTF-8 text"
        all_faults.append(Fault(str(path), line, column, "not-utf8", wrong, "save the recipe as UTF-8"))
        return None


def _in_format(recipe: Recipe, form: ClipFormat) -> Recipe:
    return recipe.model_copy(update={"clip": recipe.clip.model_copy(update={"format": form})})
