"""Recorded drum loops, layered in pairs: every drop and every beat lands, with either engine.

A loop is tiled to 40 s, so its grid is exact. Each lane is measured in the clip itself with the other lane turned
down, by the measure in `attack_lag`, and by the program, as the receipt tells.
"""

from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile
from attack_lag import Beat, Heard, Lags
from recorded_material import (
    ENGINES,
    LEAD_BEATS,
    LOOPS,
    NEEDS_RUBBERBAND,
    RATE_HZ,
    TAIL_BEATS,
    Clip,
    Loop,
    clip_of,
    track_lines,
    write_recipe,
)

from render.files.engines import EngineChoice

pytestmark = pytest.mark.debian

LANDING_MS = 1.0
MEDIAN_LANDING_MS = 0.3
WORST_BEAT_MS = 2.0
"""What the program promises. Two hits are heard apart from about 5 ms on (common practice)."""


@dataclass(frozen=True)
class Layer:
    """A loop as it is layered: counted at `counted` times its tempo, which leaves the sound as it is.

    Beats are the loop's own, from the start of the tiled record. From the landing on it repeats `loop_beats` beats
    from `loop_from_beat` on, where that is given.
    """

    loop: Loop
    drop_beat: int = 32
    counted: float = 1.0
    loop_from_beat: int | None = None
    loop_beats: int = 8

    @property
    def track(self) -> str:
        return self.loop.name

    @property
    def alone(self) -> str:
        """The variant in which it is heard alone; variants have no underscores."""
        return f"{self.track.replace('_', '-')}-alone"

    def source_s(self, clip_beat: int) -> float:
        """Where in the tiled loop a beat of the clip lies, counted from the landing."""
        beat = self.drop_beat + clip_beat
        if self.loop_from_beat is not None and clip_beat >= 0:
            beat = self.loop_from_beat + clip_beat % self.loop_beats
        return beat * self.loop.beat_s

    def lines(self, folder: Path, loops: Path, kind: str) -> str:
        """Its lines in a recipe; the tiled loop is written to `folder`."""
        file = folder / f"{self.track}.{kind}"
        soundfile.write(file, self.loop.tiled(loops), RATE_HZ, subtype="PCM_16")
        markers = f"drop: {self.drop_beat * self.loop.beat_s:.9f} s"
        if self.loop_from_beat is not None:
            markers += f", loop: {self.loop_from_beat * self.loop.beat_s:.9f} s"
        tempo_bpm = self.loop.tempo_bpm * self.counted
        return track_lines(self.track, file, tempo_bpm, 0.0, markers=f"{{{markers}}}")


@dataclass(frozen=True)
class Pair:
    """Two loops over each other at a tempo between theirs, or beyond."""

    tempo_bpm: float
    lower: Layer
    upper: Layer
    rest: str = ""

    @property
    def layers(self) -> tuple[Layer, Layer]:
        return self.lower, self.upper

    def __str__(self) -> str:
        return " over ".join(
            f"{one.track.removeprefix('loop_')}{self.speed(one) - 1:+.1%}" for one in self.layers
        )

    def speed(self, one: Layer) -> float:
        return self.tempo_bpm / one.loop.tempo_bpm

    def recipe(self, folder: Path, loops: Path) -> Path:
        tracks = [self.lower.lines(folder, loops, "flac"), self.upper.lines(folder, loops, "wav")]
        alone = "".join(
            f"  {one.alone}: {{tracks: {{{other.track}: {{gain: -60 dB}}}}}}\n"
            for one, other in (self.layers, self.layers[::-1])
        )
        return write_recipe(folder, *tracks, rest=f"tempo: {self.tempo_bpm}\n{self.rest}\ntry:\n{alone}")


def layer(name: str, **more: float) -> Layer:
    return Layer(LOOPS[f"loop_{name}"], **more)  # type: ignore[arg-type]


PAIRS = [Pair(133.0, layer("amen_full"), layer("breakbeat"))]
MORE_PAIRS = [
    Pair(143.0, layer("compus"), layer("amen_full")),
    Pair(128.0, layer("amen"), layer("industrial")),
    Pair(
        129.0,
        layer("breakbeat", loop_from_beat=20),
        layer("mika"),
        rest="jump_back: [{track: loop_breakbeat, at: landing, to: loop, loop: 8 beats}]",
    ),
    Pair(129.0, layer("garzul"), layer("breakbeat")),
    Pair(129.6, layer("mika"), layer("garzul")),
    Pair(138.0, layer("industrial"), layer("compus")),
    Pair(104.0, layer("mehackit2"), layer("perc1")),
    Pair(91.0, layer("perc1"), layer("mehackit2")),
    # 16 beats counted as 8: half time under a record that is nearly as fast.
    Pair(144.0, layer("compus"), layer("amen_full", counted=0.5)),
    # 4 beats counted as 8: double time.
    Pair(102.0, layer("mehackit2"), layer("perc1", counted=2.0)),
    Pair(
        133.0,
        layer("amen_full", loop_from_beat=20),
        layer("breakbeat"),
        rest="jump_back: [{track: loop_amen_full, at: landing, to: loop, loop: 8 beats}]",
    ),
]
BEATS = range(-LEAD_BEATS + 1, TAIL_BEATS - 1)
"""Those whose surroundings lie within the clip."""


