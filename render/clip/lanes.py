"""The lanes of a clip: spans decoded and stretched, once ever, and the passages joined."""

from collections.abc import Callable
from dataclasses import asdict, dataclass, replace
from functools import partial
from pathlib import Path
from typing import Any

from pydantic import TypeAdapter

from render.checks.clip import lane_gains_db, loudness_parts, read_lane
from render.checks.judge import judge_sources
from render.checks.loudness import integrated_lufs
from render.checks.model import Finding, LaneReadings
from render.checks.sources import clipped_runs
from render.clip.identity import Identity, require_unchanged
from render.clip.order import Order
from render.clip.source import Source, source_of
from render.clip.stage import stage
from render.files.audio_files import read_span
from render.files.known_hashes import key_of
from render.files.shelf import Shelf, Sounds
from render.plan.model import Lane
from render.sound.engine import Engine, Metered
from render.sound.lane import StretchedSpan, into_mix, lane_sound, stretched_span
from render.sound.spans import Span, spans_of
from render.values import Audio

_LANDING = TypeAdapter(LaneReadings)
_LOUDNESS: TypeAdapter[float | None] = TypeAdapter(float | None)


@dataclass(frozen=True)
class Lanes:
    """All lanes as they go into the mix, by their tracks, and what was found and read of them."""

    sounds: dict[str, Audio]
    gains_db: list[float]
    landings: list[Callable[[], LaneReadings]]
    """How each landed, to be read when there is time for it."""
    findings: tuple[Finding, ...]
    stretched_s: float
    """How much had to be stretched for this, as it did not lie on the shelf."""


def lanes_of(order: Order, identity: Identity, engine: Engine, shelf: Shelf) -> Lanes:
    """Raises SourceError and ToolError."""
    plan, rate_hz = order.plan, order.plan.clock.rate_hz
    metered = Metered(engine)
    read = [
        _read(order, lane, part, source_of(order, lane, identity, engine), metered, shelf)
        for lane, part in zip(plan.lanes, loudness_parts(plan), strict=True)
    ]
    gains_db = lane_gains_db(plan, [one.loudness_lufs for one in read])
    sounds = {
        lane.track: into_mix(lane, one.heard, rate_hz, plan.low_cut_hz, gain_db)
        for lane, one, gain_db in zip(plan.lanes, read, gains_db, strict=True)
    }
    findings = tuple(finding for one in read for finding in one.findings)
    return Lanes(sounds, gains_db, [one.landing for one in read], findings, metered.given_s)


@dataclass(frozen=True)
class _Read:
    """One lane before its gain and low cut, and what was found and read of it."""

    heard: Audio
    loudness_lufs: float | None
    landing: Callable[[], LaneReadings]
    findings: list[Finding]


def _read(order: Order, lane: Lane, part: slice, source: Source, engine: Engine, shelf: Shelf) -> _Read:
    """`part` is the clip frames over which its loudness counts."""
    clock, recording = order.plan.clock, source.recording
    spans = spans_of(lane, recording.rate_hz)
    stage(order.plan.name, f"lane of {lane.track}")
    stretched, runs = _stretched(source, spans, engine, shelf)
    sound = lane_sound(lane, clock, recording.rate_hz, spans, stretched)
    findings = judge_sources(lane.track, runs)
    if recording.note:
        code = "start-delay" if recording.delay_frames else "doubtful-recording"
        findings.insert(0, Finding("warning", code, recording.note, None, lane.track))
    key = [_as_heard(lane), asdict(clock), [source.key(span) for span in spans]]
    return _Read(
        heard=sound.heard,
        loudness_lufs=shelf.reading(
            key_of("loudness", key, part.start, part.stop),
            _LOUDNESS,
            lambda: integrated_lufs(sound.heard[part], clock.rate_hz),
        ),
        landing=lambda: shelf.reading(
            key_of("landing", key), _LANDING, lambda: read_lane(clock, lane, sound.heard, sound.reference())
        ),
        findings=findings,
    )


def _stretched(
    source: Source, spans: list[Span], engine: Engine, shelf: Shelf
) -> tuple[dict[Span, StretchedSpan], int]:
    """Each of the spans, and how many clipped runs the recording has in them together."""
    stretched, runs = {}, 0
    for span in dict.fromkeys(spans):
        make = partial(_stretched_now, source, span, engine, shelf)
        notes, (heard, plain) = shelf.sound_made_once(source.key(span), make)
        stretched[span] = StretchedSpan(heard, plain)
        runs += notes["clipped_runs"]
    return stretched, runs


def _stretched_now(source: Source, span: Span, engine: Engine, shelf: Shelf) -> Sounds:
    decoded = _decoded(source, span, shelf)
    sound = stretched_span(span, decoded, source.recording.rate_hz, source.clip_rate_hz, engine)
    return {"clipped_runs": clipped_runs(decoded)}, [sound.heard, sound.plain]


def _decoded(source: Source, span: Span, shelf: Shelf) -> Audio:
    decoded = read_span(source.recording, span.start_frame, span.frames)
    path = Path(source.recording.path)
    require_unchanged(path, source.sha256, shelf.sha256(path))
    return decoded


def _as_heard(lane: Lane) -> dict[str, Any]:
    """All that decides how a lane sounds before its gain and low cut."""
    return asdict(replace(lane, gain_db=0.0, cuts=()))
