"""Claims of the README that belong to no part of the program alone, and whether every claim is held by a test."""

import re
import subprocess
import sys
import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from desk import Desk

from render.demo.records import RECORDS
from render.publish.page import page_html
from render.recipe.schema import json_schema

ROOT = Path(__file__).parents[2]
README, DEVELOPERS = ((ROOT / name).read_text(encoding="utf-8") for name in ("README.md", "DEVELOPERS.md"))
CLAIMS = re.findall(r"^\| “(.+?)” \| `tests/.+` \|$", DEVELOPERS, re.MULTILINE)


# --- every claim is held ---

NOTHING_TO_TEST = {
    "what its readers do, and why": (
        "You layer two, three or four records so that their drops land on the same beat.",
        "Whether a combination works, you find out by trying it on your decks, one attempt every few minutes, and the "
        "good ones you keep in your head.",
        "Dropkiln tries them for you while you sleep.",
        "You write a short recipe for each idea:",
        "which records, where they drop, who keeps the low end from when on, and whether one of them jumps back "
        "instead of dropping.",
        "common practice is to start both records 64 beats before their drops, or 32 where a record has no 64.",
        "Many machines make more clips in a night than one:",
        "Change it as you like;",
    ),
    "what has to be so for the rest to hold": (
        "All of them need the same versions, and the records and the output folder under the same paths;",
    ),
    "what nobody can tell, said so that nobody relies on it": (
        "An MP3 file without an encoder's tag does not show that whole frames are missing.",
    ),
}
"""Of the README's prose, what needs no test."""
ADVICE = "## Before you press play"
"""From here on the README tells of hearing and the law; what it quotes of standards, a test of theirs holds."""


def paragraphs() -> Iterator[str]:
    """The README's prose, each paragraph on one line: no headings, no tables, nothing that is typed or written."""
    prose = re.sub(r"^```.*\n(?s:.*?)^```$|^#.*|^\|.*", "", README.partition(ADVICE)[0], flags=re.MULTILINE)
    return (" ".join(paragraph.split()) for paragraph in prose.split("\n\n") if paragraph.strip())


def clauses(paragraph: str) -> Iterator[tuple[str, bool]]:
    """What lies between full stops, semicolons and colons, and whether a word of it is a claim that tests hold."""
    held = [match.span() for claim in CLAIMS for match in re.finditer(re.escape(claim), paragraph)]
    for clause in re.finditer(r"\S.*?(?:[.;:?!](?= |$)|$)", paragraph):
        begin, end = clause.span()
        yield clause[0], any(first < end and begin < last for first, last in held)


def test_every_clause_of_the_readme_is_held_by_a_test_or_claims_nothing() -> None:
    said = [clause for paragraph in paragraphs() for clause in clauses(paragraph)]
    excused = [clause for group in NOTHING_TO_TEST.values() for clause in group]
    assert len(said) > 80
    assert [clause for clause, held in said if not held and clause not in excused] == []
    assert [clause for clause in excused if (clause, False) not in said] == []


def test_a_claim_that_no_test_holds_would_be_noticed() -> None:
    claim = CLAIMS[0]
    assert list(clauses(f"Nobody asked; it says {claim}: it sings.")) == [
        ("Nobody asked;", False),
        (f"it says {claim}:", True),
        ("it sings.", False),
    ]


# --- claims of the whole ---


def test_what_is_installed_with_brackets_is_there_to_be_installed() -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    named = re.findall(r"pip install .*?-e '\.\[(\w+)\]'", README)
    assert named == ["test", "cluster"]
    assert set(named) <= project["optional-dependencies"].keys()


def test_the_demo_does_what_the_readme_says_where_it_says(
    desk: Desk, monkeypatch: pytest.MonkeyPatch
) -> None:
    """With the desk's two records over the invented ones, which take a while; those have tests of their own."""
    said = r"invents (\w+) records \(`(.+?)/`\) and renders the recipes in `(.+?)/` over them to `out/clips/`"
    [(count, tracks, recipes)] = re.findall(said, " ".join(README.split()))
    assert count == ["no", "one", "two", "three", "four", "five", "six"][len(RECORDS)]
    invented: list[Path] = []
    monkeypatch.setattr("render.demo.records.write_records", lambda folder, _: invented.append(folder))
    files = [(f"file: {track}.wav", f"file: ../{track}.wav") for track in ("ember", "slate")]
    desk.recipe(f"{recipes}/one.yaml", *files)
    assert desk.run("demo").status == 0
    assert invented == [Path(tracks)]
    desk.assert_whole("one")


def keys_of(schema: Any) -> Iterator[str]:
    if isinstance(schema, dict):
        yield from schema.get("properties", {})
        schema = list(schema.values())
    if isinstance(schema, list):
        for part in schema:
            yield from keys_of(part)


def test_the_readme_shows_every_key_of_a_recipe() -> None:
    keys = set(keys_of(json_schema()))
    assert len(keys) > 30
    assert [key for key in sorted(keys) if not re.search(rf"\b{key}:|`{key}`", README)] == []


def test_the_keys_by_which_clips_are_rated_are_listed_on_the_page() -> None:
    [named] = re.findall(r"by taps or by keys \((.+?); the page lists them\)", " ".join(README.split()))
    listed = re.findall(r"<kbd>(.+?)</kbd>", page_html([]))
    assert [key for key in re.findall(r"`(.)`", named) if key not in listed] == []


WATCHED = """
import sys
from pathlib import Path
told = Path(sys.argv.pop(1)).open("w", buffering=1)
def watch(event, args):
    if event == "open" and str(args[0]).startswith("/dev/") or event in ("socket.connect", "subprocess.Popen"):
        told.write(f"{event} {args[0]}\\n")
sys.addaudithook(watch)
from render.cli.start import main
main()
"""
"""Python's own audit events (PEP 578; the table of them in its library reference)."""


def test_a_run_opens_no_device_makes_no_connection_and_starts_no_player(desk: Desk) -> None:
    desk.recipe("test.yaml", ("format: flac", "format: mp3"))
    told = desk.folder / "told.txt"
    command = [sys.executable, "-c", WATCHED, told, "render", "test.yaml", "--engine", "signalsmith"]
    done = subprocess.run([*command, "--jobs", "1"], cwd=desk.folder, capture_output=True, check=False)
    assert (done.returncode, desk.clips()) == (0, ["test.json", "test.mp3", "test.svg"])
    events = [line.split(" ", 1) for line in told.read_text(encoding="utf-8").splitlines()]
    assert {what for event, what in events if event == "open"} <= {"/dev/null", "/dev/urandom"}
    started = {Path(what).name for event, what in events if event == "subprocess.Popen"}
    assert started and all(re.match(r"ffmpeg\b", name) for name in started)
    assert {event for event, _ in events} <= {"open", "subprocess.Popen"}
