"""What came of a run, for scripts, and what a run would do."""

import json
from collections.abc import Iterable, Iterator
from dataclasses import asdict
from typing import Any

from render.make import Done, Kept, Order, Refused
from render.night.outcome import Failed, Outcome


def results_json(outcomes: Iterable[Outcome]) -> str:
    """A list of objects: `name`, `outcome` (made, kept, refused, failed), and what belongs to each."""
    return json.dumps([_result(outcome) for outcome in outcomes], indent=2, ensure_ascii=False)


def _result(outcome: Outcome) -> dict[str, Any]:
    match outcome:
        case Done(name, clip, findings):
            return {
                "name": name,
                "outcome": "made",
                "clip": str(clip),
                "receipt": str(clip.with_suffix(".json")),
                "findings": [asdict(finding) for finding in findings],
            }
        case Kept(name, clip):
            return {
                "name": name,
                "outcome": "kept",
                "clip": str(clip),
                "receipt": str(clip.with_suffix(".json")),
            }
        case Refused(name, findings):
            return {
                "name": name,
                "outcome": "refused",
                "findings": [asdict(finding) for finding in findings],
            }
        case Failed(name, reason, trace, ours):
            return {"name": name, "outcome": "failed", "reason": reason, "trace": trace, "ours": ours}


def dry_run_lines(orders: Iterable[Order]) -> Iterator[str]:
    """One line for each clip that is asked for."""
    for order in orders:
        clock = order.plan.clock
        yield f"{_file(order)}  {clock.duration_s:.1f} s at {clock.tempo_bpm:g} BPM"


def dry_run_json(orders: Iterable[Order]) -> str:
    """A list of objects: `name`, `clip` (its file's name), `duration_s`, `tempo_bpm`."""
    asked = [
        {
            "name": order.plan.name,
            "clip": _file(order),
            "duration_s": order.plan.clock.duration_s,
            "tempo_bpm": order.plan.clock.tempo_bpm,
        }
        for order in orders
    ]
    return json.dumps(asked, indent=2, ensure_ascii=False)


def _file(order: Order) -> str:
    return f"{order.plan.name}.{order.plan.format}"
