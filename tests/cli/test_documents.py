"""What README.md and DEVELOPERS.md name is there: commands, options, files, functions, recipes, and tests of claims."""

import re
import subprocess
import sys
import tomllib
from collections import defaultdict
from importlib.util import find_spec
from pathlib import Path

import pytest
import typer

from render.cli.app import app
from render.files.shelf import sounds_limit_bytes
from render.recipe.reader import read

ROOT = Path(__file__).parents[2]
README, DEVELOPERS = ((ROOT / name).read_text(encoding="utf-8") for name in ("README.md", "DEVELOPERS.md"))
CI = {name: (ROOT / ".ci" / name).read_text(encoding="utf-8") for name in ("run", "check", "newcomer")}
COMMANDS = typer.main.get_group(app).commands
OPTIONS = {
    name: {"--help", *(option for param in command.params for option in (*param.opts, *param.secondary_opts))}
    for name, command in COMMANDS.items()
}
MODULES = sorted(set(re.findall(r"python -m (tests[\w.]*)", README + DEVELOPERS)))

each_document = pytest.mark.parametrize("text", [README, DEVELOPERS], ids=["README", "DEVELOPERS"])


def blocks(text: str, kind: str) -> list[str]:
    fenced = re.findall(r"^```(.*)\n((?s:.*?))^```$", text, re.MULTILINE)
    return [block for its_kind, block in fenced if its_kind == kind]


def source_of(module: str) -> Path:
    """The file that `python -m` runs."""
    path = ROOT.joinpath(*module.split("."))
    return path / "__main__.py" if path.is_dir() else path.with_suffix(".py")


# --- commands ---


@each_document
def test_every_option_that_is_shown_with_a_command_is_one_of_that_command(text: str) -> None:
    shown = re.findall(r"\bdropkiln ([a-z]+)\b([^\n`#]*)", text)
    assert [command for command, _ in shown if command not in COMMANDS] == []
    wrong = [
        (command, option)
        for command, rest in shown
        for option in re.findall(r"(?<=\s)--?[a-z][a-z-]*", rest)
        if option not in OPTIONS[command]
    ]
    assert wrong == []
    assert shown or text is DEVELOPERS


@each_document
def test_every_option_that_is_named_alone_is_one_of_something_that_is_named(text: str) -> None:
    ours = set().union(*OPTIONS.values())
    others = "".join(path.read_text(encoding="utf-8") for path in map(source_of, MODULES))
    others += (ROOT / "tests/conftest.py").read_text(encoding="utf-8")
    named = set(re.findall(r"`(--[a-z][a-z-]*)", text))
    assert len(named) > 3
    assert [option for option in sorted(named - ours) if text is README or f'"{option}"' not in others] == []


def test_what_the_readme_says_to_type_first_is_what_ci_types_in_an_empty_clone() -> None:
    [setup] = blocks(README, "sh setup")
    assert len(setup.splitlines()) == 2
    assert "/^```sh setup$/,/^```$/" in CI["newcomer"]
    assert "\nbash .ci/newcomer" in CI["run"]


def test_what_developers_are_told_to_type_is_what_ci_types() -> None:
    [typed] = blocks(DEVELOPERS, "sh")
    lines = [part for line in typed.splitlines() for part in line.split(" && ")]
    assert len(lines) == 3
    assert [line for line in lines if line not in CI["run"]] == []


def test_every_module_that_is_said_to_run_is_one_that_runs() -> None:
    assert len(MODULES) > 3
    assert [module for module in MODULES if not find_spec(module)] == []
    assert [
        module for module in MODULES if '__name__ == "__main__"' not in source_of(module).read_text()
    ] == []


@pytest.mark.slow
def test_every_module_that_is_said_to_run_can_be_loaded() -> None:
    """Loaded only: how long they run, nobody waits for here."""
    command = [sys.executable, "-c", f"import {', '.join(MODULES)}"]
    loaded = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=False)
    assert (loaded.returncode, loaded.stderr) == (0, "")


# --- files and names ---


def test_every_file_and_folder_that_developers_are_told_of_is_there() -> None:
    rooms = "|".join(path.name for path in (ROOT / "render").iterdir() if path.is_dir())
    named = set(re.findall(r"(?<![\w/.])(?:tests|render|\.ci)/[\w./-]*[\w/]", DEVELOPERS))
    named |= {f"render/{path}" for path in re.findall(rf"`((?:{rooms})/[\w./-]*\w)`", DEVELOPERS)}
    assert len(named) > 10
    assert [path for path in sorted(named) if not (ROOT / path).exists()] == []


def test_the_rooms_are_those_that_there_are() -> None:
    [drawn] = (block for block in blocks(DEVELOPERS, "") if block.startswith("render/\n"))
    told = re.findall(r"^  ([a-z_]+(?:/|\.py)) ", drawn, re.MULTILINE)
    there = [
        f"{path.name}/" if path.is_dir() else path.name
        for path in (ROOT / "render").iterdir()
        if not path.name.startswith("__")
    ]
    assert sorted(told) == sorted(there)


