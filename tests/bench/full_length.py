"""A clip of full length over two of the demo's records: two lanes and 128 beats at 174 BPM, 44 s."""

from pathlib import Path

import soundfile

from render.demo.records import RECORDS, render_record

ROUNDS = {"rubberband": 5, "signalsmith": 15}
"""How often it is made and measured: about as long with either engine."""

FULL_LENGTH = """\
recipe: 1
title: Cost of a clip
tempo: 174
tracks:
  lanterns:
    file: tracks/lanterns.flac
    bpm: 172
    first_beat: 0.312 s
    markers: {drop: bar 65}
  ironworks:
    file: tracks/ironworks.flac
    bpm: 174.5
    first_beat: 0.2488 s
    markers: {drop: bar 49}
low_cut:
  keep: [{from: start, track: lanterns}, {from: landing, track: ironworks}]
"""


def full_length_folder(folder: Path) -> None:
    """A folder with the two records, the recipe `cost.yaml` over them, and an empty one for clips."""
    (folder / "tracks").mkdir(parents=True)
    (folder / "clips").mkdir()
    for demo in RECORDS:
        if demo.name in ("lanterns", "ironworks"):
            sound, rate_hz = render_record(demo)
            soundfile.write(folder / "tracks" / f"{demo.name}.flac", sound, rate_hz)
    (folder / "cost.yaml").write_text(FULL_LENGTH, encoding="utf-8")
