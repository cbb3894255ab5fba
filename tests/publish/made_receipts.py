"""Receipts of made-up clips, and what the listening page makes of them."""

import hashlib
from dataclasses import replace
from typing import Any

from render.checks.model import Finding, LaneReadings, Readings
from render.facts import TrackFacts
from render.publish.page import PageClip, page_clip
from render.publish.receipt import Measured, Proof, read_receipt, receipt
from tests.publish.pictures import TWO, planned

LEVELS = Readings(-9.0, 3.04, 2.9)
Errors = dict[str, float | None]


def received(
    text: str = TWO,
    findings: tuple[Finding, ...] = (),
    errors_ms: Errors | None = None,
    lufs: float | None = -14.0,
    facts: dict[str, TrackFacts] | None = None,
    **plan_changes: Any,
) -> dict[str, Any]:
    """The receipt of a made-up clip, as it is read from its file."""
    plan, known = planned(text)
    plan = replace(plan, **plan_changes)
    lanes = [
        LaneReadings(lane.track, (errors_ms or {}).get(lane.track, 0.04), 0.0, 0.8, 30) for lane in plan.lanes
    ]
    reasons = tuple(Finding(r.level, r.code, f"{r.text}.", r.value, r.track) for r in plan.reasons)
    measured = Measured(
        tuple(lanes),
        tuple(0.0 for _ in lanes),
        -4.1,
        lufs,
        LEVELS,
        Readings(lufs, -1.0, -1.2),
        3.04,
        0.0,
        (*reasons, *findings),
    )
    hashes = dict.fromkeys(known, "5" * 64)
    proof = Proof("1" * 64, None, hashlib.sha256(plan.name.encode()).hexdigest(), "3" * 64, hashes, "e", {})
    return read_receipt(receipt(plan, facts or known, measured, proof))


def clip(text: str = TWO, **options: Any) -> PageClip:
    return page_clip(received(text, **options))
