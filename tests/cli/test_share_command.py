"""`dropkiln share`: a file for friends that says nothing of the machine."""

import base64
import getpass
import io
import os
import platform
import re
import socket
from pathlib import Path

import mutagen
import pytest
from desk import Desk, Ended

from render.publish import share as sharing

FOLDER = "cellar of records"
DATA = re.compile(r"data:([a-z/]+);base64,([A-Za-z0-9+/=]+)")
CARE = "send      only as far as the records' licences and your local law allow"


@pytest.fixture
def kiln(desk: Desk) -> Desk:
    """A desk with two clips, of records in a folder of their own."""
    (desk.folder / FOLDER).mkdir()
    for name in ("ember", "slate"):
        (desk.folder / f"{name}.wav").rename(desk.folder / FOLDER / f"{name}.wav")
    places = [(f"file: {name}.wav", f"file: {FOLDER}/{name}.wav") for name in ("ember", "slate")]
    desk.recipe("duo.yaml", *places, ("clip:", "try:\n  short: {tail: 2 beats}\nclip:"))
    return desk


def rendered(kiln: Desk, form: str) -> Desk:
    assert kiln.run("render", "duo.yaml", "--format", form).status == 0
    return kiln


def shared(kiln: Desk, file: str = "out/share.html") -> tuple[str, list[tuple[str, bytes]]]:
    """The text without the sounds, and the sounds with their media types."""
    text = (kiln.folder / file).read_text(encoding="utf-8")
    return DATA.sub("SOUND", text), [(kind, base64.b64decode(data)) for kind, data in DATA.findall(text)]


@pytest.mark.parametrize(
    ("form", "media_type"),
    [("mp3", "audio/mpeg"), ("opus", "audio/ogg"), ("flac", "audio/mpeg"), ("wav", "audio/mpeg")],
)
def test_nothing_of_the_machine_is_in_it(
    kiln: Desk, form: str, media_type: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    home = kiln.folder.parent / "home of quillfeather"
    home.mkdir()
    for name in ("USER", "LOGNAME", "USERNAME"):
        monkeypatch.setenv(name, "quillfeather")
    monkeypatch.setenv("HOME", str(home))
    for module, function in ((platform, "node"), (socket, "gethostname")):
        monkeypatch.setattr(module, function, lambda: "host-of-quillfeather")
    ended = rendered(kiln, form).run("share", "duo", "duo--short")
    assert ended.status == 0
    text, sounds = shared(kiln)
    assert [kind for kind, _ in sounds] == [media_type] * 2
    receipts = [kiln.receipt(name) for name in ("duo", "duo--short")]
    hashes = [track["sha256"] for receipt in receipts for track in receipt["tracks"]]
    hashes += [
        receipt[key] for receipt in receipts for key in ("file_sha256", "inputs_sha256", "group_sha256")
    ]
    told = [getpass.getuser(), str(home), str(kiln.folder), str(Path.cwd()), "pytest-of", FOLDER, "ember.wav"]
    told += [platform.node(), os.sep + "tmp/", *(one[:12] for one in hashes)]
    assert (getpass.getuser(), platform.node()) == ("quillfeather", "host-of-quillfeather")
    for words in told:
        assert words not in text, words
        for _, sound in sounds:
            assert words.encode() not in sound, words
    assert all(not mutagen.File(io.BytesIO(sound)).tags for _, sound in sounds)
    assert not re.search(r"https?:|//[a-z]|(src|href)=\"(?!SOUND)", text)


def test_it_has_what_a_friend_needs_and_no_more(kiln: Desk) -> None:
    ended = rendered(kiln, "mp3").run("share", "duo--short", "out/clips/duo.mp3", "duo")
    size_mb = (kiln.folder / "out/share.html").stat().st_size / 1e6
    assert ended == Ended(0, f"share     out/share.html: 2 clips, {size_mb:.1f} MB\n", f"{CARE}\n")
    text, _ = shared(kiln)
    assert re.findall(r'data-clip="(.*?)" data-pcm="(.*?)"', text) == [
        (name, kiln.receipt(name)["pcm_sha256"][:12]) for name in ("duo--short", "duo")
    ]
    assert "start quiet" in text
    assert "do not pass them on" in text


def test_what_is_rated_so_in_the_book_is_shared(kiln: Desk) -> None:
    rendered(kiln, "mp3")
    kiln.text(
        "book.yaml",
        "book: 1\nclips:\n  duo: {verdict: no}\n  duo--short: {verdict: works}\n  lost: {verdict: works}\n",
    )
    ended = kiln.run("share", "--rated", "works", "--to", "friends.html")
    assert ended.status == 1
    assert ended.err.splitlines() == ["lost: it has no clip in out; render its recipe", CARE]
    assert re.findall(r'data-clip="(.*?)"', shared(kiln, "friends.html")[0]) == ["duo--short"]


def test_a_large_file_is_warned_of(kiln: Desk, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sharing, "LARGE_BYTES", 100_000)
    ended = rendered(kiln, "wav").run("share", "duo")
    assert ended.status == 0
    assert ended.err.startswith("beware    more than 0.1 MB, which mail and messengers may refuse")


def test_the_limit_is_20_mb() -> None:
    assert sharing.LARGE_BYTES == 20_000_000


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        ([], "share: no clip is named; name clips, or a verdict with --rated"),
        (["ghost"], "ghost: no such clip; name a clip in out/clips"),
        (["../duo.yaml"], "../duo.yaml: no such clip; name a clip in out/clips"),
        (["a\nb"], "a\\nb: no such clip; name a clip in out/clips"),
        (["duo", "--to", "duo.yaml"], "duo.yaml: not a page by its name; name it .html"),
        (["--rated", "works"], "share: there is no clip to share; name clips, or a verdict with --rated"),
    ],
)
def test_what_cannot_be_shared_is_told_in_one_line(kiln: Desk, arguments: list[str], told: str) -> None:
    with kiln.nothing_written():
        ended = kiln.run("share", *arguments)
    assert (ended.status, ended.out, ended.err.splitlines()) == (2, "", [told])


def test_a_clip_that_is_not_the_one_its_receipt_tells_of_is_left_out(kiln: Desk) -> None:
    rendered(kiln, "mp3")
    clip = kiln.folder / "out/clips/duo.mp3"
    clip.write_bytes(clip.read_bytes() + b"TAG")
    ended = kiln.run("share", "duo", "duo--short")
    assert ended.status == 1
    assert ended.told[0] == "out/clips/duo.mp3: it is not as it was made; render its recipe again"
    assert 'data-clip="duo"' not in shared(kiln)[0]
