"""Pictures of made-up plans, and what can be read off them."""

import re
from xml.etree import ElementTree
from xml.etree.ElementTree import Element

from render.facts import Recording, TrackFacts
from render.plan.build import plan_clip
from render.plan.model import ClipPlan
from render.publish.picture import Energies, picture_svg
from render.recipe.known import track_facts
from render.recipe.reader import read

SVG = "{http://www.w3.org/2000/svg}"
UNIT_DIGITS = 0.05
"""Coordinates are written to two decimals, and a scale read off two of them is as much off at its ends."""

TWO = """
recipe: 1
title: Lanterns over Ironworks
tempo: 174
lead: 64 beats
tail: 96 beats
tracks:
  lanterns:
    file: lanterns.flac
    bpm: 172
    first_beat: 0.312 s
    markers: {drop: 1:29.614, loop: drop - 128 beats}
    key: F minor
    gain: -1.5 dB
  ironworks:
    file: ironworks.flac
    bpm: 175.5
    first_beat: 0.5 s
    markers: {drop: 1:40.0}
    enter: landing - 32 beats
    fade_in: 8 beats
    pitch: +1 semitone
low_cut:
  below: 150 Hz
  keep:
    - {from: start, track: lanterns}
    - {from: landing, track: ironworks}
jump_back:
  - {track: lanterns, at: landing, to: loop, loop: 32 beats}
"""
FOUR = """
recipe: 1
title: Four kilns, one night
tempo: 174
lead: 256 beats
tail: 256 beats
tracks:
  ember: {file: a, bpm: 172, first_beat: 0, markers: {drop: 2:29.0, drums: drop - 64 beats}, key: Bb major}
  half: {file: b, bpm: 87, first_beat: 0, markers: {drop: 2:40.0}, pitch: follow, fade_out: 32 beats}
  glaze: {file: c, bpm: 170, first_beat: 0, markers: {drop: 2:45.0}, enter: landing - 128 beats, fade_in: 64 beats}
  ash: {file: d, bpm: 174, first_beat: 0, markers: {drop: 2:40.0}, leave: landing + 192 beats, pitch: follow}
low_cut:
  keep:
    - {from: start, track: ember}
    - {from: landing - 8 beats, track: none}
    - {from: landing, track: [glaze, ash]}
jump_back:
  - {track: ember, at: landing, to: drums, loop: 1 beat}
  - {track: glaze, at: landing + 250 beats, to: drop}
"""
SHORT = """
recipe: 1
title: Spark
tempo: 120
lead: 8 beats
tail: 8 beats
tracks:
  flint: {file: a, bpm: 120, first_beat: 0, markers: {drop: bar 17}}
  steel: {file: b, bpm: 120, first_beat: 0, markers: {drop: bar 17}}
"""
LATE = SHORT.replace("lead: 8 beats", "lead: 64 beats").replace("tail: 8 beats", "tail: 1 beat")
EARLY = SHORT.replace("lead: 8 beats", "lead: 0 beats").replace("tail: 8 beats", "tail: 32 beats")
RECIPES = {"two": TWO, "four": FOUR, "short": SHORT, "late": LATE, "early": EARLY}


def planned(recipe: str) -> tuple[ClipPlan, dict[str, TrackFacts]]:
    [reading] = read(recipe, "night.yaml")
    assert reading.recipe is not None and not reading.problems
    recording = Recording("made-up.flac", "FLAC", 44_100, 2, 44_100 * 420, 1)
    facts = {name: track_facts(reading.recipe, name, recording) for name in reading.recipe.tracks}
    return plan_clip(reading.recipe, facts, "night"), facts


def levelled(plan: ClipPlan, lane_db: float = -12.0, mix_db: float = -9.0) -> Energies:
    beats = round(plan.clock.lead_beats + plan.clock.tail_beats)
    return Energies({lane.track: [lane_db] * beats for lane in plan.lanes}, [mix_db] * beats)


def drawn(recipe: str) -> tuple[ClipPlan, Element]:
    plan, facts = planned(recipe)
    return plan, ElementTree.fromstring(picture_svg(plan, facts, levelled(plan)))


def of_class(tree: Element, name: str) -> list[Element]:
    return [element for element in tree.iter() if name in element.get("class", "").split()]


def lane_of(tree: Element, track: str) -> Element:
    [lane] = [lane for lane in of_class(tree, "lane") if lane.get("data-track") == track]
    return lane


def corners(path: Element) -> list[tuple[float, float]]:
    """The corners of a path that is written with absolute M, L, H and V."""
    x = y = 0.0
    found = []
    for command, rest in re.findall(r"([A-Za-z])([^A-Za-z]*)", path.get("d", "")):
        values = [float(value) for value in rest.split()]
        match command:
            case "M" | "L":
                x, y = values
            case "H":
                [x] = values
            case "V":
                [y] = values
            case "Z":
                continue
            case _:
                raise AssertionError(f"unexpected command {command}")
        found.append((x, y))
    return found


def extent(element: Element) -> tuple[float, float]:
    """From where to where an element reaches across the picture, its line's thickness included."""
    if element.tag == f"{SVG}rect":
        return float(element.attrib["x"]), float(element.attrib["x"]) + float(element.attrib["width"])
    half = float(element.get("stroke-width", "0")) / 2
    across = [x for x, _ in corners(element)]
    return min(across) - half, max(across) + half


def beat_places(plan: ClipPlan, tree: Element) -> tuple[float, float]:
    """Where the clip starts, and units of a beat: from the numbers on the axis."""
    [axis] = of_class(tree, "axis")
    written = {}
    for number in axis:
        if number.get("text-anchor") is None:
            written[float(str(number.text).replace("−", "-"))] = float(number.attrib["x"])
    (beat, x), (other_beat, other_x) = sorted(written.items())[0], sorted(written.items())[-1]
    unit = (other_x - x) / (other_beat - beat)
    return x - (beat + plan.clock.lead_beats) * unit, unit


def texts(tree: Element) -> list[str]:
    return ["".join(element.itertext()) for element in tree.iter(f"{SVG}text")]
