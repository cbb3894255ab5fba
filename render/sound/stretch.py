"""Playing a passage faster or slower, with its pitch kept, moved, or let go.

Conventions
-----------
- `speed` is source seconds per heard second: 1.02 plays 2 % faster and is 2 % shorter.
- `semitones` is what the pitch moves by while the tempo is kept apart from it; None lets the pitch follow the
  tempo, as on a turntable, which is plain resampling.
- Frame k of the result sounds like frame k·speed of the source. The result is exactly `frames / speed` long.
- Around what is needed there must be 0.25 s of sound on either side: an engine works in overlapping blocks, and
  its first and last one are only half there.

Where the attacks fall
----------------------
Plain resampling puts every frame where it belongs. An engine that keeps the pitch does not: the attacks of a whole
passage come out early or late by up to half a millisecond, the more the larger the change of tempo, and single
ones lie around that. The part they have in common is measured against the plainly resampled passage and taken
out.
"""

import math

import librosa
import numpy as np

from render.faults import ToolError
from render.sound.engine import Engine
from render.sound.onsets import constant_lag_ms, downmix
from render.values import Audio, nearest_frame

HEADROOM = 0.25
"""Highest peak an engine is given. Taking blocks apart and adding them up again in other phases raises peaks (a
clipped record by 4 dB), and what leaves a program above full scale is cut off."""

SHORTEST_S = 0.5
"""Least sound an engine is given; shorter passages are followed by silence. Several blocks of any engine."""

LENGTH_SLACK_S = 0.1
"""An engine may round to its blocks; half the pad is there for that."""

RESIDUAL_LIMIT_MS = 2.0
"""No engine in use is off by a quarter of this; a larger reading is a mistake and is not acted upon."""


def resampled(audio: Audio, rate_in_hz: float, rate_out_hz: float) -> Audio:
    """The same sound at another rate, without delay; the very same array where the rates are equal."""
    if rate_in_hz == rate_out_hz or not len(audio):
        return audio
    converted: Audio = librosa.resample(
        audio, orig_sr=rate_in_hz, target_sr=rate_out_hz, res_type="soxr_vhq", axis=0
    )
    return converted


def stretched(audio: Audio, rate_hz: int, speed: float, semitones: float | None, engine: Engine) -> Audio:
    """The passage at `speed`; shape (nearest_frame(frames / speed), channels). `audio` is left as it is.

    Raises what the engine raises (ToolError for an outside program).
    """
    return stretched_beside_plain(audio, rate_hz, speed, semitones, engine)[0]


def stretched_beside_plain(
    audio: Audio, rate_hz: int, speed: float, semitones: float | None, engine: Engine
) -> tuple[Audio, Audio]:
    """The passage at `speed`, and the same plainly resampled on one channel, which its timing is held against."""
    frames = nearest_frame(len(audio) / speed)
    if semitones is None:
        heard = _cut_out(resampled(audio, rate_hz * speed, rate_hz), 0, frames)
        return heard, downmix(heard)[:, np.newaxis]
    plain = _cut_out(resampled(downmix(audio)[:, np.newaxis], rate_hz * speed, rate_hz), 0, frames)
    if speed == 1.0 and not semitones:
        return audio.copy(), plain
    if not audio.any():
        return np.zeros((frames, audio.shape[1]), dtype=np.float32), plain
    rendered = _through(engine, audio, rate_hz, speed, semitones)
    return _cut_out(rendered, _residual_frames(rendered, plain, rate_hz), frames), plain


def _through(engine: Engine, audio: Audio, rate_hz: int, speed: float, semitones: float) -> Audio:
    """What the engine makes of the passage, at the passage's own level.

    The gain there and back is a power of two, which costs a float no precision. Quiet passages are raised as well:
    an engine may take what lies far below full scale for silence.
    """
    peak = max(float(audio.max()), -float(audio.min()))
    gain = np.float32(2.0 ** math.floor(math.log2(HEADROOM / peak)))
    given = audio * gain
    missing = math.ceil(SHORTEST_S * rate_hz) - len(given)
    if missing > 0:
        given = np.pad(given, ((0, missing), (0, 0)))
    rendered = engine.stretch(given, rate_hz, speed, semitones)
    _require_sound(engine, rendered, len(given) / speed, given.shape[1], rate_hz)
    rendered *= 1 / gain
    return rendered


def _require_sound(engine: Engine, rendered: Audio, frames: float, channels: int, rate_hz: int) -> None:
    """An outside program may fail without saying so; what it gives is looked at before it is used."""
    if rendered.ndim != 2 or rendered.shape[1] != channels:
        wrong = f"it gave sound of the shape {rendered.shape} for {channels} channels"
    elif abs(len(rendered) - frames) > LENGTH_SLACK_S * rate_hz:
        wrong = f"it gave {len(rendered) / rate_hz:.2f} s of sound where {frames / rate_hz:.2f} s were due"
    elif not np.isfinite(rendered).all() or not rendered.any():
        wrong = "it gave silence, or samples that are no numbers"
    else:
        return
    raise ToolError(engine.name, wrong, "try it with `dropkiln doctor`, or use another `--engine`")


def _residual_frames(rendered: Audio, plain: Audio, rate_hz: int) -> int:
    """How many frames late all of `rendered` is; 0 where that cannot be told."""
    lag_ms = constant_lag_ms(rendered, plain, rate_hz)
    if lag_ms is None or abs(lag_ms) > RESIDUAL_LIMIT_MS:
        return 0
    return nearest_frame(lag_ms * rate_hz / 1000.0)


def _cut_out(audio: Audio, start: int, frames: int) -> Audio:
    """`frames` frames from `start`, which may lie before the first; silence where there is no sound."""
    cut = np.zeros((frames, audio.shape[1]), dtype=np.float32)
    first, end = max(0, -start), min(frames, len(audio) - start)
    cut[first:end] = audio[start + first : start + end]
    return cut
