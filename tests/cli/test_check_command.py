"""`dropkiln check`: the plan as a table and as JSON, and that a closed or full output is no accident."""

import json
import os
import shutil
from pathlib import Path

import numpy as np
import pytest
import soundfile
from desk import Desk

PROJECT = Path(__file__).parents[2]

PLANNED = (
    (
        "    bpm: 140\n    first_beat: 0.5 s",
        "    bpm: 133\n    first_beat: 0.5 s\n    enter: landing - 2 beats",
    ),
    ("{drop: bar 3}\n  slate:", "{drop: bar 3, top: bar 1}\n    gain: -1.5 dB\n    key: F minor\n  slate:"),
    (
        "clip: {format: flac}",
        "low_cut: {keep: [{from: start, track: ember}, {from: landing, track: slate}]}\n"
        "jump_back: [{track: ember, at: landing + 1 bar, to: top}]",
    ),
    ("tail: 4 beats", "tail: 2 bars"),
)

# By hand. A clip beat lasts 60/140 = 0.428571 s: 12 beats are 5.142857 s, the landing is 4 beats in, at 1.714286 s.
# Ember's bar 3 is 8 beats after 0.25 s, at 3.678571 s; its bar 2, 4 beats after it, at 1.964286 s.
# Slate runs 140/133 = 1.05263 times as fast. Its bar 3 is 8 · 60/133 = 3.609023 s after 0.5 s, at 4.109023 s; two
# of its beats, 0.902256 s, before that it enters, at 3.206767 s, on bar 2.3.
PLAN = """\
test: Test
  140 BPM, 12 beats, 0:05.143, landing at 0:01.714, mp3, peak at -1 dBTP at the most

  track  BPM  tempo   pitch  gain     key
  ember  140  +0.00%  kept   -1.5 dB  F minor
  slate  133  +5.26%  kept   +0 dB    -

  beat  bars  clip      track  what                      in the record
  -4    -1    0:00.000  ember  starts                    bar 2.1  0:01.964
  -2    -0.5  0:00.857  slate  starts                    bar 2.3  0:03.207
  -2    -0.5  0:00.857  slate  low end cut below 150 Hz
  +0    +0    0:01.714  ember  drops                     bar 3.1  0:03.679
  +0    +0    0:01.714  ember  low end cut below 150 Hz
  +0    +0    0:01.714  slate  drops                     bar 3.1  0:04.109
  +0    +0    0:01.714  slate  low end back
  +4    +1    0:03.429  ember  jumps back to top         bar 1.1  0:00.250
"""


def test_the_plan_says_what_plays_when(desk: Desk) -> None:
    desk.recipe("test.yaml", *PLANNED)
    with desk.nothing_written():
        ended = desk.run("check", "test.yaml")
    assert (ended.status, ended.err) == (0, "")
    assert ended.out == PLAN


def test_the_plan_as_json_has_the_same_events(desk: Desk) -> None:
    desk.recipe("test.yaml", *PLANNED)
    ended = desk.run("check", "test.yaml", "--json")
    assert (ended.status, ended.err) == (0, "")
    facts = json.loads(ended.out)
    assert facts["faults"] == []
    (plan,) = facts["plans"]
    assert plan["name"] == "test"
    events = [(event["beat"], event["track"], event["what"]) for event in plan["events"]]
    assert events[0] == (-4.0, "ember", "starts")
    assert (0.0, "slate", "drops") in events
    assert events[-1] == (4.0, "ember", "jumps back to top")
    drop = next(event for event in plan["events"] if event["track"] == "slate" and event["what"] == "drops")
    assert (drop["clip_s"], drop["source_s"]) == pytest.approx((4 * 60 / 140, 0.5 + 8 * 60 / 133), abs=1e-4)


