"""What a person is told of a record that cannot be used, and that no clip comes of it.

What shows as soon as a record is opened is a fault of the recipe, at the line that names the file, and keeps all
of its clips. What only shows when the record is read fails its own clip, which leaves a log.
"""

import os
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
import soundfile
from desk import RATE_HZ, SLATE, Desk

from tests.cases import first_of


def cut(path: Path, share: float) -> None:
    """Leave the first part of a file, as a download that broke off does."""
    path.write_bytes(path.read_bytes()[: round(path.stat().st_size * share)])


def with_sample(value: float, at_s: float) -> np.ndarray:
    audio = SLATE.copy()
    audio[round(at_s * RATE_HZ), 1] = value
    return audio


def a_folder(desk: Desk) -> None:
    (desk.folder / "other.wav").mkdir()


READABLE = "WAV, AIFF, FLAC, Ogg Vorbis, Opus, MP3 and M4A can be read"

AT_ONCE: dict[str, tuple[str, Callable[[Desk], object], str]] = {
    "no file": ("gone.wav", lambda desk: None, "there is no such file; check its name and folder"),
    "a text": (
        "other.mp3",
        lambda desk: desk.text("other.mp3", "A list of records for the summer.\n" * 200),
        f"it is not a sound file that can be read; {READABLE}",
    ),
    "an empty file": (
        "other.mp3",
        lambda desk: desk.text("other.mp3", ""),
        "it is empty; get a whole copy of it",
    ),
    "no sound": (
        "other.wav",
        lambda desk: desk.sound("other.wav", SLATE[:0]),
        "it holds no sound; export it again",
    ),
    "five channels": (
        "other.wav",
        lambda desk: desk.sound("other.wav", np.repeat(SLATE[:, :1], 5, axis=1)),
        "it has 5 channels; mix it down to mono or stereo",
    ),
    "a folder": ("other.wav", a_folder, "it is a folder; give a sound file"),
    "somebody's home": (
        "~nobody-of-this-name/slate.wav",
        lambda desk: None,
        "nobody here has this name; write the folder out",
    ),
}


@pytest.mark.parametrize("command", ["check", "render"])
@pytest.mark.parametrize("case", AT_ONCE)
def test_a_record_that_cannot_be_opened_is_told_at_its_line(desk: Desk, command: str, case: str) -> None:
    file, prepare, told = AT_ONCE[case]
    prepare(desk)
    desk.recipe("test.yaml", ("slate.wav", file))
    with desk.nothing_written():
        ended = desk.run(command, "test.yaml")
    assert (ended.status, ended.out.strip()) == (2, "")
    assert ended.told == [f"test.yaml:13:11: {file}: {told}"]


def test_a_record_of_one_second_is_too_short_for_its_drop(desk: Desk) -> None:
    """Bar 3 of 140 beats a minute begins 8 · 60/140 = 3.429 s after the first beat, which is at 0.5 s."""
    desk.sound("slate.wav", SLATE[:RATE_HZ])
    desk.recipe("test.yaml")
    with desk.nothing_written():
        ended = desk.run("render", "test.yaml")
    assert (ended.status, ended.out) == (2, "")
    assert ended.told == [
        "test.yaml:16:21: 'slate' drops at 0:03.929, but the record lasts 0:01.000; a time within the record"
    ]


WHEN_READ: dict[str, tuple[str, Callable[[Desk], object], str]] = {
    "a broken off FLAC": (
        "other.flac",
        lambda desk: cut(desk.sound("other.flac", SLATE), 0.5),
        "it is damaged or cut short near 0:0",
    ),
    "a broken off MP3": (
        "other.mp3",
        lambda desk: cut(desk.sound("other.mp3", SLATE), 0.5),
        "sound but holds none from 0:03.",
    ),
    "a broken off WAV": (
        "other.wav",
        lambda desk: cut(desk.sound("other.wav", SLATE), 0.5),
        "sound but holds none from 0:03.",
    ),
    "a sample that is no number": (
        "other.wav",
        lambda desk: desk.sound("other.wav", with_sample(np.nan, 3.0), "FLOAT"),
        "it holds a sample that is no number at 0:03.000; export it again",
    ),
    "an infinite sample": (
        "other.wav",
        lambda desk: desk.sound("other.wav", with_sample(-np.inf, 3.0), "FLOAT"),
        "it holds a sample that is no number at 0:03.000; export it again",
    ),
}


@pytest.mark.parametrize("case", WHEN_READ)
def test_a_record_that_fails_when_it_is_read_fails_its_clip(desk: Desk, case: str) -> None:
    file, prepare, told = WHEN_READ[case]
    prepare(desk)
    desk.recipe("test.yaml", ("slate.wav", file))
    ended = desk.run("render", "test.yaml")
    assert (ended.status, ended.out, len(ended.told)) == (1, "", 1)
    assert ended.told[0].startswith(f"failed    test  {desk.folder / file}: it ")
    assert told in ended.told[0]
    assert desk.clips() == ["test.log"]


@pytest.mark.parametrize("share", first_of([0.3, 0.9], [0.05, 0.3, 0.6, 0.9, 0.99]))
@pytest.mark.parametrize("form", ["FLAC", "MP3", "WAV", "OGG"])
def test_a_clip_is_made_of_a_broken_off_record_only_where_its_part_is_whole(
    desk: Desk, form: str, share: float
) -> None:
    """The clip plays the record to its beat 12, at 5.64 s, and reads a quarter of a second more; 0.6 · 7 s = 4.2 s."""
    path = desk.folder / f"other.{form.lower()}"
    soundfile.write(path, SLATE[: RATE_HZ * 7], RATE_HZ, format=form)
    cut(path, share)
    desk.recipe("test.yaml", ("slate.wav", path.name))
    ended = desk.run("render", "test.yaml")
    assert (ended.out, len(ended.told)) == ("", 1)
    if share <= 0.6:
        assert ended.status in (1, 2)
        assert desk.clips() == ["test.log"] * (ended.status == 1)
    else:
        assert ended.status == 0
        desk.assert_whole("test")
        remarks = [finding["text"] for finding in desk.receipt("test")["findings"]]
        # Ogg alone states no length, but marks its last page (RFC 3533, section 6).
        assert ("this file has no end mark: it may be cut short" in remarks) == (form == "OGG")


@pytest.mark.parametrize("name", ["slate.wav", "test.yaml"])
def test_a_file_that_may_not_be_read(desk: Desk, monkeypatch: pytest.MonkeyPatch, name: str) -> None:
    path = desk.recipe("test.yaml").with_name(name)
    path.chmod(0)
    if os.access(path, os.R_OK):  # the superuser may read everything
        own = Path.open

        def denied(self: Path, *arguments: object, **options: object) -> object:
            if self.name == name:
                raise PermissionError(13, "Permission denied", str(self))
            return own(self, *arguments, **options)  # type: ignore[call-overload]

        monkeypatch.setattr(Path, "open", denied)
    ended = desk.run("render", "test.yaml")
    assert (ended.status, ended.out, desk.clips()) == (2, "", [])
    assert ended.told == [
        "test.yaml:13:11: slate.wav: it may not be read; allow reading it"
        if name == "slate.wav"
        else "test.yaml:1:1: it cannot be read (Permission denied); check its name and allow reading it"
    ]
