"""What the passages of a lane are made from, and the keys under which they lie on the shelf.

Nothing that computes is loaded for this, so that what lies there is told at once.
"""

from dataclasses import asdict, dataclass

from render.clip.identity import Identity, sound_versions
from render.clip.order import Order
from render.facts import Recording
from render.files.known_hashes import key_of
from render.plan.model import Lane
from render.sound.engine import EngineName
from render.sound.spans import Span


@dataclass(frozen=True)
class Source:
    """One lane's recording, and what identifies all that is made of it."""

    recording: Recording
    sha256: str
    versions: dict[str, str | int]
    clip_rate_hz: int

    def key(self, span: Span) -> str:
        of = self.recording
        content = [self.sha256, of.format, of.rate_hz, of.channels, of.frames, of.delay_frames]
        return key_of("span", content, asdict(span), self.clip_rate_hz, self.versions)


def source_of(order: Order, lane: Lane, identity: Identity, engine: EngineName) -> Source:
    recording = order.facts[lane.track].recording
    sha256 = identity.source_sha256[lane.track]
    return Source(recording, sha256, sound_versions(engine), order.plan.clock.rate_hz)
