"""Everything that is heard of one record, in one pass over its blocks."""

from dataclasses import replace

import numpy as np

from render.analysis.bands import BandListener
from render.analysis.drops import drop_candidates
from render.analysis.grid import find_grid
from render.analysis.key import key_candidates, tonal_weight, tonal_weight_per_bar
from render.analysis.levels import LevelListener
from render.analysis.onsets import OnsetListener
from render.analysis.per_bar import BarFeatures, Values, bar_features, bars_of
from render.analysis.stripped import stripped_passages
from render.analysis.tonal import TonalFeatures, TonalListener
from render.analysis.voice import VoiceBars, VoiceListener, voice_bars
from render.facts import NOTHING_GIVEN, USUAL_PHRASE_BARS, BarFacts, ByBars, Given, GridFinding, RecordFacts
from render.values import Audio

FLOOR_DB = -60.0
"""The quietest a bar's band is said to be."""


class RecordListener:
    """Hears a record block by block, (frames, 1 or 2) at `rate_hz`; memory does not grow with the sound itself.

    What is given is taken, and only the rest is measured.
    """

    def __init__(self, rate_hz: int, given: Given = NOTHING_GIVEN) -> None:
        self._rate_hz = rate_hz
        self._given = given
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

    def heard(self) -> RecordFacts:
        """What was heard; to be asked once, after the last block."""
        duration_s = self._frames / self._rate_hz
        tones = self._tones.heard()
        grid = find_grid(self._onsets.heard(), self._given)
        return RecordFacts(
            duration_s=duration_s,
            levels=self._levels.heard(),
            tonal_weight=tonal_weight(tones),
            by_bars=None if grid is None else self._by_bars(grid, duration_s, tones),
        )

    def _by_bars(self, grid: GridFinding, duration_s: float, tones: TonalFeatures) -> ByBars:
        bars = bars_of(grid.grid, duration_s)
        features = bar_features(self._bands.heard(), bars)
        phrase_bars = grid.phrase_bars or USUAL_PHRASE_BARS
        phrase_first_bar = grid.phrase_first_bar or 1
        drops = tuple(
            replace(drop, at_s=grid.local_time_s(grid.grid.beat_of_bar(drop.bar)))
            for drop in drop_candidates(features, phrase_bars, phrase_first_bar)
        )
        voice = voice_bars(self._voice.heard(), bars)
        weight = tonal_weight_per_bar(tones, bars)
        stripped = (
            stripped_passages(features, weight, voice.value, drops[0].bar, phrase_first_bar) if drops else ()
        )
        return ByBars(
            grid=grid,
            drops=drops,
            keys=key_candidates(tones, bars, phrase_bars, phrase_first_bar),
            stripped=stripped,
            bars=_bar_facts(features, voice),
        )


def _bar_facts(features: BarFeatures, voice: VoiceBars) -> BarFacts:
    power = np.maximum(features.band_power, 0.0)
    loudest = float(power.max()) if power.size else 0.0
    floor = max(loudest, 1e-12) * 10.0 ** (FLOOR_DB / 10)
    bands_db = 10.0 * np.log10(np.maximum(power, floor) / max(loudest, 1e-12))
    bars = features.bars
    return BarFacts(
        starts_s=tuple(map(float, bars.beat_edges_s[:: bars.beats_per_bar])),
        voice=_rounded(voice.value, 4),
        voice_confidence=_rounded(voice.confidence, 4),
        voiced=tuple(map(bool, voice.voiced)),
        low_end=_rounded(features.low_share, 4),
        bands_db=tuple(_rounded(bar, 1) for bar in bands_db),
    )


def _rounded(values: Values, digits: int) -> tuple[float, ...]:
    return tuple(round(float(value), digits) for value in values)
