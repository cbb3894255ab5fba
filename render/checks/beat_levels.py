"""How loud each beat is: the level that the picture of a clip shows.

Conventions
-----------
- RMS over all frames and channels of a beat, in dB re full scale (dBFS), unweighted: a sine at full scale reads
  −3.01 dB, a square wave 0. (AES17 adds 3.01 dB to make the sine read 0; that is not done here.)
- A beat lasts from its frame to the next one in the list.
- Silence has no level: None.
"""

import math
from collections.abc import Sequence
from itertools import pairwise

import numpy as np

from render.values import Audio

SILENCE_POWER = 1e-12
"""Mean square below which there is nothing to hear: −120 dBFS, where only a filter's rounding is left."""


def beat_levels_db(audio: Audio, beat_frames: Sequence[int]) -> list[float | None]:
    """RMS level of every beat of `audio`, (frames, channels); one less than there are `beat_frames`.

    Raises ValueError where the frames do not rise within the audio, and for samples that are no finite numbers.
    """
    edges = (0, *beat_frames, len(audio))
    if any(here > later for here, later in pairwise(edges)):
        raise ValueError(
            f"the beats do not rise within the audio's {len(audio)} frames; every beat must end in it, after it starts"
        )
    return [_level_db(audio[start:end]) for start, end in pairwise(beat_frames)]


def _level_db(beat: Audio) -> float | None:
    power = float(np.mean(np.square(beat, dtype=np.float64))) if beat.size else 0.0
    if not math.isfinite(power):
        raise ValueError("the audio holds samples that are no numbers; a level needs finite ones")
    return 10.0 * math.log10(power) if power >= SILENCE_POWER else None
