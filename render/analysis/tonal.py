"""What is tonal in a record, heard once: how much of each pitch, and how much of the sound is tone at all.

A tone is narrow in frequency and lasts; a drum is broad and short. So in each frame's spectrum a bin counts as tone as
far as it rises above the median of its neighbours in frequency (what a drum would give it) while it also stands in
the frames before and after (their median over time). This is the median-filter separation of Fitzgerald,
"Harmonic/Percussive Separation using Median Filtering" (DAFx-10, 2010), with its soft mask, at a reduced rate.

Of what is left, the peaks are read: their frequency by a parabola through three points of the logarithmic
spectrum, which tells neighbouring semitones apart far below the width of a bin. Each peak adds the square root of its
power to its pitch, so that one loud bass note does not outweigh a chord.

Conventions
-----------
- A frame is 0.37 s of the mean of both channels at 11,025 Hz; frames follow each other by half of that. Frames that
  follow each other in time are `PERIOD_S` apart, and a frame's time is its middle.
- Pitch is counted in tenths of a semitone within the octave, 0 for C; A is 440 Hz (ISO 16:1975), equal
  temperament. The fine steps let a record that was pitched by part of a semitone be read in its own tuning.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import scipy.fft
import scipy.signal as dsp
import soxr

from render.values import Audio

Spectra = npt.NDArray[np.float32]

RATE_HZ = 11_025
SIZE = 4_096
HOP = SIZE // 2
PERIOD_S = HOP / RATE_HZ
STEPS_PER_SEMITONE = 10
STEPS = 12 * STEPS_PER_SEMITONE
A4_HZ = 440.0
A_STEP = 9 * STEPS_PER_SEMITONE

LOWEST_HZ = 38.0
BASS_BELOW_HZ = 150.0
"""Below is what the bass plays, above what chords and melodies do."""
HIGHEST_HZ = 2_000.0
"""Above, partials are mostly overtones of what was counted already."""
TONAL_FROM_HZ = 100.0
FLOOR_BINS = 32
"""86 Hz: the neighbourhood in frequency, wider than a partial, narrower than a drum."""
LASTING_FRAMES = 5
"""0.9 s: a tone stands in most of so many frames around it."""
FRAMES_AT_ONCE = 64


@dataclass(frozen=True)
class TonalFeatures:
    """One record, frame by frame, `PERIOD_S` apart; the first frame's middle is the first sample.

    `upper` and `bass` are `(frames, STEPS)`: how much of each pitch sounds above and below `BASS_BELOW_HZ`.
    `tonal_power` and `whole_power` are `(frames,)`: what is tone above `TONAL_FROM_HZ`, and everything there.
    """

    upper: Spectra
    bass: Spectra
    tonal_power: Spectra
    whole_power: Spectra

    def time_s(self) -> npt.NDArray[np.float64]:
        return np.asarray(np.arange(len(self.whole_power)) * PERIOD_S, np.float64)


class TonalListener:
    """Hears a record block by block, `(frames, 1 or 2)` at `rate_hz`."""

    def __init__(self, rate_hz: int) -> None:
        self._reduced = soxr.ResampleStream(rate_hz, RATE_HZ, 1, dtype="float32", quality="MQ")
        self._window = dsp.get_window("hann", SIZE).astype(np.float32)
        self._kept = np.zeros(SIZE // 2, np.float32)
        self._spectra = np.zeros((0, SIZE // 2 + 1), np.float32)
        self._context = 0
        self._found: list[tuple[Spectra, Spectra, Spectra, Spectra]] = []

    def feed(self, block: Audio) -> None:
        self._transform(self._reduced.resample_chunk(np.mean(block, axis=1, dtype=np.float32)))
        if len(self._spectra) >= FRAMES_AT_ONCE:
            self._separate(last=False)

    def heard(self) -> TonalFeatures:
        """The features of everything fed. Nothing can be fed after that."""
        rest = self._reduced.resample_chunk(np.zeros(0, np.float32), last=True)
        self._transform(np.concatenate([rest, np.zeros(SIZE // 2, np.float32)]))
        self._separate(last=True)
        upper, bass, tonal, whole = (np.concatenate(parts) for parts in zip(*self._found, strict=True))
        return TonalFeatures(upper, bass, tonal, whole)

    def _transform(self, mono: Spectra) -> None:
        signal = np.concatenate([self._kept, mono])
        frames = max(0, (len(signal) - SIZE) // HOP + 1)
        if frames:
            framed = np.lib.stride_tricks.sliding_window_view(signal, SIZE)[::HOP][:frames]
            spectrum = np.abs(scipy.fft.rfft(framed * self._window, axis=1)).astype(np.float32)
            self._spectra = np.concatenate([self._spectra, spectrum])
        self._kept = signal[frames * HOP :]

    def _separate(self, last: bool) -> None:
        """Read every frame whose neighbours in time are known, and keep the ones still needed as neighbours."""
        around = LASTING_FRAMES // 2
        end = len(self._spectra) if last else len(self._spectra) - around
        if end <= self._context and not (last and not self._found):
            return
        self._found.append(_read(self._spectra, self._context, max(end, self._context)))
        keep_from = max(0, end - around)
        self._context = end - keep_from
        self._spectra = self._spectra[keep_from:]


_HZ = np.arange(SIZE // 2 + 1) * RATE_HZ / SIZE


def _read(spectra: Spectra, first: int, end: int) -> tuple[Spectra, Spectra, Spectra, Spectra]:
    """Pitches and powers of the frames from `first` to `end`, their neighbours given around them."""
    around = LASTING_FRAMES // 2
    padded = np.pad(spectra, ((around, around), (0, 0)))
    neighbours = np.stack([padded[first + shift : end + shift] for shift in range(LASTING_FRAMES)])
    ranked = np.partition(neighbours, (around - 1, around), axis=0)
    floor = _floor(spectra[first:end])
    tone = _masked(spectra[first:end], ranked[around], floor)
    steady = _masked(spectra[first:end], ranked[around - 1], floor)
    counted = _HZ >= TONAL_FROM_HZ
    excess = np.maximum(np.square(steady) - np.square(floor), 0.0)
    tonal = np.sum(excess[:, counted], axis=1)
    whole = np.sum(np.square(spectra[first:end][:, counted]), axis=1)
    upper, bass = _pitches(tone, floor)
    return upper, bass, tonal.astype(np.float32), whole.astype(np.float32)


def _masked(spectra: Spectra, lasting: Spectra, floor: Spectra) -> Spectra:
    """What of the spectra lasts, rather than belongs to a broad sound."""
    share = np.square(lasting) / np.maximum(np.square(lasting) + np.square(floor), np.float32(1e-20))
    return np.asarray(spectra * share, np.float32)


def _floor(spectra: Spectra) -> Spectra:
    """The median over the neighbourhood of each bin, drawn straight between half-overlapping neighbourhoods."""
    half = FLOOR_BINS // 2
    blocks = SIZE // 2 // half
    parts = spectra[:, : blocks * half].reshape(len(spectra), blocks, half)
    pairs = np.concatenate([parts[:, :-1], parts[:, 1:]], axis=2)
    medians = np.median(pairs, axis=2)
    centres = (np.arange(blocks - 1) + 1) * half
    place = np.clip((np.arange(spectra.shape[1]) - centres[0]) / half, 0, blocks - 2)
    below = np.minimum(place.astype(int), blocks - 3)
    part = (place - below).astype(np.float32)
    drawn: Spectra = medians[:, below] * (1 - part) + medians[:, below + 1] * part
    return drawn


def _pitches(tone: Spectra, floor: Spectra) -> tuple[Spectra, Spectra]:
    """How much of each pitch the peaks of frames hold, above and below `BASS_BELOW_HZ`, `(frames, STEPS)` each."""
    level = np.log(tone + np.float32(1e-9))
    middle = level[:, 1:-1]
    peak = (middle > level[:, :-2]) & (middle >= level[:, 2:]) & (tone[:, 1:-1] > floor[:, 1:-1])
    peak &= (_HZ[1:-1] >= LOWEST_HZ) & (_HZ[1:-1] <= HIGHEST_HZ)
    frame, at = np.nonzero(peak)
    left, top, right = level[frame, at], level[frame, at + 1], level[frame, at + 2]
    shift = 0.5 * (left - right) / np.minimum(left - 2 * top + right, -1e-6)
    hz = (at + 1 + np.clip(shift, -0.5, 0.5)) * RATE_HZ / SIZE
    step = np.round(STEPS * np.log2(hz / A4_HZ) + A_STEP).astype(int) % STEPS
    strength = np.exp(0.5 * 2 * top * 0.5)
    sums = []
    for chosen in (hz >= BASS_BELOW_HZ, hz < BASS_BELOW_HZ):
        flat = np.bincount(
            frame[chosen] * STEPS + step[chosen], weights=strength[chosen], minlength=len(tone) * STEPS
        )
        sums.append(flat.reshape(len(tone), STEPS).astype(np.float32))
    return sums[0], sums[1]
