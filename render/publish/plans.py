"""Plans and faults as JSON, for scripts."""

import json
from collections.abc import Iterable, Mapping
from dataclasses import asdict

from render.facts import TrackFacts
from render.faults import Fault
from render.plan.explain import events
from render.plan.model import ClipPlan


def plans_json(plans: Iterable[tuple[ClipPlan, Mapping[str, TrackFacts]]], faults: Iterable[Fault]) -> str:
    """An object with `plans` (each with what happens when) and `faults`; times in seconds, levels in dB."""
    data = {
        "plans": [
            {"name": plan.name, **asdict(plan), "events": [asdict(event) for event in events(plan, facts)]}
            for plan, facts in plans
        ],
        "faults": [asdict(fault) for fault in faults],
    }
    return json.dumps(data, indent=2, ensure_ascii=False, allow_nan=False)
