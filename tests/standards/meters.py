"""The program's meters, meters written straight from the standards, and meters that get one thing wrong.

The program measures loudness and true peak in two places: of a clip that lies in memory, and of a record heard block
by block. Both have to pass everything. A meter that is wrong in one respect has to fail somewhere, or the signals
would prove nothing.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import signal

from render.analysis.levels import LevelListener
from render.checks.loudness import integrated_lufs
from render.checks.true_peak import true_peak_dbtp
from render.facts import RecordLevels
from render.values import Audio
from tests.analysis.heard_records import hear

SHELF = ([1.53512485958697, -2.69169618940638, 1.19839281085285], [1.0, -1.69065929318241, 0.73248077421585])
"""ITU-R BS.1770-5 (11/2023), Annex 1, Table 1: stage 1 at 48 kHz, numerator and denominator. Published."""

HIGH_PASS = ([1.0, -2.0, 1.0], [1.0, -1.99004745483398, 0.99007225036621])
"""Annex 1, Table 2: stage 2. Published."""

CHANNEL_WEIGHTS = (1.0, 1.0, 1.0, 1.41, 1.41)
"""Annex 1, Table 3: left, right, centre, left surround, right surround. Published."""

TRUE_PEAK_PHASES = (
    (0.001708984375, -0.0291748046875, -0.0189208984375, -0.00830078125),
    (0.010986328125, 0.029296875, 0.0330810546875, 0.014892578125),
    (-0.0196533203125, -0.0517578125, -0.0582275390625, -0.026611328125),
    (0.033203125, 0.089111328125, 0.1015625, 0.047607421875),
    (-0.0594482421875, -0.16650390625, -0.2003173828125, -0.102294921875),
    (0.1373291015625, 0.465087890625, 0.77978515625, 0.97216796875),
    (0.97216796875, 0.77978515625, 0.465087890625, 0.1373291015625),
    (-0.102294921875, -0.2003173828125, -0.16650390625, -0.0594482421875),
    (0.047607421875, 0.1015625, 0.089111328125, 0.033203125),
    (-0.026611328125, -0.0582275390625, -0.0517578125, -0.0196533203125),
    (0.014892578125, 0.0330810546875, 0.029296875, 0.010986328125),
    (-0.00830078125, -0.0189208984375, -0.0291748046875, 0.001708984375),
)
"""Annex 2, clause 3: twelve taps of each of four phases, "one set that would satisfy the requirements". Published."""

Loudness = Callable[[Audio, int], float | None]
Peak = Callable[[Audio, int], float | None]


def of_a_record(audio: Audio, rate_hz: int) -> RecordLevels:
    return hear(LevelListener(rate_hz), audio)


LOUDNESS_METERS: dict[str, Loudness] = {
    "clip": integrated_lufs,
    "record": lambda audio, rate_hz: of_a_record(audio, rate_hz).integrated_lufs,
}
PEAK_METERS: dict[str, Peak] = {
    "clip": lambda audio, rate_hz: true_peak_dbtp(audio),
    "record": lambda audio, rate_hz: of_a_record(audio, rate_hz).true_peak_dbtp,
}


STEP_FRAMES = 4_800
"""100 ms at 48 kHz: a gating block has four of them, and the next one starts one later (Annex 1, before equation 3)."""


@dataclass(frozen=True)
class Steps:
    """The energy of each 100 ms, `(steps, channels)`, and of what is left over at the end, `(channels,)`."""

    whole: npt.NDArray[np.float64]
    left_over: npt.NDArray[np.float64]


def steps_of(audio: Audio, weighted: bool = True) -> Steps:
    """Annex 1, equation 1, of audio at 48 kHz."""
    chunks, state = [], [np.zeros((2, audio.shape[1])), np.zeros((2, audio.shape[1]))]
    for start in range(0, len(audio), 100 * STEP_FRAMES):
        chunk = audio[start : start + 100 * STEP_FRAMES].astype(np.float64)
        for stage, (numerator, denominator) in enumerate((SHELF, HIGH_PASS) if weighted else ()):
            chunk, state[stage] = signal.lfilter(numerator, denominator, chunk, axis=0, zi=state[stage])
        chunks.append(np.add.reduceat(chunk**2, range(0, len(chunk), STEP_FRAMES)))
    energy = np.concatenate([*chunks, np.zeros((1, audio.shape[1]))])
    whole = len(audio) // STEP_FRAMES
    return Steps(energy[:whole], energy[whole])


@dataclass(frozen=True)
class Gauge:
    """BS.1770-5, Annex 1, equations 2 to 7. With every field left alone it is the standard's."""

    weighted: bool = True
    offset_db: float = -0.691
    channel_weights: tuple[float, ...] = CHANNEL_WEIGHTS
    averages_channels: bool = False
    absolute_gate_lufs: float = -70.0
    relative_gate_lu: float = -10.0
    steps_between_blocks: int = 1
    counts_an_incomplete_block: bool = False

    def lufs(self, audio: Audio) -> float:
        steps = steps_of(audio, self.weighted)
        energy = np.vstack([steps.whole, steps.left_over]) if self.counts_an_incomplete_block else steps.whole
        channels = energy.shape[1]
        power = energy @ self.channel_weights[:channels] / (channels if self.averages_channels else 1)
        blocks = np.convolve(power, np.ones(4), "valid")[:: self.steps_between_blocks] / (4 * STEP_FRAMES)
        loud = blocks[self._loudness(blocks) > self.absolute_gate_lufs]
        relative_gate = self._loudness(np.mean(loud)) + self.relative_gate_lu
        return float(self._loudness(np.mean(loud[self._loudness(loud) > relative_gate])))

    def _loudness(self, power: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
        return self.offset_db + 10 * np.log10(np.maximum(power, 1e-30))


NO_GATE = -math.inf
WRONG_GAUGES = {
    "no absolute gate": Gauge(absolute_gate_lufs=NO_GATE),
    "no relative gate": Gauge(relative_gate_lu=NO_GATE),
    "no gate at all": Gauge(absolute_gate_lufs=NO_GATE, relative_gate_lu=NO_GATE),
    "relative gate of -8 LU": Gauge(relative_gate_lu=-8.0),
    "relative gate of -12 LU": Gauge(relative_gate_lu=-12.0),
    "relative gate of -20 LU": Gauge(relative_gate_lu=-20.0),
    "no -0.691 dB": Gauge(offset_db=0.0),
    "no weighting": Gauge(weighted=False),
    "blocks that do not overlap": Gauge(steps_between_blocks=4),
    "an incomplete block counts": Gauge(counts_an_incomplete_block=True),
    "channels averaged, not summed": Gauge(averages_channels=True),
    "surrounds of weight 1": Gauge(channel_weights=(1.0,) * 5),
}


def annex_2_dbtp(audio: Audio) -> float:
    """BS.1770-5, Annex 2, with the filter that stands there; it reads sines up to 0.3 dB low, as its phases 1 and 2
    have a gain of 0.973."""
    phases = zip(*TRUE_PEAK_PHASES, strict=True)
    return _db(max(float(np.abs(signal.lfilter(taps, 1.0, audio, axis=0)).max()) for taps in phases))


def sample_peak_as_true_peak_dbtp(audio: Audio) -> float:
    """Wrong: what rises between the samples is not seen."""
    return _db(float(np.abs(audio).max()))


def twofold_dbtp(audio: Audio) -> float:
    """Wrong: Annex 2 asks for at least 192 kHz, four times 48."""
    return _db(float(np.abs(signal.resample_poly(audio, 2, 1, axis=0)).max()))


def _db(gain: float) -> float:
    return 20 * math.log10(gain)
