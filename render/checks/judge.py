"""What the readings mean: findings, each one sentence a performer understands.

Conventions
-----------
- A *failure* keeps a clip from being published, a *warning* asks for a look, a *note* is worth knowing.
- A reading that is None has nothing to be judged; only a clip that is silent altogether is a failure.
"""

import math
from collections.abc import Sequence
from typing import Literal

from render.checks.loudness import integrated_lufs
from render.checks.model import UNEQUAL_LU, Finding, Readings
from render.checks.true_peak import sample_peak_dbfs, true_peak_dbtp
from render.values import Audio

Stage = Literal["mix", "encoded"]

CEILING_TOLERANCE_DB = 0.1
"""How far an encoded clip may be above its ceiling: a codec answers to a trim only so finely."""

SILENT_PEAK_DBFS = -60.0
"""A clip without a loudness and with no sample above this is silent for whoever plays it."""

OVERLAP_SHARE = 0.1
"""Share of beats with two low ends from which on it is a warning. Below, it is a fill or an upbeat: common
practice is one bass at a time."""

MONO_LOSS_DB = 3.1
"""A low end whose sides have nothing in common loses 3.0 dB in mono; one that loses more works against itself."""

TURNED_DOWN_DB = 0.5
"""A smaller change of level is hardly noticed (common practice)."""


def read_levels(audio: Audio, rate_hz: int) -> Readings:
    """The levels of `audio` (frames, channels). Raises ValueError for samples that are no finite numbers."""
    return Readings(integrated_lufs(audio, rate_hz), true_peak_dbtp(audio), sample_peak_dbfs(audio))


def judge_levels(stage: Stage, readings: Readings, ceiling_dbtp: float) -> list[Finding]:
    """Failures of a mix or of an encoded clip: silence, and for the encoded clip a peak above its ceiling.

    The mix may peak anywhere: it is float, and its trim is found on the encoded clip.
    """
    what = "mix" if stage == "mix" else "encoded clip"
    findings = []
    unheard = readings.sample_peak_dbfs is None or readings.sample_peak_dbfs < SILENT_PEAK_DBFS
    if readings.integrated_lufs is None and unheard:
        findings.append(Finding("failure", "silence", f"The {what} is silent.", readings.sample_peak_dbfs))
    peak_dbtp = readings.true_peak_dbtp
    if stage == "encoded" and peak_dbtp is not None and peak_dbtp > ceiling_dbtp + CEILING_TOLERANCE_DB:
        text = f"The {what} peaks at {peak_dbtp:.2f} dBTP, above its ceiling of {ceiling_dbtp:g} dBTP."
        findings.append(Finding("failure", "true-peak", text, peak_dbtp))
    return findings


def judge_low_end(overlap: float | None, low_cut_stated: bool) -> list[Finding]:
    """How often two low ends sound at once, and what would help; nothing where there is nothing to overlap."""
    if overlap is None:
        return []
    share = f"{overlap:.0%} of the beats"
    if overlap > OVERLAP_SHARE:
        advice = (
            "let `keep` name one track at a time" if low_cut_stated else "a `low_cut` would leave it to one"
        )
        text = f"More than one track carries the low end in {share}; {advice}."
        return [Finding("warning", "low-end-overlap", text, overlap)]
    text = f"More than one track carries the low end in {share}." if overlap else "One low end at a time."
    return [Finding("note", "low-end-overlap", text, overlap)]


def judge_mono(loss_db: float | None) -> list[Finding]:
    """A warning where the low end of the mix would not survive a mono system."""
    if loss_db is None or loss_db <= MONO_LOSS_DB:
        return []
    text = f"In mono the low end falls by {loss_db:.1f} dB: left and right work against each other there."
    return [Finding("warning", "low-end-mono", text, loss_db)]


def judge_sources(track: str, runs: int) -> list[Finding]:
    """A warning where a recording was clipped before it came here."""
    if not runs:
        return []
    places = "one place" if runs == 1 else f"{runs} places"
    text = f"The recording of {track} is clipped in {places}: its peaks are cut off at full scale."
    return [Finding("warning", "clipped-source", text, float(runs), track)]


def judge_silent(tracks: Sequence[str]) -> list[Finding]:
    """A warning for each track that is not heard at all."""
    return [Finding("warning", "silent-track", f"Nothing of {t} is heard.", None, t) for t in tracks]


def judge_matched(turned_down_db: float | None, missing_db: float | None) -> list[Finding]:
    """A note on how far a clip is below what it could be, and a warning where it is not as loud as those beside it.

    `missing_db` is what its encoded loudness lacks; both are None where it is compared with nothing.
    """
    findings = []
    if turned_down_db is not None and turned_down_db > TURNED_DOWN_DB:
        text = f"It is turned down by {turned_down_db:.1f} dB, so that it is as loud as the other variants."
        findings.append(Finding("note", "turned-down", text, turned_down_db))
    if missing_db is not None and abs(missing_db) > UNEQUAL_LU:
        what = "quieter" if missing_db > 0 else "louder"
        text = f"It is {abs(missing_db):.1f} LU {what} than the other variants."
        findings.append(Finding("warning", "not-matched", text, missing_db))
    return findings


def judge_headroom(headroom_db: float) -> list[Finding]:
    """A note on what to leave on the mixer; `headroom_db` is what the untrimmed sum needs above full scale."""
    if headroom_db <= 0:
        return [Finding("note", "headroom", "The tracks together stay below full scale.", headroom_db)]
    enough_db = math.ceil(headroom_db * 10 - 1e-6) / 10  # rounded up: what is left must do
    text = f"The tracks together peak {enough_db:.1f} dB above full scale: leave that much on the mixer."
    return [Finding("note", "headroom", text, headroom_db)]
