"""The stripped drum passage to jump back to, on invented records whose sections are known."""

import numpy as np
import pytest

from render.analysis.key import tonal_weight_per_bar
from render.analysis.stripped import stripped_passages
from render.analysis.voice import voice_bars
from render.facts import StrippedPassage
from tests.analysis.heard_records import (
    bar_features_of,
    bars_in,
    record,
    tonal_features_of,
    voice_features_of,
)
from tests.cases import first_of


def passages(name: str, drop_bar: int) -> tuple[StrippedPassage, ...]:
    bars = bars_in(name)
    tonal = tonal_weight_per_bar(tonal_features_of(name), bars)
    voice = voice_bars(voice_features_of(name), bars).value
    return stripped_passages(bar_features_of(name), tonal, voice, drop_bar)


@pytest.mark.parametrize("name", first_of(["quarrybread"], ["lanterns", "quarrybread", "wickergauge"]))
def test_the_drum_section_before_the_drop_is_found(name: str) -> None:
    best = passages(name, record(name).bar_of("drop"))[0]
    start_s, end_s = record(name).drums_s
    assert best.at_s == pytest.approx(start_s, abs=0.001)
    assert best.bars * 4 * record(name).grid.beat_s == pytest.approx(end_s - start_s)


def test_a_passage_lies_before_the_drop() -> None:
    thimbleyard = record("thimbleyard")  # its drums come after the drop; before it chords and a singer
    assert passages("thimbleyard", thimbleyard.bar_of("drop")) == ()
    later = passages("thimbleyard", thimbleyard.bar_of("outro"))
    assert later[0].bar == thimbleyard.bar_of("drums")


def test_a_singer_or_a_chord_spoils_a_passage() -> None:
    features, drop_bar = bar_features_of("lanterns"), record("lanterns").bar_of("drop")
    nothing, everywhere = np.zeros(features.bars.count), np.ones(features.bars.count)
    assert stripped_passages(features, nothing, nothing, drop_bar)
    assert stripped_passages(features, everywhere, nothing, drop_bar) == ()
    assert stripped_passages(features, nothing, everywhere, drop_bar) == ()
