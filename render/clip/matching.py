"""How loud clips are made that are going to be compared: all as loud as the quietest of them can be."""

import math
from dataclasses import dataclass, field

from render.plan.model import ClipPlan
from render.sound.levels import Level, ToCeiling, ToLoudness


@dataclass
class Matching:
    """What is known so far of clips by their names; one that is not here is as loud as its own ceiling lets it be."""

    asked_lufs: float | None = None
    """What a receipt asks for."""
    made_lufs: dict[str, float] = field(default_factory=dict)
    """How loud those are that were there before."""
    reach_lufs: dict[str, float] = field(default_factory=dict)
    """How loud each of the others can become."""

    @property
    def lufs(self) -> float | None:
        """How loud all of them are to be; None where there is nothing to be matched."""
        asked = [] if self.asked_lufs is None else [self.asked_lufs]
        return min([*asked, *self.made_lufs.values(), *self.reach_lufs.values()], default=None)

    @property
    def too_loud(self) -> list[str]:
        """Those that were there before, and have to be made again."""
        lufs = self.lufs
        return [name for name, made_lufs in self.made_lufs.items() if lufs is not None and made_lufs > lufs]

    def can_become(self, name: str, lufs: float) -> None:
        self.made_lufs.pop(name, None)
        self.reach_lufs[name] = lufs

    def leave_out(self, name: str) -> None:
        self.made_lufs.pop(name, None)
        self.reach_lufs.pop(name, None)

    def level_of(self, plan: ClipPlan) -> Level:
        lufs = self.lufs if plan.name in self.reach_lufs else None
        return ToCeiling(plan.ceiling_dbtp) if lufs is None else ToLoudness(lufs, plan.ceiling_dbtp)

    def turn(self, plan: ClipPlan) -> float:
        """What orders the clips: the one that decides for all comes first."""
        return self.reach_lufs.get(plan.name, math.inf)
