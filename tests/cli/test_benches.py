"""The benches can be asked for, and answer in rows. How long they find that things take is not checked here."""

import re
import subprocess
import sys
from importlib.util import find_spec
from pathlib import Path

import pytest

from tests.bench import __main__ as bench
from tests.bench.plain_pipeline import lane_filters, of_lanes
from tests.bench.previews import of_clicks
from tests.bench.rows import HEAD, CannotRun, Load, Row
from tests.fuzz.guiding import HERE

ROOT = Path(__file__).parents[2]


def run(*arguments: str | Path) -> "subprocess.CompletedProcess[str]":
    command = [sys.executable, "-m", "tests.bench", *map(str, arguments)]
    return subprocess.run(command, cwd=ROOT, capture_output=True, text=True, timeout=100, check=False)


def test_help_lists_every_part():
    ended = run("--help")
    assert ended.returncode == 0
    for part in bench.PARTS:
        assert re.search(rf"^  {part} +\w", ended.stdout, re.MULTILINE), part


def test_every_part_is_a_module():
    assert [part for part, (module, _) in bench.PARTS.items() if not find_spec(module)] == []


def test_an_unknown_part_is_told_with_those_that_there_are():
    ended = run("startup")
    assert ended.returncode == 2
    assert "there is no part 'startup'; there are start-up, clip," in ended.stderr


def test_the_cheapest_part_makes_well_formed_rows_and_writes_them_down(tmp_path):
    """A table of GitHub Flavored Markdown (0.29, section 4.10): as many cells in each row as in its head."""
    ended = run("start-up", "--quick", "--to", tmp_path / "table.md")
    assert ended.returncode == 0, ended.stderr
    assert (tmp_path / "table.md").read_text(encoding="utf-8") == ended.stdout
    head, rule, *rows = ended.stdout.splitlines()
    assert f"{head}\n{rule}" == HEAD
    assert len(rows) == 2
    for row in rows:
        cells = [cell.strip() for cell in row.strip("|").split("|")]
        assert len(cells) == 4 and cells[0] and cells[1]
        assert re.fullmatch(r"\d+\.\d( to \d+\.\d)?", cells[3])
    assert re.search(r"\| \d\.\d\d s \(least \d\.\d\d\), \d+\.\d × a bare Python \| ≤ 0\.3 s \|", rows[0])


@pytest.mark.slow
@pytest.mark.parametrize(
    ("typed", "told"),
    [
        pytest.param(
            "tests.fuzz position --seconds 1",
            r"position .* inputs .* 0 findings\n",
            marks=pytest.mark.skipif(not HERE, reason="atheris exists for Linux on x86-64 only"),
        ),
        ("tests.mutations headroom", r"1 of 1 mutations were noticed\n$"),
        ("tests.ground_truth.scoreboard --sets tape --quick --no-library", r"\| records +\| +\d"),
        ("tests.bench.night --quick unchanged", r"\| 200 unchanged clips recognised.* s of one core \|"),
    ],
)
def test_what_measures_and_searches_can_be_typed(typed: str, told: str) -> None:
    """What the other benches do takes minutes; they are loaded by the tests of the documents."""
    command = [sys.executable, "-m", *typed.split()]
    ended = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, timeout=600, check=False)
    assert ended.returncode == 0, ended.stderr
    assert re.search(told, ended.stdout), ended.stdout


def test_a_bar_or_a_line_end_in_a_cell_does_not_break_the_table():
    assert str(Row("a | b", "c\nd", "", Load(1.0, 2.0))) == "| a \\| b | c d |  | 1.0 to 2.0 |"


def test_a_part_that_cannot_run_says_so_and_the_next_one_runs(monkeypatch, capsys):
    def missing(quick):
        raise CannotRun("no abacus here")
        yield

    def broken(quick):
        yield Row("first", "1", "", Load(0.0))
        raise ValueError("a bead fell off")

    found = {"one": missing, "two": broken, "three": lambda quick: [Row("last", str(quick), "", Load(0.0))]}
    monkeypatch.setattr(bench, "PARTS", {name: (name, "") for name in found})
    monkeypatch.setattr(
        bench, "import_module", lambda name: type("Part", (), {"rows": staticmethod(found[name])})
    )
    monkeypatch.setattr(sys, "argv", ["bench", "--quick"])
    assert bench.main() == 1
    told = [row.split(" | ")[:2] for row in capsys.readouterr().out.splitlines()[2:]]
    assert told == [
        ["| one", "not measured: no abacus here"],
        ["| first", "1"],
        ["| two", "failed: ValueError: a bead fell off"],
        ["| last", "True"],
    ]


def test_the_plain_command_is_given_the_recipe_s_own_times(tmp_path):
    """By hand: 16 beats at 136 BPM after 0.25 s are 7.308824 s, 80 are 35.544118 s; 32 beats at 140 are 13.714286 s."""
    preview = of_clicks(tmp_path / "clicks")
    filters = lane_filters(preview, preview.records[0])
    assert filters.startswith("atrim=start=7.308824:end=35.544118,asetpts=PTS-STARTPTS,")
    assert "=tempo=1.029411765," in filters
    assert filters.endswith("highpass=f=150:enable='gte(t,13.714286)'")
    assert lane_filters(preview, preview.records[1]).endswith(":enable='lt(t,13.714286)'")


def test_lanes_that_are_late_together_are_told_apart_from_lanes_that_part():
    assert of_lanes({"a": 5.0, "b": 5.1}) == "a +5.00 ms, b +5.10 ms; 0.10 ms apart"
    assert of_lanes({"a": 1.0, "b": -2.0}) == "a +1.00 ms, b -2.00 ms; 3.00 ms apart"
    assert of_lanes({"a": 1.0, "b": None}) == "a +1.00 ms, b not clear"
