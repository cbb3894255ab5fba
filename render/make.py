"""One clip, end to end.

    for each lane    decode its spans → stretch them → join the passages
    then             match loudness → cut the low end → mix → read → trim and encode → read again
    at last          publish clip, picture and receipt, or refuse

The receipt is written last: a clip without one is not finished.
"""

import importlib.metadata
import platform
from collections.abc import Mapping
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from hashlib import sha256
from pathlib import Path

from render.checks.beat_levels import beat_levels_db
from render.checks.clip import beat_bounds, findings_of, headroom_needed_db, lane_gains_db, read_mix
from render.checks.judge import judge_sources, read_levels
from render.checks.model import Finding
from render.checks.sources import clipped_runs
from render.facts import TrackFacts
from render.files.audio_files import read_span, sha256_of
from render.files.tags import ClipTags, write_tags
from render.files.to_ceiling import encode_to_ceiling
from render.files.whole_file import inside, whole_file, write_whole
from render.plan.marks import comment, marks
from render.plan.model import ClipPlan
from render.publish.picture import Energies, picture_svg
from render.publish.receipt import BadReceipt, Measured, Proof, inputs_text, read_receipt, receipt
from render.sound.lane import LaneSound, into_mix, lane_sound
from render.sound.levels import mix
from render.sound.spans import spans_of
from render.sound.stretch import Engine
from render.values import Audio

_LIBRARIES = ("numpy", "scipy", "soxr", "librosa", "soundfile", "av", "pydub", "pyloudnorm", "imageio-ffmpeg")
"""Whose version can change how a clip comes out."""


@dataclass(frozen=True)
class Order:
    """What is to be made, from what, and the folder it goes to."""

    plan: ClipPlan
    facts: Mapping[str, TrackFacts]
    folder: Path
    force: bool = False


@dataclass(frozen=True)
class Done:
    """A clip that was made and published."""

    name: str
    clip: Path
    findings: tuple[Finding, ...]
    wall_s: float = 0.0


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


class _Withheld(Exception):
    """Takes the encoded file back before it gets its name."""


def make(order: Order, engine: Engine) -> Done | Kept | Refused:
    """Make one clip and publish it whole. Raises SourceError, ToolError and OutputError."""
    plan, rate_hz = order.plan, order.plan.clock.rate_hz
    hashes = {lane.track: sha256_of(Path(order.facts[lane.track].recording.path)) for lane in plan.lanes}
    versions = versions_of(engine)
    inputs = sha256(inputs_text(plan, order.facts, hashes, versions)).hexdigest()
    clip = inside(order.folder, f"{plan.name}.{plan.format}")
    if not order.force and _is_made(clip, inputs):
        return Kept(plan.name, clip)

    sounds, source_findings = _lane_sounds(order, engine)
    gains_db = lane_gains_db(plan, sounds)
    lanes = {
        sound.lane.track: into_mix(sound, rate_hz, plan.low_cut_hz, gain_db)
        for sound, gain_db in zip(sounds, gains_db, strict=True)
    }
    mixed = mix(lanes)
    levels = read_levels(mixed, rate_hz)
    try:
        with whole_file(clip) as draft, ThreadPoolExecutor(1) as aside:
            # The encoder is a program of its own; the rest is read while it works.
            reading = aside.submit(read_mix, plan, sounds, lanes, mixed)
            encoded = encode_to_ceiling(
                mixed, rate_hz, levels.true_peak_dbtp, plan.ceiling_dbtp, plan.format, draft
            )
            write_tags(draft, plan.format, _tags(plan))
            file_sha256 = sha256_of(draft)
            readings = reading.result()
            findings = source_findings + findings_of(plan, levels, readings, encoded.readings)
            if any(finding.level == "failure" for finding in findings):
                raise _Withheld
    except _Withheld:
        return Refused(plan.name, findings)

    measured = Measured(
        lanes=readings.lanes,
        gains_db=tuple(gains_db),
        trim_db=encoded.trim_db,
        mix=levels,
        encoded=encoded.readings,
        headroom_needed_db=headroom_needed_db(levels),
        low_end_overlap=readings.low_end_overlap,
        findings=findings,
    )
    proof = Proof(inputs, encoded.pcm_sha256, file_sha256, hashes, engine.name, versions)
    write_whole(clip.with_suffix(".svg"), picture_svg(plan, order.facts, _energies(plan, lanes, mixed)))
    write_whole(clip.with_suffix(".json"), receipt(plan, order.facts, measured, proof))
    return Done(plan.name, clip, findings)


def versions_of(engine: Engine) -> dict[str, str]:
    """The versions of everything that can change how a clip comes out."""
    own = {"dropkiln": importlib.metadata.version("dropkiln"), "python": platform.python_version()}
    libraries = {name: importlib.metadata.version(name) for name in _LIBRARIES}
    return {**own, **libraries, engine.name: engine.version}


def _is_made(clip: Path, inputs_sha256: str) -> bool:
    """Whether a whole clip from these inputs is there: its receipt fits them and the file fits its receipt."""
    try:
        made = read_receipt(clip.with_suffix(".json").read_text(encoding="utf-8"))
        return (
            made.get("inputs_sha256") == inputs_sha256
            and clip.with_suffix(".svg").exists()
            and sha256_of(clip) == made.get("file_sha256")
        )
    except (FileNotFoundError, IsADirectoryError, UnicodeDecodeError, BadReceipt):
        return False


def _lane_sounds(order: Order, engine: Engine) -> tuple[list[LaneSound], tuple[Finding, ...]]:
    """Every lane of the clip, and what was found in the recordings on the way."""
    sounds: list[LaneSound] = []
    findings: list[Finding] = []
    for lane in order.plan.lanes:
        recording = order.facts[lane.track].recording
        spans = spans_of(lane, recording.rate_hz)
        decoded = {span: read_span(recording, span.start_frame, span.frames) for span in dict.fromkeys(spans)}
        if recording.note:
            findings.append(Finding("warning", "start-delay", recording.note, None, lane.track))
        findings += judge_sources(lane.track, sum(clipped_runs(audio) for audio in decoded.values()))
        sounds.append(lane_sound(lane, order.plan.clock, recording.rate_hz, spans, decoded, engine))
    return sounds, tuple(findings)


def _tags(plan: ClipPlan) -> ClipTags:
    tracks = tuple(lane.track for lane in plan.lanes)
    return ClipTags(plan.title, tracks, comment(plan), plan.clock.tempo_bpm, marks(plan))


def _energies(plan: ClipPlan, lanes: Mapping[str, Audio], mixed: Audio) -> Energies:
    bounds = beat_bounds(plan)
    return Energies(
        lanes={track: beat_levels_db(audio, bounds) for track, audio in lanes.items()},
        mix=beat_levels_db(mixed, bounds),
    )
