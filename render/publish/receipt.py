"""The receipt of a clip: how it was made and what was measured, as JSON; enough to make the clip again."""

import json
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from pydantic import TypeAdapter, ValidationError

from render.checks.model import Finding, LaneReadings, Readings
from render.facts import Fact, TrackFacts
from render.plan.model import ClipPlan

FORMAT_VERSION = 1

_PLAN = TypeAdapter(ClipPlan)
_FACTS = TypeAdapter(dict[str, TrackFacts])
_READINGS = TypeAdapter(Readings)
_FINDINGS = TypeAdapter(tuple[Finding, ...])


class BadReceipt(Exception):
    """A text that is not a receipt of this version; the message is what is wrong with it."""


@dataclass(frozen=True)
class Measured:
    """What was measured while a clip was made."""

    lanes: tuple[LaneReadings, ...]
    gains_db: tuple[float, ...]
    """Of each lane: loudness matching and the recipe's gain together."""
    trim_db: float
    matched_lufs: float | None
    """How loud all variants were made; None where the clip was alone, or has no loudness."""
    mix: Readings
    encoded: Readings
    headroom_needed_db: float
    low_end_overlap: float | None
    findings: tuple[Finding, ...]


@dataclass(frozen=True)
class Proof:
    """What identifies a clip: what went in, and what came out."""

    inputs_sha256: str
    group_sha256: str | None
    """Of the clips it was made together with, which decide how loud it is; None where it was alone."""
    pcm_sha256: str
    file_sha256: str
    source_sha256: Mapping[str, str]
    engine: str
    versions: Mapping[str, str]


def receipt(plan: ClipPlan, facts: Mapping[str, TrackFacts], measured: Measured, proof: Proof) -> str:
    """The receipt's text: JSON, times in seconds, levels in dB; null where there was nothing to measure."""
    data = {
        "format_version": FORMAT_VERSION,
        "recipe": plan.recipe,
        "variant": plan.variant,
        "title": plan.title,
        "clip": f"{plan.name}.{plan.format}",
        "tempo_bpm": plan.clock.tempo_bpm,
        "landing_s": plan.clock.landing_s,
        "duration_s": plan.clock.duration_s,
        "engine": proof.engine,
        "pcm_sha256": proof.pcm_sha256,
        "file_sha256": proof.file_sha256,
        "inputs_sha256": proof.inputs_sha256,
        "group_sha256": proof.group_sha256,
        "tracks": [
            _track(facts[lane.track], readings, gain_db, proof.source_sha256[lane.track])
            for lane, readings, gain_db in zip(plan.lanes, measured.lanes, measured.gains_db, strict=True)
        ],
        "mix": _READINGS.dump_python(measured.mix),
        "encoded": _READINGS.dump_python(measured.encoded),
        "trim_db": measured.trim_db,
        "matched_lufs": measured.matched_lufs,
        "headroom_needed_db": measured.headroom_needed_db,
        "low_end_overlap": measured.low_end_overlap,
        "findings": _FINDINGS.dump_python(measured.findings, mode="json"),
        "versions": dict(proof.versions),
        "plan": _PLAN.dump_python(plan, mode="json"),
        "facts": _FACTS.dump_python(dict(facts), mode="json"),
    }
    return json.dumps(data, indent=2, ensure_ascii=False, allow_nan=False) + "\n"


def _track(facts: TrackFacts, readings: LaneReadings, gain_db: float, sha256: str) -> dict[str, Any]:
    known: dict[str, Fact[Any] | None] = {
        "tempo_bpm": facts.tempo_bpm,
        "first_beat_s": facts.first_beat_s,
        "beats_per_bar": facts.beats_per_bar,
        "drop_s": facts.drop_s,
        "key": facts.key,
        "tonal_weight": facts.tonal_weight,
        "voice_s": facts.voice_s,
    }
    return {
        "name": facts.name,
        "file": facts.recording.path.replace("\\", "/").rsplit("/", 1)[-1],
        "size_bytes": facts.recording.size_bytes,
        "sha256": sha256,
        "tempo_bpm": facts.tempo_bpm.value,
        "first_beat_s": facts.first_beat_s.value,
        "drop_s": facts.drop_s.value,
        "key": facts.key.value if facts.key else None,
        "source": {name: fact.source for name, fact in known.items() if fact},
        "confidence": {name: fact.confidence for name, fact in known.items() if fact},
        "landing_error_ms": readings.landing_error_ms,
        "common_error_ms": readings.common_error_ms,
        "worst_beat_ms": readings.worst_beat_ms,
        "beats_measured": readings.beats_measured,
        "gain_db": gain_db,
    }


def inputs_text(
    plan: ClipPlan,
    facts: Mapping[str, TrackFacts],
    source_sha256: Mapping[str, str],
    versions: Mapping[str, str],
) -> bytes:
    """Everything that decides how a clip comes out, in one canonical form to be hashed.

    A source counts by its content, not by where it lies.
    """
    sources = {name: known.recording for name, known in facts.items()}
    parts = {
        "plan": _PLAN.dump_python(plan, mode="json"),
        "sources": {n: [source_sha256[n], r.rate_hz, r.delay_frames] for n, r in sources.items()},
        "versions": dict(versions),
    }
    return json.dumps(parts, sort_keys=True, allow_nan=False).encode()


def read_receipt(text: str) -> dict[str, Any]:
    """The data of a receipt of this version. Raises BadReceipt."""
    try:
        data = json.loads(text)
    except (json.JSONDecodeError, RecursionError) as error:
        raise BadReceipt("it is not JSON") from error
    except ValueError as error:  # a number of thousands of digits
        raise BadReceipt("it is damaged") from error
    if not isinstance(data, dict) or "plan" not in data:
        raise BadReceipt("it is not a receipt of a clip")
    if data.get("format_version") != FORMAT_VERSION:
        raise BadReceipt(f"its format is {data.get('format_version')!r}, this program knows {FORMAT_VERSION}")
    return data


def plan_of(data: Mapping[str, Any]) -> tuple[ClipPlan, dict[str, TrackFacts]]:
    """The plan and the facts of a receipt. Raises BadReceipt."""
    try:
        return _PLAN.validate_python(data["plan"]), _FACTS.validate_python(data["facts"])
    except (ValidationError, KeyError) as error:
        raise BadReceipt("its plan or its facts are damaged") from error
