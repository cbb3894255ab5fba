"""The log of a clip that failed: all that is needed to find out why, in one text beside where the clip would be."""

import contextlib
import json
import platform
import sys
from pathlib import Path

from render.clip.identity import versions_of
from render.clip.order import Order
from render.faults import OutputError, ToolError, UsageError
from render.files.engines import EngineChoice, serving
from render.files.whole_file import write_whole
from render.night.outcome import Failed
from render.night.paths import RECEIPT_SUFFIX, content_of
from render.plan.explain import explain
from render.publish.plans import plans_json
from render.recipe.nodes import MAX_TEXT_BYTES

LOG_SUFFIX = ".log"
PLAN = "plan as data"
MAX_LOG_BYTES = 64 * 1024 * 1024
"""Four times what the plan of the longest clip takes as data."""


def write_log(order: Order, failed: Failed, recipe: Path, choice: EngineChoice) -> Path | None:
    """Write a failed clip's log; None where that is not possible, as on a full disk."""
    path = log_path(order)
    try:
        write_whole(path, log_text(order, failed, recipe, choice))
    except OutputError:
        return None
    return path


def remove_log(order: Order) -> None:
    """Remove the log of a clip that failed in an earlier run."""
    with contextlib.suppress(PermissionError, IsADirectoryError):  # it is none of ours, or may not be removed
        log_path(order).unlink(missing_ok=True)


def log_path(order: Order) -> Path:
    return order.folder / f"{order.plan.name}{LOG_SUFFIX}"


def recipe_of_log(path: Path) -> str | None:
    """The name of the recipe whose clip failed, from a log that lies at `path`; None where that is no log of ours."""
    try:
        text = content_of(path, MAX_LOG_BYTES).decode("utf-8")
        (plan,) = json.loads(text.rpartition(f"--- {PLAN} ---")[2])["plans"]
        name, recipe = str(plan["name"]), str(plan["recipe"])
    except (UsageError, ValueError, KeyError, TypeError, RecursionError):
        return None
    return recipe if name == path.stem and text.startswith(f"{name}: ") else None


def log_text(order: Order, failed: Failed, recipe: Path, choice: EngineChoice) -> str:
    """The reason, the trace, what was at work, the recipe as it is now, and the plan for people and for programs."""
    sections = {
        "trace": failed.trace or "There is none: the clip's process was ended from outside.",
        "versions": _versions(choice),
        f"recipe {recipe}": _recipe_text(recipe),
        "plan": explain(order.plan, order.facts),
        PLAN: plans_json([(order.plan, order.facts)], []),
    }
    parts = [f"{failed.name}: {failed.reason}"]
    parts += [f"--- {title} ---\n\n{text.strip()}" for title, text in sections.items()]
    return "\n\n".join(parts) + "\n"


def _versions(choice: EngineChoice) -> str:
    lines = [f"{platform.platform()}, {sys.implementation.name}"]
    try:
        lines += [f"{name} {version}" for name, version in versions_of(serving(choice)).items()]
    except ToolError as error:  # the engine that is asked for is not there
        lines.append(str(error))
    return "\n".join(lines)


def _recipe_text(recipe: Path) -> str:
    if recipe.suffix == RECEIPT_SUFFIX:
        return "The clip was asked for by its receipt."
    try:
        return content_of(recipe, MAX_TEXT_BYTES).decode(errors="backslashreplace")
    except UsageError as error:  # gone since it was read
        return str(error)
