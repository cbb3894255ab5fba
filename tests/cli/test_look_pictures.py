"""`dropkiln look --picture`: where pictures go, and what is refused before anything is measured."""

import hashlib
import json
from pathlib import Path
from xml.etree import ElementTree

import pytest
from desk import SLATE, Desk

from render.facts import RecordFacts, Recording, RecordLevels
from render.faults import SourceError
from render.night import ears


@pytest.fixture
def measured(monkeypatch: pytest.MonkeyPatch) -> list[Path]:
    """What was measured. Measuring takes no time here: records are as long as their names, and have no beat."""
    asked: list[Path] = []

    def listened(path: Path) -> tuple[Recording, RecordFacts]:
        asked.append(path)
        if not path.exists():
            raise SourceError(str(path), "there is no such file", "check its name and folder")
        facts = RecordFacts(float(len(str(path))), RecordLevels(None, None, None, None, 0), 0.5, None)
        return Recording(str(path), "wav", 44_100, 2, 44_100, 1), facts

    monkeypatch.setattr(ears, "listened", listened)
    return asked


def title_of(path: Path) -> str | None:
    return ElementTree.parse(path).findtext("{http://www.w3.org/2000/svg}title")


def test_a_record_that_is_really_heard_is_drawn(desk: Desk) -> None:
    ended = desk.run("look", "ember.wav", "--picture", "ember.svg")
    assert (ended.status, ended.told) == (0, ["picture   ember.svg"])
    assert ended.out.startswith("ember.wav\n  length")
    assert title_of(desk.folder / "ember.svg") == "ember.wav"


def test_facts_stay_json_beside_a_picture(desk: Desk, measured: list[Path]) -> None:
    ended = desk.run("look", "ember.wav", "--json", "--picture", "new/folder/e.PNG")
    assert ended.status == 0
    assert json.loads(ended.out)[0]["file"] == "ember.wav"
    assert (desk.folder / "new/folder/e.PNG").read_bytes().startswith(b"\x89PNG\r\n\x1a\n")  # PNG, 5.2


def test_each_of_several_tracks_gets_a_picture_of_its_own(desk: Desk, measured: list[Path]) -> None:
    (desk.folder / "more").mkdir()
    desk.sound("more/Ember.wav", SLATE)
    ended = desk.run("look", "ember.wav", "slate.wav", "more/Ember.wav", "--picture", "out/look.svg")
    assert ended.status == 0
    names = {path.name: title_of(path) for path in (desk.folder / "out").iterdir()}
    assert names == {
        "look-ember.svg": "ember.wav",
        "look-slate.svg": "slate.wav",
        "look-Ember-2.svg": "Ember.wav",
    }


def test_a_track_that_cannot_be_read_costs_only_its_own_picture(desk: Desk, measured: list[Path]) -> None:
    ended = desk.run("look", "gone.wav", "slate.wav", "--picture", "look.svg")
    assert ended.status == 1
    assert ended.told == [
        "gone.wav: there is no such file; check its name and folder",
        "picture   look-slate.svg",
    ]
    assert [path.name for path in desk.folder.glob("*.svg")] == ["look-slate.svg"]


@pytest.mark.parametrize(
    ("picture", "told"),
    [
        ("look.jpg", "look.jpg: the picture ends in .jpg; name it .svg or .png"),
        ("look", "look: the picture has no ending; name it .svg or .png"),
        (".svg", ".svg: the picture has no ending; name it .svg or .png"),
    ],
)
def test_another_ending_is_refused_before_anything_is_measured(
    desk: Desk, measured: list[Path], picture: str, told: str
) -> None:
    with desk.nothing_written():
        ended = desk.run("look", "ember.wav", "--picture", picture)
    assert (ended.status, ended.out, ended.told) == (2, "", [told])
    assert measured == []


def test_a_picture_never_takes_the_place_of_a_track(desk: Desk, measured: list[Path]) -> None:
    (desk.folder / "ember.wav").rename(desk.folder / "ember.png")
    with desk.nothing_written():
        ended = desk.run("look", "ember.png", "--picture", "./ember.png")
    assert (ended.status, measured) == (2, [])
    assert ended.told == ["ember.png: the picture would take the place of a track; name it otherwise"]


def test_a_picture_that_cannot_be_written_is_one_line_after_the_facts(
    desk: Desk, measured: list[Path]
) -> None:
    desk.text("taken", "a file")
    ended = desk.run("look", "ember.wav", "--picture", "taken/look.svg")
    assert ended.status == 1
    assert ended.out.startswith("ember.wav\n")
    assert ended.told == ["taken: a file of this name is in the way; choose another output folder"]


def test_looking_again_gives_the_same_file(desk: Desk, measured: list[Path]) -> None:
    digests = []
    for _ in range(2):
        desk.run("look", "ember.wav", "--picture", "look.svg")
        digests.append(hashlib.sha256((desk.folder / "look.svg").read_bytes()).hexdigest())
    assert digests[0] == digests[1]
