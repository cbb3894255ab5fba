"""What a clip is made from, as hashes: whether it has to be made, and what of it is known already."""

import functools
import importlib.metadata
import platform
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from hashlib import sha256
from pathlib import Path
from typing import Any

from render.clip.order import Matched, Order
from render.faults import SourceError
from render.files.shelf import Shelf
from render.files.whole_file import inside
from render.publish.receipt import BadReceipt, inputs_text, read_receipt
from render.sound.engine import EngineName

SOUND_VERSION = 1
"""Raised whenever the same plan comes to sound differently, or to be read differently, within one version of this
program: what was kept before is then made anew."""

SOUND_LIBRARIES = ("numpy", "scipy", "soxr", "librosa", "soundfile", "av", "pyloudnorm")
"""Whose version can change what a lane sounds like, or what is read of it."""
_LIBRARIES = (*SOUND_LIBRARIES, "pydub", "imageio-ffmpeg")
"""Whose version can change how a clip comes out."""


@dataclass(frozen=True)
class Identity:
    """What goes into one clip."""

    clip: Path
    source_sha256: Mapping[str, str]
    versions: Mapping[str, str]
    inputs_sha256: str
    """Of all that the clip would be made from if it were made alone."""


@dataclass(frozen=True)
class Standing:
    """A clip that is there, whole, and made from the same inputs beside the same variants."""

    matched_lufs: float | None


def identity_of(order: Order, engine: EngineName, shelf: Shelf) -> Identity:
    """Raises SourceError where a recording is gone, or is not the one that the clip was planned with."""
    recordings = {lane.track: Path(order.facts[lane.track].recording.path) for lane in order.plan.lanes}
    hashes = {track: shelf.sha256(path) for track, path in recordings.items()}
    for track, path in recordings.items():
        require_unchanged(path, order.source_sha256.get(track, hashes[track]), hashes[track])
    versions = versions_of(engine)
    inputs = sha256(inputs_text(order.plan, order.facts, hashes, versions)).hexdigest()
    clip = inside(order.folder, f"{order.plan.name}.{order.plan.format}")
    return Identity(clip, hashes, versions, inputs)


def require_unchanged(path: Path, planned_sha256: str, found_sha256: str) -> None:
    """Raises SourceError where a recording is not what it was."""
    if found_sha256 != planned_sha256:
        wrong = "it changed while the night ran"
        raise SourceError(str(path), wrong, "leave the records alone meanwhile, and render it again")


def group_of(orders: Sequence[Order], identities: Sequence[Identity]) -> str | None:
    """What clips that are made together have in common, as all of them decide how loud each is; None for one alone."""
    for order in orders:
        if order.matched is not None:
            return order.matched.group_sha256
    if len(identities) < 2:
        return None
    return sha256("\n".join(sorted(one.inputs_sha256 for one in identities)).encode()).hexdigest()


def inputs_beside(identity: Identity, group_sha256: str | None) -> str:
    """Of all that a clip is made from, those beside it included."""
    if group_sha256 is None:
        return identity.inputs_sha256
    return sha256(f"{identity.inputs_sha256}\n{group_sha256}".encode()).hexdigest()


def standing(identity: Identity, group_sha256: str | None, shelf: Shelf) -> Standing | None:
    """What is there: its receipt fits what would be made and the file fits its receipt; None where it is not."""
    try:
        made = read_receipt(identity.clip.with_suffix(".json").read_text(encoding="utf-8"))
        whole = (
            made.get("inputs_sha256") == inputs_beside(identity, group_sha256)
            and identity.clip.with_suffix(".svg").exists()
            and shelf.sha256(identity.clip) == made.get("file_sha256")
        )
    except (FileNotFoundError, IsADirectoryError, UnicodeDecodeError, BadReceipt, SourceError):
        return None
    return Standing(matched_of(made).lufs) if whole else None


def matched_of(receipt: Mapping[str, Any]) -> Matched:
    """How loud a receipt says that its clip is to be. Raises BadReceipt."""
    lufs, group = receipt.get("matched_lufs"), receipt.get("group_sha256")
    if lufs is None and group is None:
        return Matched()
    numeric = isinstance(lufs, float | int) and not isinstance(lufs, bool) and -200.0 < lufs < 100.0
    if not (numeric or lufs is None) or not isinstance(group, str) or len(group) != 64:
        raise BadReceipt("what it says of the clips beside it is damaged")
    return Matched(None if lufs is None else float(lufs), group)


def versions_of(engine: EngineName) -> dict[str, str]:
    """The versions of everything that can change how a clip comes out."""
    return {**_own(), **{name: _version(name) for name in _LIBRARIES}, engine.name: engine.version}


def sound_versions(engine: EngineName) -> dict[str, str | int]:
    """The versions of everything that can change what a lane sounds like, or what is read of it."""
    libraries = {name: _version(name) for name in SOUND_LIBRARIES}
    return {**_own(), **libraries, "engine": engine.name, engine.name: engine.version, "sound": SOUND_VERSION}


def _own() -> dict[str, str]:
    return {"dropkiln": _version("dropkiln"), "python": platform.python_version()}


@functools.cache
def _version(name: str) -> str:
    return importlib.metadata.version(name)
