"""What is asked for, and what can come of it."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

from render.checks.model import Finding
from render.facts import TrackFacts
from render.plan.model import ClipPlan


@dataclass(frozen=True)
class Matched:
    """How loud a clip is among the variants it was made with, as its receipt says; both None where it was alone."""

    lufs: float | None = None
    group_sha256: str | None = None


@dataclass(frozen=True)
class Order:
    """What is to be made, from what, and the folder it goes to."""

    plan: ClipPlan
    facts: Mapping[str, TrackFacts]
    folder: Path
    force: bool = False
    matched: Matched | None = None
    """As loud as this; None: as loud as what it is made together with."""
    source_sha256: Mapping[str, str] = field(default_factory=dict)
    """What the recordings were when the clip was planned, where that is known."""


@dataclass(frozen=True)
class Done:
    """A clip that was made and published."""

    name: str
    clip: Path
    findings: tuple[Finding, ...]
    wall_s: float = 0.0
    stretched_s: float = 0.0
    """How much had to be stretched for it."""


@dataclass(frozen=True)
class Kept:
    """A clip that was there already, whole, and made from the same inputs."""

    name: str
    clip: Path
    wall_s: float = 0.0


@dataclass(frozen=True)
class Refused:
    """A clip that the checks keep from being published."""

    name: str
    findings: tuple[Finding, ...]
    wall_s: float = 0.0

    @property
    def reason(self) -> str:
        """What the checks have against it, in one line."""
        return " ".join(finding.text for finding in self.findings if finding.level == "failure")


Made = Done | Kept | Refused
