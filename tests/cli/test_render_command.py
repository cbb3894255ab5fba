"""`dropkiln render`: what it makes, what it says, where it says it, and how it ends."""

import json
import re
from pathlib import Path

import pytest
from desk import EMBER, RATE_HZ, SLATE, STRETCHED, Desk


@pytest.fixture
def mixed(desk: Desk) -> Desk:
    """Two good recipes, one over silent records, and one over a record that breaks off where it is needed."""
    desk.sound("silence.wav", EMBER * 0)
    broken = desk.sound("broken.flac", SLATE)
    broken.write_bytes(broken.read_bytes()[: broken.stat().st_size // 2])
    desk.recipe("set/broken.yaml", ("ember.wav", "../ember.wav"), ("slate.wav", "../broken.flac"))
    desk.recipe("set/good.yaml", ("ember.wav", "../ember.wav"), ("slate.wav", "../slate.wav"), STRETCHED)
    desk.recipe("set/silent.yaml", ("ember.wav", "../silence.wav"), ("slate.wav", "../silence.wav"))
    desk.recipe("set/whole.yaml", ("ember.wav", "../ember.wav"), ("slate.wav", "../slate.wav"))
    return desk


OUTCOMES = {"broken": "failed", "good": "made", "silent": "refused", "whole": "made"}
MADE = sorted(f"{name}.{ending}" for name in ("good", "whole") for ending in ("flac", "json", "svg"))


def test_one_clip_s_failure_is_its_own(mixed: Desk) -> None:
    ended = mixed.run("render", "set", "--plain")
    assert (ended.status, ended.out) == (1, "")
    assert ended.outcomes == OUTCOMES
    assert ended.told[0].startswith(
        f"failed    broken  {mixed.folder}/broken.flac: it is damaged or cut short"
    )
    assert ended.told[2].startswith("refused   silent  The mix is silent.")
    assert mixed.clips() == ["broken.log", *MADE]
    mixed.assert_whole("good")
    mixed.assert_whole("whole")


def test_json_is_all_there_is_on_standard_output(mixed: Desk) -> None:
    ended = mixed.run("render", "set", "--json")
    assert ended.status == 1
    results = {result["name"]: result for result in json.loads(ended.out)}
    assert {name: result["outcome"] for name, result in results.items()} == OUTCOMES
    assert len(ended.told) == 4
    assert (mixed.folder / results["good"]["clip"]).is_file()
    assert (mixed.folder / results["good"]["receipt"]).is_file()
    assert {"silence"} <= {finding["code"] for finding in results["silent"]["findings"]}
    assert results["broken"]["ours"] is False
    assert "get a whole copy of it" in results["broken"]["reason"]


@pytest.mark.slow
def test_two_jobs_make_the_same_samples_as_one_and_fail_the_same_clips(mixed: Desk) -> None:
    alone = mixed.run("render", "set", "--jobs", "1", "--out", "one")
    both = mixed.run("render", "set", "--jobs", "2", "--out", "two")
    assert (alone.status, both.status) == (1, 1)
    assert alone.outcomes == both.outcomes == OUTCOMES
    assert mixed.clips("one") == mixed.clips("two") == ["broken.log", *MADE]
    for name in ("good", "whole"):
        assert mixed.receipt(name, "one")["pcm_sha256"] == mixed.receipt(name, "two")["pcm_sha256"]
        mixed.assert_whole(name, "two")


@pytest.mark.slow
def test_a_run_as_a_process_of_its_own_ends_and_tells_the_same(desk: Desk) -> None:
    desk.recipe("test.yaml")
    ended = desk.run_apart("render", "test.yaml", "--engine", "signalsmith")
    assert (ended.status, ended.out) == (0, "")
    assert ended.told == ["made      test  out/clips/test.flac"]
    desk.assert_whole("test")


def test_a_made_clip_s_line_counts_its_warnings(desk: Desk) -> None:
    """Two basses at once are one of them; the receipt has their words."""
    desk.recipe("test.yaml")
    desk.recipe("quiet.yaml", ("clip:", "low_cut: {keep: [{from: start, track: ember}]}\nclip:"))
    ended = desk.run("render", ".")
    for name, line in zip(("quiet", "test"), ended.lines, strict=True):
        levels = [finding["level"] for finding in desk.receipt(name)["findings"]]
        count = levels.count("warning")
        plural = "" if count == 1 else "s"
        assert line.removeprefix(f"made      {name}  out/clips/{name}.flac") == (
            f"  ({count} warning{plural})" if count else ""
        )
    codes = [finding["code"] for finding in desk.receipt("test")["findings"] if finding["level"] == "warning"]
    assert "low-end-overlap" in codes


def test_a_second_run_keeps_what_is_there_and_force_makes_it_again(desk: Desk) -> None:
    desk.recipe("test.yaml")
    clip = desk.folder / "out" / "clips" / "test.flac"
    assert desk.run("render", "test.yaml").outcomes == {"test": "made"}
    first, samples = clip.stat(), desk.receipt("test")["pcm_sha256"]
    ended = desk.run("render", "test.yaml", "--json")
    assert (ended.status, ended.told) == (0, ["kept      test  out/clips/test.flac"])
    assert [result["outcome"] for result in json.loads(ended.out)] == ["kept"]
    assert clip.stat().st_ino == first.st_ino
    ended = desk.run("render", "test.yaml", "--force")
    assert (ended.status, ended.outcomes) == (0, {"test": "made"})
    assert clip.stat().st_ino != first.st_ino
    assert desk.receipt("test")["pcm_sha256"] == samples


def test_a_changed_recipe_is_made_again(desk: Desk) -> None:
    desk.recipe("test.yaml")
    desk.run("render", "test.yaml")
    desk.recipe("test.yaml", ("tail: 4 beats", "tail: 3 beats"))
    assert desk.run("render", "test.yaml").outcomes == {"test": "made"}
    assert desk.receipt("test")["duration_s"] == pytest.approx(7 * 60 / 140, abs=1 / RATE_HZ)


def test_variants_are_clips_of_their_own(desk: Desk) -> None:
    desk.recipe(
        "test.yaml", ("clip:", "try: {dry: {tail: 2 beats}, loud: {tracks: {ember: {gain: 3 dB}}}}\nclip:")
    )
    ended = desk.run("render", "test.yaml")
    assert ended.outcomes == {"test": "made", "test--dry": "made", "test--loud": "made"}
    assert desk.receipt("test--dry")["variant"] == "dry"
    for name in ended.outcomes:
        desk.assert_whole(name)


@pytest.mark.parametrize("form", ["mp3", "opus", "wav"])
def test_the_format_of_the_command_line_is_instead_of_the_recipe_s(desk: Desk, form: str) -> None:
    desk.recipe("test.yaml")
    assert desk.run("render", "test.yaml", "--format", form).status == 0
    assert desk.clips() == sorted([f"test.{form}", "test.json", "test.svg"])
    desk.assert_whole("test")


def test_a_dry_run_lists_and_makes_nothing(desk: Desk, monkeypatch: pytest.MonkeyPatch) -> None:
    """4 + 4 beats at 140 BPM last 8 · 60/140 = 3.4286 s, 2 + 4 last 2.571 s."""
    cache = desk.folder.parent / "cache"
    monkeypatch.setenv("DROPKILN_CACHE", str(cache))
    desk.recipe("test.yaml", ("clip:", "try: {dry: {tail: 2 beats}}\nclip:"))
    with desk.nothing_written():
        lines = desk.run("render", "test.yaml", "--dry-run", "--format", "opus")
        facts = desk.run("render", "test.yaml", "--dry-run", "--json")
    assert (lines.status, lines.err) == (0, "")
    *clips, cost = lines.out.splitlines()
    assert clips == ["test.opus  3.4 s at 140 BPM", "test--dry.opus  2.6 s at 140 BPM"]
    assert cost.startswith("to make: 2 clips, 6 s of sound; estimated from what clips usually cost: about ")
    assert re.search(r", \d\.\d MB, and \d\.\d MB in the cache$", cost)
    assert (facts.status, facts.err) == (0, "")
    asked = json.loads(facts.out)
    assert [(one["name"], one["clip"], one["tempo_bpm"]) for one in asked] == [
        ("test", "test.flac", 140),
        ("test--dry", "test--dry.flac", 140),
    ]
    assert [one["duration_s"] for one in asked] == pytest.approx([24 / 7, 18 / 7], abs=1 / RATE_HZ)
    assert [(one["kept"], one["passages"], one["passages_cached"]) for one in asked] == [(False, 2, 0)] * 2
    assert not (cache / "sounds").exists()


def test_a_night_of_several_folders_goes_to_one(desk: Desk) -> None:
    for name in ("one/a.yaml", "two/b.yaml"):
        desk.recipe(name, ("ember.wav", "../ember.wav"), ("slate.wav", "../slate.wav"))
    ended = desk.run("render", "one", "two/b.yaml", "--out", "deep/er")
    assert ended.status == 0
    assert [Path(name).suffix for name in desk.clips("deep/er")] == [".flac", ".json", ".svg"] * 2


MISUSE = {
    (): "dropkiln render: Missing argument 'paths'",
    ("test.yaml", "--fast"): "dropkiln render: No such option: --fast",
    ("test.yaml", "--format", "ogg"): "dropkiln render: Invalid value for '--format': 'ogg' is not one of",
    ("test.yaml", "--engine", "best"): "dropkiln render: Invalid value for '--engine': 'best' is not one of",
    (
        "test.yaml",
        "--jobs",
        "-1",
    ): "dropkiln render: Invalid value for '--jobs': '-1' is not a number of clips",
    (
        "test.yaml",
        "--jobs",
        "two",
    ): "dropkiln render: Invalid value for '--jobs': 'two' is not a number of clips",
    ("test.yaml", "--out"): "dropkiln: Option '--out' requires an argument",
}


@pytest.mark.parametrize("arguments", MISUSE)
def test_a_call_that_cannot_work_is_told_in_one_line_and_makes_nothing(
    desk: Desk, arguments: tuple[str, ...]
) -> None:
    desk.recipe("test.yaml")
    with desk.nothing_written():
        ended = desk.run("render", *arguments)
    assert (ended.status, ended.out, len(ended.told)) == (2, "", 1)
    assert ended.told[0].startswith(MISUSE[arguments])
    command = ended.told[0].partition(":")[0]
    assert ended.told[0].endswith(f"; `{command} --help` tells how it is called")


def test_a_command_that_there_is_not(desk: Desk) -> None:
    ended = desk.run("rendr", "test.yaml")
    assert (ended.status, ended.out) == (2, "")
    assert ended.told == [
        "dropkiln: No such command 'rendr'. Did you mean 'render'?; `dropkiln --help` tells how it is called"
    ]
