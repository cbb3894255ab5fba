"""The clips that lie in an output folder, by their receipts."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from render.facts import TrackFacts
from render.night.paths import CLIPS, RECEIPT_SUFFIX, unfit_for_a_name
from render.night.receipts import receipt_at
from render.plan.model import ClipPlan
from render.publish.receipt import BadReceipt, plan_of


@dataclass(frozen=True)
class MadeClip:
    """A clip with its receipt; that the file is still there is not promised."""

    path: Path
    receipt: Mapping[str, Any]
    plan: ClipPlan
    facts: Mapping[str, TrackFacts]

    @property
    def name(self) -> str:
        return self.plan.name


@dataclass(frozen=True)
class Unreadable:
    """A file that lies where receipts do, and what is wrong with it."""

    path: Path
    wrong: str

    def __str__(self) -> str:
        return f"{self.path}: no receipt that can be read: {self.wrong}; render its recipe again"


def made_clips(out: Path) -> Iterator[MadeClip | Unreadable]:
    """Every clip of an output folder, by name; none where there is no such folder."""
    folder = out / CLIPS
    if not folder.is_dir():
        return
    for path in sorted(folder.iterdir()):
        if path.suffix == RECEIPT_SUFFIX and not path.name.startswith("."):
            yield made_clip(path)


def made_clip(receipt: Path) -> MadeClip | Unreadable:
    """The clip that a receipt is about."""
    try:
        data = receipt_at(receipt)
        plan, facts = plan_of(data)
        if unfit_for_a_name(plan.name) or plan.name != receipt.stem:
            raise BadReceipt("it is of a clip by another name")
        if set(facts) != {lane.track for lane in plan.lanes} or not isinstance(data.get("pcm_sha256"), str):
            raise BadReceipt("it is damaged")
    except BadReceipt as error:
        return Unreadable(receipt, str(error))
    return MadeClip(receipt.with_name(f"{plan.name}.{plan.format}"), data, plan, facts)
