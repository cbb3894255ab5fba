"""Recipes as text for the tests of the reader, and where in a text a word stands."""

import re

from render.faults import Fault
from render.recipe.reader import Reading, faults_of, read
from render.recipe.schema import Recipe

FILE = "night/lanterns.yaml"

FULL = """\
recipe: 1                            # every key of the format
title: Lanterns over Ironworks
tempo: 174
lead: 64 beats
tail: 16 bars
tracks:
  lanterns:
    file: ../records/lanterns.flac
    bpm: 172
    first_beat: 0.312 s
    beats_per_bar: 4
    key: F minor
    offset: 25 ms
    markers:
      drop: 1:29.614
      loop: drop - 128 beats
    gain: -1.5 dB
    pitch: +1 semitone
    enter: landing - 32 beats
    leave: end - 4 beats
    fade_in: 8 beats
    fade_out: 2 bars
  ironworks:
    file: ../records/ironworks.flac
    bpm: 174.5
    first_beat: 0.2488
    markers:
      drop: bar 65
  wickergauge:
    file: ../records/wickergauge.flac
    count: double
    nudge: 4 ms
    shift: 0.5 beats
    phrase: 8 bars
    tonal_weight: 0.25
    voice: [bars 9 to 24, bar 41]
    markers:
      drop: drop 2
low_cut:
  below: 120 Hz
  keep:
    - from: start
      track: lanterns
    - from: landing
      track:
        - ironworks
jump_back:
  - track: lanterns
    at: landing
    to: loop
    loop: 32 beats
try:
  both-drop:
    jump_back: null
  short:
    lead: 32 beats
    tail: 32 beats
clip:
  format: opus
  ceiling: -1.5 dBTP
"""

LEAST = """\
recipe: 1
title: Two records
tracks:
  one: {file: one.wav, bpm: 170, first_beat: 0 s, markers: {drop: 60 s}}
  two: {file: two.wav, bpm: 175, first_beat: 0 s, markers: {drop: 60 s}}
"""


def readings(text: str) -> dict[str, Reading]:
    """What was read, by variant; the recipe as written under the empty name."""
    return {reading.variant: reading for reading in read(text, FILE)}


def recipe(text: str, variant: str = "") -> Recipe:
    """A recipe without problems."""
    reading = readings(text)[variant]
    assert not reading.problems, reading.problems
    assert reading.recipe is not None
    return reading.recipe


def faults(text: str) -> list[Fault]:
    return faults_of(read(text, FILE))


def fault(text: str) -> Fault:
    """The only fault of a text."""
    found = faults(text)
    assert len(found) == 1, [str(one) for one in found]
    return found[0]


def changed(old: str, new: str, text: str = FULL) -> str:
    """The text with something in it replaced, which must stand there once."""
    assert text.count(old) == 1, f"{text.count(old)} times {old!r}"
    return text.replace(old, new)


def place(text: str, word: str, nth: int = 1) -> tuple[int, int]:
    """Line and column, from 1, of the nth occurrence of a word as a person would count them."""
    at = [found.start() for found in re.finditer(re.escape(word), text)][nth - 1]
    before = text[:at].split("\n")
    return len(before), len(before[-1]) + 1


def place_of(one: Fault) -> tuple[int, int]:
    return one.line, one.column
