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

    def stretched_s(self, span: Span) -> float:
        """How much an engine is given for a span; where nothing changes, or the pitch follows, that is nothing."""
        given = span.semitones is not None and (span.speed != 1.0 or span.semitones != 0.0)
        return span.frames / self.recording.rate_hz if given else 0.0

    def size_bytes(self, span: Span) -> int:
        """What a span takes on the shelf: as it is heard, and once on one channel, 4 bytes a sample."""
        frames = span.frames / self.recording.rate_hz / span.speed * self.clip_rate_hz
        return round(frames) * (self.recording.channels + 1) * 4


def source_of(order: Order, lane: Lane, identity: Identity, engine: EngineName) -> Source:
    recording = order.facts[lane.track].recording
    sha256 = identity.source_sha256[lane.track]
    return Source(recording, sha256, sound_versions(engine), order.plan.clock.rate_hz)
