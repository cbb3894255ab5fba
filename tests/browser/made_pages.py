"""Folders of clips as a render leaves them, made at once: real receipts, real pictures, and a little real sound."""

import json
from collections.abc import Iterable
from dataclasses import dataclass, replace
from functools import cache
from hashlib import sha256
from pathlib import Path
from typing import Any

import numpy as np
import soundfile

from render.checks.judge import judge_headroom, judge_low_end
from render.checks.model import LaneReadings, Readings
from render.facts import Recording, TrackFacts
from render.night.listening import write_page
from render.plan.build import plan_clip
from render.plan.model import ClipPlan
from render.publish.picture import Energies, picture_svg
from render.publish.receipt import Measured, Proof, receipt
from render.recipe.known import track_facts
from render.recipe.reader import read

RATE_HZ = 8_000
"""Enough for a browser to play."""

RECIPE = """
recipe: 1
title: Ember over slate
tempo: 120
lead: {lead} beats
tail: 24 beats
tracks:
  ember: {{file: a, bpm: 120, first_beat: 0, markers: {{drop: bar 33}}, key: F minor}}
  slate: {{file: b, bpm: 118, first_beat: 0, markers: {{drop: bar 33}}, key: A minor}}
"""


@dataclass(frozen=True)
class Made:
    """A clip to be made; `sounds` tells renderings of it apart."""

    recipe: str
    variant: str = ""
    title: str = "Ember over slate"
    lead_beats: int = 24
    sounds: str = "once"

    @property
    def name(self) -> str:
        return f"{self.recipe}--{self.variant}" if self.variant else self.recipe

    @property
    def pcm_sha256(self) -> str:
        return sha256(f"{self.name} {self.sounds}".encode()).hexdigest()


EMBER = [
    Made("ember-over-slate"),
    Made("ember-over-slate", "both-drop"),
    Made("ember-over-slate", "short", lead_beats=16),
]
KILN = Made("kiln-under-ash", title="Kiln under ash")
WICK = [
    Made("wick-and-tallow", title="Wick and tallow"),
    Made("wick-and-tallow", "hushed", title="Wick and tallow"),
]
FEW = [*EMBER, KILN, *WICK]


@cache
def _planned(lead_beats: int) -> tuple[ClipPlan, dict[str, TrackFacts]]:
    [reading] = read(RECIPE.format(lead=lead_beats), "night.yaml")
    assert reading.recipe is not None and not reading.problems
    recording = Recording("/somewhere/else/made-up.flac", "FLAC", 44_100, 2, 44_100 * 120, 1)
    facts = {name: track_facts(reading.recipe, name, recording) for name in reading.recipe.tracks}
    return replace(plan_clip(reading.recipe, facts, "night"), format="flac"), facts


def receipt_text(clip: Made) -> str:
    plan, facts = _planned(clip.lead_beats)
    plan = replace(plan, recipe=clip.recipe, variant=clip.variant, title=clip.title)
    levels = Readings(-9.0, 4.2, 4.0)
    reasons: list[Any] = [*plan.reasons]
    findings = (*reasons, *judge_low_end(0.25, False), *judge_headroom(4.2))
    lanes = tuple(LaneReadings(lane.track, 0.12, 0.1, 0.9, 40) for lane in plan.lanes)
    measured = Measured(
        lanes, (0.0, -1.0), -6.0, -14.0, levels, Readings(-14.0, -1.1, -1.3), 4.2, 0.25, findings
    )
    proof = Proof("0" * 64, None, clip.pcm_sha256, "1" * 64, dict.fromkeys(facts, "2" * 64), "rubberband", {})
    return receipt(plan, facts, measured, proof)


@cache
def _picture(lead_beats: int) -> str:
    plan, facts = _planned(lead_beats)
    beats = lead_beats + 24
    return picture_svg(plan, facts, Energies({name: [-12.0] * beats for name in facts}, [-9.0] * beats))


def made_page(out: Path, clips: Iterable[Made]) -> str:
    """A folder of clips with its page; the page's address."""
    folder = out / "clips"
    folder.mkdir(parents=True, exist_ok=True)
    for clip in clips:
        plan, _ = _planned(clip.lead_beats)
        frames = round(plan.clock.duration_s * RATE_HZ)
        sound = 0.01 * np.random.default_rng(1).standard_normal(frames)
        soundfile.write(folder / f"{clip.name}.flac", sound, RATE_HZ)
        (folder / f"{clip.name}.svg").write_text(_picture(clip.lead_beats), encoding="utf-8")
        (folder / f"{clip.name}.json").write_text(receipt_text(clip), encoding="utf-8")
        assert json.loads((folder / f"{clip.name}.json").read_text(encoding="utf-8"))["title"] == clip.title
    told: list[str] = []
    write_page(out, folder, told.append)
    assert told == []
    return (out / "index.html").as_uri()