def lags_of(clip: Clip, pair: Pair, one: Layer, loops: Path) -> Lags:
    """How late a loop is in the clip in which it is heard alone."""
    audio, rate_hz = clip.sound()
    source = one.loop.tiled(loops).mean(axis=1)
    beats = [Beat(clip.landing_s + beat * 60.0 / pair.tempo_bpm, one.source_s(beat)) for beat in BEATS]
    return Heard(audio.mean(axis=1), rate_hz, source, RATE_HZ, pair.speed(one)).lags(beats)


@pytest.mark.parametrize(
    ("pair", "choice"),
    [
        *(pytest.param(pair, "signalsmith", id=f"{pair} signalsmith") for pair in PAIRS),
        *(
            pytest.param(pair, "rubberband", id=f"{pair} rubberband", marks=NEEDS_RUBBERBAND)
            for pair in PAIRS
        ),
        *(
            pytest.param(pair, choice, id=f"{pair} {choice}", marks=[pytest.mark.slow, *marks])
            for pair in MORE_PAIRS
            for choice, marks in (("signalsmith", []), ("rubberband", [NEEDS_RUBBERBAND]))
        ),
    ],
)
def test_both_lanes_of_a_pair_land(tmp_path, loop_folder, pair: Pair, choice: EngineChoice):
    """By the tests' own measure, in the clip. All beats of a lane together always tell; a single one where its
    attack is clear."""
    recipe = pair.recipe(tmp_path, loop_folder)
    for one in pair.layers:
        clip = clip_of(recipe, choice, one.alone)
        assert clip.receipt["engine"] == choice
        lags = lags_of(clip, pair, one, loop_folder)
        assert lags.common == pytest.approx(0.0, abs=LANDING_MS), one.track
        assert abs(lags.beats[BEATS.index(0)] or 0.0) <= LANDING_MS, one.track
        assert max(map(abs, lags.told), default=0.0) <= WORST_BEAT_MS, one.track


def tracks_of_all_pairs(folder: Path, loop_folder: Path, choice: EngineChoice) -> dict[str, dict[str, Any]]:
    """What the receipts of all pairs say of each track, by pair and track."""
    told = {}
    for number, pair in enumerate([*PAIRS, *MORE_PAIRS]):
        place = folder / str(number)
        place.mkdir()
        clip = clip_of(pair.recipe(place, loop_folder), choice)
        told |= {f"{number} {pair}, {track['name']}": track for track in clip.receipt["tracks"]}
    return told


@pytest.mark.slow
@pytest.mark.parametrize("choice", ENGINES)
def test_the_receipts_tell_that_the_lanes_of_all_pairs_lie_right(tmp_path, loop_folder, choice: EngineChoice):
    """All beats of a lane together where eight or more are clear, and the median of the landings."""
    told = tracks_of_all_pairs(tmp_path, loop_folder, choice)
    common = {name: t["common_error_ms"] for name, t in told.items() if t["common_error_ms"] is not None}
    assert len(common) >= len(told) / 2
    assert {name: ms for name, ms in common.items() if abs(ms) > LANDING_MS} == {}
    landings = [abs(t["landing_error_ms"]) for t in told.values() if t["landing_error_ms"] is not None]
    assert np.median(landings) <= MEDIAN_LANDING_MS


@pytest.mark.slow
@pytest.mark.xfail(
    reason="single beats are misread where a kick starts inside a ringing bass or two hits lie 8 ms apart; the "
    "measure of these tests contradicts about half of such readings and cannot tell the others"
)
@pytest.mark.parametrize("choice", ENGINES)
def test_the_receipts_tell_no_beat_of_any_pair_off(tmp_path, loop_folder, choice: EngineChoice):
    misses = [
        f"{name}: landing {t['landing_error_ms']} ms, worst beat {t['worst_beat_ms']} ms"
        for name, t in tracks_of_all_pairs(tmp_path, loop_folder, choice).items()
        if abs(t["landing_error_ms"] or 0.0) > LANDING_MS or (t["worst_beat_ms"] or 0.0) > WORST_BEAT_MS
    ]
    assert not misses, "\n".join(misses)
