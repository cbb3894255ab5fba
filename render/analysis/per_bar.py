"""From frames to beats and bars: what each bar of a record holds, bar 1 first.

Conventions
-----------
- A beat or bar holds the frames whose middle lies in it; half a beat is several frames at any tempo.
- Powers are mean squares and stay linear here, so that silence is 0 and not a made-up level.
- What sounds before bar 1 belongs to no bar. The last bar counts when the recording lasts through it, but for a
  tenth of a beat.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from render.analysis.bands import FrameFeatures
from render.values import Grid

Values = npt.NDArray[np.float64]

SHORT_OF_A_BEAT = 0.1
"""How many beats of its last bar a recording may lack."""


@dataclass(frozen=True)
class Bars:
    """Where the beats of whole bars lie, in seconds: `beat_edges_s` has one edge more than there are beats."""

    beat_edges_s: Values
    beats_per_bar: int

    @property
    def count(self) -> int:
        return (len(self.beat_edges_s) - 1) // self.beats_per_bar

    @property
    def starts_s(self) -> Values:
        """Where each bar starts, `(bars,)`."""
        return self.beat_edges_s[:-1][:: self.beats_per_bar]

    def mean_per_beat(self, time_s: Values, values: npt.NDArray[np.floating]) -> Values:
        """The mean of `values`, `(frames,)` or `(frames, n)`, in each beat: `(bars, beats)` or `(bars, beats, n)`.

        A beat without a frame has the value 0.
        """
        first = np.searchsorted(time_s, self.beat_edges_s)
        sums = np.concatenate([np.zeros((1, *values.shape[1:])), np.cumsum(values, axis=0, dtype=np.float64)])
        counts = np.maximum(np.diff(first), 1).reshape(-1, *(1,) * (values.ndim - 1))
        means: Values = (sums[first[1:]] - sums[first[:-1]]) / counts
        return means.reshape(self.count, self.beats_per_bar, *values.shape[1:])

    def mean_per_bar(self, time_s: Values, values: npt.NDArray[np.floating]) -> Values:
        """The mean of `values` in each bar, `(bars,)` or `(bars, n)`."""
        means: Values = self.mean_per_beat(time_s, values).mean(axis=1)
        return means


def bars_of(grid: Grid, duration_s: float) -> Bars:
    """The whole bars of a recording on one grid."""
    beats = grid.beat_at(duration_s) + SHORT_OF_A_BEAT
    bars = max(0, int(beats // grid.beats_per_bar))
    edges = np.array([grid.time_s(beat) for beat in range(bars * grid.beats_per_bar + 1)])
    return Bars(edges, grid.beats_per_bar)


@dataclass(frozen=True)
class BarFeatures:
    """One record by bars. Powers are mean squares; arrays are `(bars, beats)` where nothing else is said."""

    bars: Bars
    band_power: Values
    """`(bars, 10)`: the octave bands of `render.analysis.bands`."""
    low_power: Values
    loudness_power: Values
    low_flux: Values
    """Rise of the low end's level in a frame, nepers, the mean over each beat: kicks and bass attacks."""
    flux: Values
    """The same above the low end: how dense attacks are."""

    @property
    def low_share(self) -> Values:
        """How much of each bar's power lies in the low end, 0 to 1, `(bars,)`; 0 for a silent bar."""
        low, whole = self.low_power.mean(axis=1), self.band_power.sum(axis=1)
        share: Values = np.clip(np.divide(low, whole, out=np.zeros_like(low), where=whole > 0), 0.0, 1.0)
        return share


def bar_features(frames: FrameFeatures, bars: Bars) -> BarFeatures:
    """What each bar holds of what was heard in frames."""
    time_s = frames.time_s()
    return BarFeatures(
        bars=bars,
        band_power=bars.mean_per_bar(time_s, frames.band_power),
        low_power=bars.mean_per_beat(time_s, frames.low_power),
        loudness_power=bars.mean_per_beat(time_s, frames.loudness_power),
        low_flux=bars.mean_per_beat(time_s, frames.low_flux),
        flux=bars.mean_per_beat(time_s, frames.flux),
    )