def test_good_recipes_are_planned_also_where_others_are_in_error(desk: Desk) -> None:
    desk.recipe("bad.yaml", ("lead: 4 beats", "lead: 4"))
    desk.recipe("good.yaml")
    text = desk.run("check", ".")
    assert (text.status, text.told) == (2, ["bad.yaml:4:7: lead: '4' has no unit; write `4 beats`"])
    assert text.out.startswith("good: Test\n")
    facts = desk.run("check", ".", "--json")
    assert (facts.status, facts.err) == (2, "")
    found = json.loads(facts.out)
    assert [plan["name"] for plan in found["plans"]] == ["good"]
    assert [(f["file"], f["line"], f["column"], f["code"]) for f in found["faults"]] == [
        ("bad.yaml", 4, 7, "no-unit")
    ]


def test_what_is_worth_knowing_of_a_plan_is_told_with_it(desk: Desk) -> None:
    """155/140 is 1.1071."""
    desk.recipe(
        "test.yaml",
        ("tempo: 140", "tempo: 155"),
        ("bpm: 140\n    first_beat: 0.5", "bpm: 150\n    first_beat: 0.5"),
    )
    ended = desk.run("check", "test.yaml")
    assert ended.status == 0
    told = [line.strip() for line in ended.out.splitlines() if line.startswith(("  warning:", "  note:"))]
    assert told[0] == "warning: ember runs +10.71%, beyond ±6 %: it will sound changed"
    assert told[-1] == "note: nobody's low end is cut; add `low_cut` where two basses meet"


def test_the_project_s_own_recipes_are_in_order(desk: Desk) -> None:
    """Over silence in the place of the demo's records; what they must state of the records, the demo's tests hold."""
    shutil.copytree(PROJECT / "recipes", desk.folder / "recipes")
    tracks = desk.folder / "out" / "demo" / "tracks"
    tracks.mkdir(parents=True)
    for name in ("ironworks", "lanterns", "quarrybread", "thimbleyard", "wickergauge"):
        soundfile.write(tracks / f"{name}.flac", np.zeros(8_000 * 240, np.int16), 8_000)
    ended = desk.run("check", "recipes")
    assert (ended.status, ended.err) == (0, "")
    names = [path.stem for path in (PROJECT / "recipes").glob("*.yaml")]
    assert len(names) >= 5
    assert all(f"\n\n{name}: " in f"\n\n{ended.out}" for name in names)


# --- the reading end ---


@pytest.mark.skipif(os.name != "posix", reason="pipes as POSIX has them")
@pytest.mark.parametrize("arguments", [("check", "test.yaml"), ("check", "test.yaml", "--json"), ("schema",)])
def test_a_reader_that_has_gone_is_no_accident(desk: Desk, arguments: tuple[str, ...]) -> None:
    """As in `dropkiln check recipes | head -1`: here the reader is gone before the first line."""
    desk.recipe("test.yaml")
    reading, writing = os.pipe()
    os.close(reading)
    ended = desk.run_apart(*arguments, stdout=writing)
    os.close(writing)
    assert (ended.status, ended.err) == (1, "")


@pytest.mark.skipif(
    not Path("/dev/full").exists(), reason="only some systems have a device that is always full"
)
def test_a_full_disk_behind_standard_output_is_told(desk: Desk) -> None:
    desk.recipe("test.yaml")
    with Path("/dev/full").open("w") as full:
        ended = desk.run_apart("check", "test.yaml", stdout=full)
    assert (ended.status, ended.told) == (1, ["standard output: the disk is full; make room there"])


def test_a_title_that_the_terminal_cannot_show_is_no_accident(desk: Desk) -> None:
    desk.recipe("test.yaml", ("title: Test", "title: 鼓 und Baß"))
    ended = desk.run_apart(
        "check", "test.yaml", env={**os.environ, "PYTHONIOENCODING": "latin-1"}, encoding="latin-1"
    )
    assert (ended.status, ended.err) == (0, "")
    assert ended.out.splitlines()[0] == "test: \\u9f13 und Baß"