def test_every_function_that_developers_are_told_of_is_there() -> None:
    """Several rooms have a module of that name; one of them has to have the function."""
    sources: dict[str, str] = defaultdict(str)
    for path in (ROOT / "render").rglob("*.py"):
        sources[path.stem] += path.read_text(encoding="utf-8") + "\n"
    named = [
        (module, name)
        for module, name in re.findall(r"`(?:[a-z_]+\.)*([a-z_]+)\.([A-Za-z_]+)`", DEVELOPERS)
        if module in sources and name != "py"
    ]
    assert len(named) > 3
    lacking = [
        f"{module}.{name}"
        for module, name in named
        if not re.search(rf"^(def|class) {name}\b|^{name}\b", sources[module], re.MULTILINE)
    ]
    assert lacking == []


# --- the recipes of the README ---


def test_the_recipes_of_the_readme_are_recipes_and_five_lines_are_five() -> None:
    shortest, longest = blocks(README, "yaml")
    assert len(shortest.splitlines()) == 5
    for text in (shortest, longest):
        assert [reading.problems for reading in read(text, "README.md") if reading.problems] == []
    assert [reading.variant for reading in read(longest, "README.md")] == ["", "both-drop", "short"]


MEANINGS = re.findall(r"^\| (`.*?) \|", README, re.MULTILINE)
WRITTEN = [cell for row in MEANINGS for cell in re.findall(r"`([^`]+)`", row)]
STATED = [text for text in WRITTEN if re.fullmatch(r"[a-z_]+: [^…]+", text)]
PLACES = [text for text in WRITTEN if ":" not in text.replace("1:29.614", "") and "_" not in text]
WORDS = {"all", "none", "bpm"}
"""Of the table, what is neither a place nor stands there with a value."""


@pytest.mark.parametrize("stated", STATED)
def test_what_the_table_says_of_a_record_can_be_written(stated: str) -> None:
    text = f"recipe: 1\ntitle: T\ntracks:\n  a:\n    file: a.wav\n    {stated}\n  b: {{file: b.wav}}\n"
    assert [reading.problems for reading in read(text, "t.yaml") if reading.problems] == []


@pytest.mark.parametrize("place", sorted(set(PLACES) - WORDS))
def test_what_the_table_says_of_places_can_be_written(place: str) -> None:
    """A place in the record can be a marker, one in the clip can be where a track enters."""
    clip = re.match("start|end|landing", place)
    line = f"enter: {place}" if clip else f"markers: {{drums: bar 9, mine: {place}}}"
    text = f"recipe: 1\ntitle: T\ntracks:\n  a:\n    file: a.wav\n    {line}\n  b: {{file: b.wav}}\n"
    assert [reading.problems for reading in read(text, "t.yaml") if reading.problems] == []


def test_the_table_is_read_here_whole() -> None:
    assert len(STATED) > 8 and len(PLACES) > 8
    assert {"bar 65.3", "29.6 s", "drop 2", "drums + 8 bars", "landing - 32 beats", "end"} <= set(PLACES)


# --- claims ---


def test_python_is_asked_for_as_pip_asks_for_it_and_ci_tries_every_version() -> None:
    """The upper bound is the first version that is too new (PEP 440, version specifiers)."""
    [(oldest, newest)] = re.findall(r"With Python 3\.(\d+) to 3\.(\d+) and pip", README)
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    assert project["requires-python"] == f">=3.{oldest},<3.{int(newest) + 1}"
    versions = (f"3.{minor}" for minor in range(int(oldest), int(newest) + 1))
    assert f"\nfor version in {' '.join(versions)}; do" in CI["run"]


def test_the_cache_may_take_what_the_readme_says(monkeypatch: pytest.MonkeyPatch) -> None:
    """A GiB has 2^30 bytes: IEC 80000-13, clause 4."""
    [gib] = re.findall(r"it takes up to (\d+) GiB there", " ".join(README.split()))
    monkeypatch.delenv("DROPKILN_CACHE_LIMIT", raising=False)
    assert sounds_limit_bytes() == int(gib) * 2**30
    monkeypatch.setenv("DROPKILN_CACHE_LIMIT", "0.5")
    assert sounds_limit_bytes() == 2**29


CLAIMS = re.findall(r"^\| “(.+?)” \| (`tests/.+`) \|$", DEVELOPERS, re.MULTILINE)


def test_every_claim_is_in_the_words_of_the_readme() -> None:
    words = " ".join(README.split())
    assert len(CLAIMS) > 20
    assert [claim for claim, _ in CLAIMS if claim not in words] == []


def test_every_test_that_stands_behind_a_claim_is_there() -> None:
    lacking = []
    for _, tests in CLAIMS:
        for node in re.findall(r"`(.+?)`", tests):
            file, _, name = node.partition("::")
            path = ROOT / file
            if not path.is_file() or not re.search(rf"^def {name}\(", path.read_text(), re.MULTILINE):
                lacking.append(node)
    assert lacking == []
