"""The clips of one recipe, end to end.

    each clip        what goes into it? → is it there already? else
      each lane      decode its spans → stretch them → join the passages       (what was made before is taken)
      then           match loudness → cut the low end → mix → read
    all of them      how loud can every one of them be?
    each clip        trim and encode → read again → publish clip, picture and receipt, or refuse

One clip's failure is its own: the others are made without it. But where the disk is full, nothing more is begun.
"""

import time
from collections import defaultdict
from collections.abc import Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass, field

from render.clip.identity import Identity, versions_of
from render.clip.looked import looked
from render.clip.matching import Matching
from render.clip.mixed import MixedClip, mixed_clip
from render.clip.order import Done, Kept, Made, Matched, Order, Refused
from render.clip.published import published
from render.files.shelf import Shelf, shelf_of
from render.files.whole_file import tells_full_disk
from render.sound.engine import Engine
from render.sound.levels import Level, ToLoudness

MIXES_IN_MEMORY_BYTES = 64 * 1024**2
"""Of clips that are made together: four of 44 s. Further ones wait on the shelf for their turn to be encoded."""

__all__ = [
    "Done",
    "Kept",
    "Made",
    "Matched",
    "Order",
    "Refused",
    "make",
    "make_together",
    "versions_of",
]


def make(order: Order, engine: Engine) -> Made:
    """Make one clip and publish it whole. Raises SourceError, ToolError and OutputError."""
    ((outcome, _),) = make_together([order], engine, shelf_of(fresh=order.force))
    if isinstance(outcome, Exception):
        raise outcome
    assert outcome is not None  # nothing was before it that could have filled the disk
    return outcome


def make_together(
    orders: Sequence[Order], engine: Engine, shelf: Shelf
) -> list[tuple[Made | Exception | None, float]]:
    """What comes of each of the clips, and how many seconds it took. They come to be equally loud.

    None for those that the disk became full before.
    """
    clips = _Clips(engine, shelf)
    clips.look(orders)
    with ThreadPoolExecutor(1) as aside:
        while not clips.is_full and (waiting := clips.to_mix()):
            clips.mix(waiting, aside)
            clips.publish()
    return [(clips.came.get(order.plan.name), clips.spent_s[order.plan.name]) for order in orders]


@dataclass
class _Clips:
    """Clips that are made together, by their names, and how far they are."""

    engine: Engine
    shelf: Shelf
    known: dict[str, tuple[Order, Identity]] = field(default_factory=dict)
    mixed: dict[str, MixedClip] = field(default_factory=dict)
    levels: dict[str, Level] = field(default_factory=dict)
    came: dict[str, Made | Exception] = field(default_factory=dict)
    spent_s: dict[str, float] = field(default_factory=lambda: defaultdict(float))
    matching: Matching = field(default_factory=Matching)
    group_sha256: str | None = None
    is_full: bool = False
    """Whether the disk took no more: nor would it for the next clip."""

    def look(self, orders: Sequence[Order]) -> None:
        """Find out what the clips are made from, and which of them are there."""
        found = looked(orders, self.engine, self.shelf)
        self.known, self.group_sha256 = found.known, found.group_sha256
        self.came |= found.failed
        self.came |= {one.name: one for one in found.kept}
        if len(orders) == 1 and orders[0].matched:
            self.matching.asked_lufs = orders[0].matched.lufs
        for name, there in found.there.items():
            if there.matched_lufs is not None:
                self.matching.made_lufs[name] = there.matched_lufs

    def to_mix(self) -> list[str]:
        missing = [name for name in self.known if name not in self.came]
        return [*missing, *self.matching.too_loud]

    def mix(self, names: Sequence[str], aside: ThreadPoolExecutor) -> None:
        for name in names:
            if self.is_full:
                return
            self.matching.leave_out(name)
            with self._on_its_own(name):
                order, identity = self.known[name]
                clip = self.mixed[name] = mixed_clip(order, identity, self.engine, self.shelf, aside)
                if len(names) > 1:
                    self._make_room(clip)
                together = self.group_sha256 is not None
                if together and (lufs := clip.likely_lufs) is not None and not clip.is_refused:
                    self.matching.can_become(name, lufs)

    def publish(self) -> None:
        """Encode what has not the level yet that it is to have; the quietest first, as it decides for all."""
        while not self.is_full and (waiting := self._to_encode()):
            clip = min(waiting, key=lambda clip: self.matching.turn(clip.order.plan))
            level = self.levels[clip.name] = self._level(clip)
            with self._on_its_own(clip.name):
                sound = clip.sound(self.engine, self.shelf)
                came, reached = published(clip, sound, level, self.group_sha256, self.engine)
                self.came[clip.name] = came
                if isinstance(reached, ToLoudness) and reached != level:
                    # The others must become quieter as well.
                    self.matching.can_become(clip.name, reached.lufs)
                    self.levels[clip.name] = reached

    def _make_room(self, clip: MixedClip) -> None:
        """Before the next lanes come: let go of those of this clip, and of its mix if too many are in memory."""
        clip.read.result()
        if sum(one.in_memory_bytes for one in self.mixed.values()) > MIXES_IN_MEMORY_BYTES:
            clip.put_away(self.shelf)

    def _to_encode(self) -> list[MixedClip]:
        return [clip for clip in self.mixed.values() if self._level(clip) != self.levels.get(clip.name)]

    def _level(self, clip: MixedClip) -> Level:
        return self.matching.level_of(clip.order.plan)

    @contextmanager
    def _on_its_own(self, name: str) -> Iterator[None]:
        """What fails here fails for one clip; the others need not wait for it, nor be as quiet as it."""
        began_s = time.monotonic()
        try:
            yield
        except Exception as error:  # noqa: BLE001 - the border of a clip: it is handed on to whoever asked
            self.came[name] = error
            self.is_full |= tells_full_disk(error)
        self.spent_s[name] += time.monotonic() - began_s
        if isinstance(self.came.get(name), Refused | Exception):
            self.mixed.pop(name, None)
            self.matching.leave_out(name)
