"""Help and doctor: what a person meets first."""

import json
import re
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest
import typer
from desk import Desk

from render.checks import clicks
from render.cli.app import app
from render.files.engines import engine_of

README = (Path(__file__).parents[2] / "README.md").read_text(encoding="utf-8")
COMMANDS = sorted(typer.main.get_group(app).commands)


def test_the_commands_are_those_that_the_readme_promises() -> None:
    promised = set(re.findall(r"dropkiln ([a-z]+)", README))
    assert promised <= set(COMMANDS)
    assert {"render", "check", "draft", "demo", "schema", "doctor"} <= set(COMMANDS)


def test_without_a_command_help_is_given(desk: Desk) -> None:
    alone, asked = desk.run(), desk.run("--help")
    assert (alone.status, alone.err) == (0, "")
    assert alone.out == asked.out
    assert alone.out.startswith("Usage: dropkiln [OPTIONS] COMMAND [ARGS]...")
    assert all(re.search(rf"^  {command} +[A-Z].*\.$", alone.out, re.MULTILINE) for command in COMMANDS)


@pytest.mark.parametrize("command", COMMANDS)
@pytest.mark.parametrize("option", ["--help", "-h"])
def test_every_command_has_help_with_an_example(desk: Desk, command: str, option: str) -> None:
    with desk.nothing_written():
        ended = desk.run(command, option)
    assert (ended.status, ended.err) == (0, "")
    assert ended.out.startswith(f"Usage: dropkiln {command} ")
    assert re.search(rf"^  Example: dropkiln {command}\b", ended.out, re.MULTILINE)
    documented = [line for line in ended.out.splitlines() if re.match(r"  (-\w, )?--\w", line)]
    lines = ended.out.splitlines()
    for line in documented:  # a long option has its words on the next line
        words = line.split("  ", 2)[-1] if "  " in line.strip() else lines[lines.index(line) + 1]
        assert re.search(r"[A-Z][a-z]", words), line


def test_the_options_of_render_that_the_readme_shows_are_there(desk: Desk) -> None:
    out = desk.run("render", "--help").out
    for option in ("--out", "--jobs", "--format", "--engine", "--force", "--dry-run", "--plain", "--json"):
        assert re.search(rf"^  {option}\b", out, re.MULTILINE)
    assert "Exit status: 0 all made, 1 some failed, 2 a recipe or the usage in error." in out


def test_look_says_what_becomes_of_the_pictures_of_several_tracks(desk: Desk) -> None:
    out = " ".join(desk.run("look", "--help").out.split())
    assert "--picture <file>" in out
    assert (
        "a .svg or a .png file. Of several tracks, each gets one of its own, with the track's name before"
        in out
    )


def test_the_options_of_draft_that_the_readme_shows_are_there(desk: Desk) -> None:
    out = desk.run("draft", "--help").out
    assert all(re.search(rf"^  {option}\b", out, re.MULTILINE) for option in ("--to", "--force"))


HEAVY = (
    *("numpy", "scipy", "librosa", "soundfile", "pydantic", "av", "pydub", "jinja2", "soxr", "ruamel.yaml"),
    "matplotlib",
)


def test_help_loads_nothing_heavy() -> None:
    program = (
        "import sys\n"
        "from render.cli.app import main\n"
        "sys.argv = ['dropkiln', '--help']\n"
        "try:\n    main()\n"
        f"finally:\n    print([name for name in {HEAVY} if name in sys.modules], file=sys.stderr)\n"
    )
    done = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, check=True)
    assert done.stdout.startswith("Usage: dropkiln ")
    assert done.stderr == "[]\n"


def test_doctor_says_what_is_here_and_that_it_keeps_time(desk: Desk) -> None:
    """1 ms is what a landing may be off by."""
    with desk.nothing_written():
        ended = desk.run("doctor")
    assert (ended.status, ended.err) == (0, "")
    words = [line.split(maxsplit=1) for line in ended.out.splitlines()]
    assert [word for word, _ in words][:3] == ["python", "encoder", "engine"]
    engines = [rest for word, rest in words if word == "engine"]
    assert [", serves: keeps time (worst click " in engine for engine in engines] == [True, False][
        : len(engines)
    ]
    assert all(
        re.fullmatch(r"[a-z]+ \d\S*(, serves)?: keeps time \(worst click 0\.\d\d ms\)", e) for e in engines
    )


def test_doctor_s_facts_are_json_and_a_late_engine_fails(desk: Desk, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(clicks, "click_test_ms", lambda engine: 1.5)
    late = desk.run("doctor")
    assert late.status == 1
    assert "is off by more than 1 ms (worst click 1.50 ms)" in late.out
    monkeypatch.setattr(clicks, "click_test_ms", lambda engine: float("inf"))
    lost = desk.run("doctor", "--json")
    assert (lost.status, lost.err) == (1, "")
    facts = json.loads(lost.out, parse_constant=lambda word: pytest.fail(f"{word} is no JSON"))  # RFC 8259, 6
    assert facts["keeps_time"] is False
    assert facts["engines"][0]["worst_click_ms"] is None
    assert facts["serves"] == engine_of("auto").name


def test_doctor_tells_of_an_engine_that_fails_and_of_the_others(
    desk: Desk, rubberband: Callable[[str], None]
) -> None:
    rubberband("exit 3")
    ended = desk.run("doctor")
    assert (ended.status, ended.err) == (1, "")
    assert "engine       rubberband 3.1.2, serves: fails: it ended with status 3\n" in ended.out
    assert re.search(r"^engine       signalsmith \S+: keeps time", ended.out, re.MULTILINE)


def test_doctor_without_the_executable_says_what_it_would_give(
    desk: Desk, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("PATH", "")
    engine_of.cache_clear()
    ended = desk.run("doctor")
    engine_of.cache_clear()
    assert (ended.status, ended.err) == (0, "")
    assert re.search(r"^engine       signalsmith \S+, serves: keeps time", ended.out, re.MULTILINE)
    assert "no `rubberband` of version 3 or newer on PATH; it is the finer engine" in ended.out


def test_the_demo_says_where_it_has_to_be_run(desk: Desk) -> None:
    with desk.nothing_written():
        ended = desk.run("demo")
    assert (ended.status, ended.out) == (2, "")
    assert ended.told == ["demo: there is no folder 'recipes' here; run it in the project's folder"]
