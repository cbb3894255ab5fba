"""A clip before it is encoded: its lanes mixed, and everything that is read of the mix."""

from collections.abc import Callable, Mapping
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass, replace

from render.checks.beat_levels import beat_levels_db
from render.checks.clip import MixReadings, beat_bounds, findings_of, read_mix
from render.checks.judge import read_levels
from render.checks.model import Finding, LaneReadings, Readings
from render.clip.identity import Identity
from render.clip.lanes import lanes_of
from render.clip.order import Order
from render.clip.stage import stage
from render.files.known_hashes import key_of
from render.files.shelf import Shelf
from render.files.to_ceiling import likely_lufs
from render.plan.model import ClipPlan
from render.publish.picture import Energies
from render.sound.engine import Engine
from render.sound.levels import mix
from render.values import Audio


@dataclass(frozen=True)
class Read:
    """What a mix shows besides its levels."""

    mix: MixReadings
    energies: Energies


@dataclass
class MixedClip:
    """A mix, its levels, and what is read of it meanwhile. `audio` is None while it is put away."""

    order: Order
    identity: Identity
    gains_db: list[float]
    levels: Readings
    findings: tuple[Finding, ...]
    stretched_s: float
    read: Future[Read]
    audio: Audio | None

    @property
    def name(self) -> str:
        return self.order.plan.name

    @property
    def is_refused(self) -> bool:
        """Whether the mix alone shows that the clip cannot be published."""
        unpeaked = replace(self.levels, true_peak_dbtp=None)
        found = findings_of(self.order.plan, self.levels, self.read.result().mix, unpeaked)
        return any(finding.level == "failure" for finding in found)

    @property
    def likely_lufs(self) -> float | None:
        """How loud it could become if it were alone."""
        plan = self.order.plan
        return likely_lufs(self.levels, plan.ceiling_dbtp, plan.format)

    @property
    def in_memory_bytes(self) -> int:
        return 0 if self.audio is None else self.audio.nbytes

    def put_away(self, shelf: Shelf) -> None:
        """Let go of the sound, which the next ones need the memory for."""
        if self.audio is not None:
            shelf.keep_sound(self._key, {}, [self.audio])
        self.audio = None

    def sound(self, engine: Engine, shelf: Shelf) -> Audio:
        """The mix, (frames, channels); mixed again where it was not kept. Raises SourceError and ToolError."""
        if self.audio is not None:
            return self.audio
        if (kept := shelf.sound(self._key)) is not None:
            return kept[1][0]
        return mix(lanes_of(self.order, self.identity, engine, shelf).sounds)

    @property
    def _key(self) -> str:
        return key_of("mix", self.identity.inputs_sha256)


def mixed_clip(
    order: Order, identity: Identity, engine: Engine, shelf: Shelf, aside: ThreadPoolExecutor
) -> MixedClip:
    """Mix a clip; what is read of it besides its levels is read `aside`. Raises SourceError and ToolError."""
    lanes = lanes_of(order, identity, engine, shelf)
    stage(order.plan.name, "mixing")
    audio = mix(lanes.sounds)
    levels = read_levels(audio, order.plan.clock.rate_hz)
    read = aside.submit(_read, order.plan, lanes.landings, lanes.sounds, audio)
    return MixedClip(order, identity, lanes.gains_db, levels, lanes.findings, lanes.stretched_s, read, audio)


def _read(
    plan: ClipPlan,
    landings: list[Callable[[], LaneReadings]],
    lanes: Mapping[str, Audio],
    mixed: Audio,
) -> Read:
    bounds = beat_bounds(plan)
    energies = Energies(
        lanes={track: beat_levels_db(audio, bounds) for track, audio in lanes.items()},
        mix=beat_levels_db(mixed, bounds),
    )
    return Read(read_mix(plan, [landing() for landing in landings], lanes, mixed), energies)
