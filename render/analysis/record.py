"""Everything that is heard of one record, in one pass over its blocks."""

from dataclasses import dataclass

import numpy as np

from render.analysis.bands import BandListener
from render.analysis.drops import DropCandidate, drop_candidates
from render.analysis.grid import GridFinding, find_grid
from render.analysis.key import KeyCandidate, key_candidates, tonal_weight, tonal_weight_per_bar
from render.analysis.levels import LevelListener, RecordLevels
from render.analysis.onsets import OnsetListener
from render.analysis.per_bar import BarFeatures, Bars, bar_features, bars_of
from render.analysis.stripped import StrippedPassage, stripped_passages
from render.analysis.tonal import TonalFeatures, TonalListener
from render.analysis.voice import VoiceBars, VoiceListener, voice_bars
from render.values import Audio

USUAL_PHRASE_BARS = 8
"""Common practice in dance music, where nothing else was heard."""


@dataclass(frozen=True)
class RecordByBars:
    """What is heard once it is known where the bars are."""

    grid: GridFinding
    features: BarFeatures
    drops: tuple[DropCandidate, ...]
    keys: tuple[KeyCandidate, ...]
    voice: VoiceBars
    stripped: tuple[StrippedPassage, ...]
    """Passages of little but drums before the likeliest drop."""


@dataclass(frozen=True)
class HeardRecord:
    """One record, heard. `by_bars` is None where no beat could be found."""

    duration_s: float
    levels: RecordLevels
    tonal_weight: float
    by_bars: RecordByBars | None


class RecordListener:
    """Hears a record block by block, (frames, 1 or 2) at `rate_hz`; memory does not grow with the sound itself."""

    def __init__(self, rate_hz: int) -> None:
        self._rate_hz = rate_hz
        self._frames = 0
        self._onsets = OnsetListener(rate_hz)
        self._bands = BandListener(rate_hz)
        self._tones = TonalListener(rate_hz)
        self._voice = VoiceListener(rate_hz)
        self._levels = LevelListener(rate_hz)
        self._all = (self._onsets, self._bands, self._tones, self._voice, self._levels)

    def feed(self, block: Audio) -> None:
        self._frames += len(block)
        for listener in self._all:
            listener.feed(block)

    def heard(self) -> HeardRecord:
        """What was heard; to be asked once, after the last block."""
        duration_s = self._frames / self._rate_hz
        tones = self._tones.heard()
        grid = find_grid(self._onsets.heard())
        return HeardRecord(
            duration_s=duration_s,
            levels=self._levels.heard(),
            tonal_weight=tonal_weight(tones),
            by_bars=None if grid is None else self._by_bars(grid, duration_s, tones),
        )

    def _by_bars(self, grid: GridFinding, duration_s: float, tones: TonalFeatures) -> RecordByBars:
        bars = _bars(grid, duration_s)
        features = bar_features(self._bands.heard(), bars)
        phrase_bars = grid.phrase_bars or USUAL_PHRASE_BARS
        phrase_first_bar = grid.phrase_first_bar or 1
        drops = drop_candidates(features, phrase_bars, phrase_first_bar)
        voice = voice_bars(self._voice.heard(), bars)
        weight = tonal_weight_per_bar(tones, bars)
        stripped = (
            stripped_passages(features, weight, voice.value, drops[0].bar, phrase_first_bar) if drops else ()
        )
        return RecordByBars(
            grid=grid,
            features=features,
            drops=drops,
            keys=key_candidates(tones, bars, phrase_bars, phrase_first_bar),
            voice=voice,
            stripped=stripped,
        )


def _bars(finding: GridFinding, duration_s: float) -> Bars:
    """The record's whole bars: on its grid, or by the tracked beats where one grid does not fit."""
    grid = finding.grid
    if finding.beat_times_s is None:
        return bars_of(grid, duration_s)
    from_bar_1 = [time_s for time_s in finding.beat_times_s if time_s > grid.first_beat_s - grid.beat_s / 2]
    whole = (len(from_bar_1) - 1) // grid.beats_per_bar * grid.beats_per_bar
    return Bars(np.array(from_bar_1[: whole + 1]), grid.beats_per_bar)
