"""Whether a lane's drop falls on the landing, and its beats on the beat.

The rendered lane is held against the plainly resampled passage, which is exact to the sample: what is measured is
what stretching has moved, not where the performer put the marker.
"""

import statistics
from collections.abc import Sequence

from render.checks.model import Finding, LaneReadings
from render.sound.onsets import onset_lags_ms
from render.values import Audio

LANDING_MS = 1.0
"""Larger errors of the landing are worth a warning; an engine that works stays below it."""
WORST_BEAT_MS = 2.0
FEWEST_BEATS = 8
"""A median of fewer is no better than a single reading."""
FLAM_MS = 5.0
"""From about here on two hits that should be one are heard as two (common practice)."""


def read_landing(
    track: str,
    heard: Audio,
    reference: Audio,
    rate_hz: int,
    landing_frames: float | None,
    beat_frames: Sequence[float],
) -> LaneReadings:
    """How far the attacks of `heard` lie from those of `reference`, both on one clock.

    `landing_frames` is None where the lane has no landing. The landing error has a sign (positive is late), the
    worst beat has none. Both are None where there is no clear attack to measure.
    """
    landings = [] if landing_frames is None else [landing_frames]
    lags_ms = onset_lags_ms(heard, reference, rate_hz, [*landings, *beat_frames])
    beats_ms = [lag_ms for lag_ms in lags_ms[len(landings) :] if lag_ms is not None]
    return LaneReadings(
        track=track,
        landing_error_ms=lags_ms[0] if landings else None,
        common_error_ms=statistics.median(beats_ms) if len(beats_ms) >= FEWEST_BEATS else None,
        worst_beat_ms=max(map(abs, beats_ms), default=None),
        beats_measured=len(beats_ms),
    )


def landing_findings(readings: LaneReadings) -> list[Finding]:
    """A failure where all beats are a flam off, warnings above the limits, a note where nothing could be measured.

    A single attack can be misread, where two hits lie close together or a kick starts inside a ringing bass; a lane
    that really lies wrong lies wrong on every beat. So it is the common error that refuses a clip.
    """
    track, error_ms, worst_ms = readings.track, readings.landing_error_ms, readings.worst_beat_ms
    findings = []
    if error_ms is None and worst_ms is None:
        text = f"{track} has no clear attack on any beat, so its timing was not measured."
        findings.append(Finding("note", "landing-not-measured", text, None, track))
    common_ms = readings.common_error_ms
    if common_ms is not None and abs(common_ms) > FLAM_MS:
        text = f"{track} lies {_told(common_ms)} throughout; that is heard as two hits."
        findings.append(Finding("failure", "lane-off", text, common_ms, track))
    if error_ms is not None and abs(error_ms) > LANDING_MS:
        text = f"{track} lands {_told(error_ms)}; up to {LANDING_MS:g} ms is sound."
        findings.append(Finding("warning", "landing-off", text, error_ms, track))
    if worst_ms is not None and worst_ms > WORST_BEAT_MS:
        text = f"The worst beat of {track} is {worst_ms:.1f} ms off; up to {WORST_BEAT_MS:g} ms is sound."
        findings.append(Finding("warning", "beat-off", text, worst_ms, track))
    return findings


def _told(error_ms: float) -> str:
    return f"{abs(error_ms):.1f} ms {'late' if error_ms > 0 else 'early'}"
