"""`dropkiln ballots` and `dropkiln book`: from what friends sent to what the book says."""

import json
import subprocess

import pytest
from desk import Desk

from render.publish.ballots import ballot_text

BOOK = "recipes/book.yaml"


@pytest.fixture
def kiln(desk: Desk) -> Desk:
    """A desk with a recipe and its clip."""
    desk.recipe(
        "recipes/duo.yaml",
        ("file: ember.wav", "file: ../ember.wav"),
        ("file: slate.wav", "file: ../slate.wav"),
    )
    assert desk.run("render", "recipes").status == 0
    return desk


def ballot(
    kiln: Desk, listener: str = "Mara", verdict: str = "works", clip: str = "duo", note: str = ""
) -> str:
    made = {"works": "2026-01-03", "almost": "2026-01-02", "no": "2026-01-01"}[verdict]
    pcm = kiln.receipt("duo")["pcm_sha256"][:12]
    rating = {"clip": clip, "verdict": verdict, "note": note, "pcm": pcm}
    return json.dumps(
        {"ballot": 1, "listener": listener, "made": f"{made}T20:00:00.5Z", "ratings": [rating]},
        ensure_ascii=False,
    )


def test_files_and_texts_come_into_the_book_and_out_of_it(kiln: Desk) -> None:
    kiln.text("mara.json", ballot(kiln, note="the landing <lifts>"))
    ended = kiln.run("ballots", "mara.json", ballot_text(ballot(kiln, "Oke", "no")))
    assert (ended.status, ended.err) == (0, "")
    assert ended.out.splitlines() == [
        "ballot    mara.json: Mara, 1 new, 0 known already",
        "ballot    text: Oke, 1 new, 0 known already",
        f"book      {BOOK}",
    ]
    assert kiln.run("book").out.splitlines() == [
        "no        duo  Test",
        "            2026-01-03  works   Mara: the landing <lifts>",
        "            2026-01-01  no      Oke",
    ]
    listed = json.loads(kiln.run("book", "ember", "--json").out)
    assert [(one["clip"], one["tracks"], one["verdict"]) for one in listed] == [
        ("duo", ["ember", "slate"], "no")
    ]
    assert kiln.run("book", "works").err == f"nothing   none of the 1 clips in {BOOK} is like that\n"


def test_the_same_ballot_again_writes_nothing(kiln: Desk) -> None:
    text = ballot_text(ballot(kiln))
    kiln.run("ballots", text)
    with kiln.nothing_written():
        again = kiln.run("ballots", text, text)
    assert (again.status, again.err) == (0, "")
    assert again.out.splitlines()[-1] == f"book      {BOOK}, unchanged"
    assert again.out.splitlines()[0] == "ballot    text: Mara, 0 new, 1 known already"


def test_the_book_among_the_recipes_is_not_taken_for_one(kiln: Desk) -> None:
    kiln.run("ballots", ballot_text(ballot(kiln)))
    ended = kiln.run("render", "recipes")
    assert (ended.status, ended.out) == (0, "")
    assert kiln.clips() == ["duo.flac", "duo.json", "duo.svg"]
    assert kiln.run("check", "recipes").status == 0


def test_unknown_clips_and_earlier_renderings_are_told_of(kiln: Desk) -> None:
    ended = kiln.run("ballots", ballot_text(ballot(kiln, clip="ghost\x1b[2J")))
    assert (ended.status, ended.err) == (0, "left out  text: no clip here is called ghost[2J\n")
    assert not (kiln.folder / BOOK).exists()
    old = ballot(kiln).replace(kiln.receipt("duo")["pcm_sha256"][:12], "0" * 12)
    assert "1 new (1 of an earlier rendering)" in kiln.run("ballots", ballot_text(old)).out


def test_damaged_ballots_are_told_of_and_the_others_merged(kiln: Desk) -> None:
    kiln.text("bad.json", "{}")
    kiln.text("huge.json", " " * 3_000_000)
    (kiln.folder / "folder.json").mkdir()
    given = ["bad.json", "huge.json", "folder.json", "gone.json", "a\x1b[2J", "dropkiln-ballot-1:e30"]
    ended = kiln.run("ballots", *given, ballot_text(ballot(kiln)))
    assert ended.status == 1
    assert len(ended.told) == len(given)
    assert all(line.isprintable() and ";" in line for line in ended.told)
    assert ended.told[1] == "huge.json: it is larger than 256 KiB; no ballot is"
    assert ended.out.splitlines()[0] == "ballot    text: Mara, 1 new, 0 known already"


def test_a_pasted_message_is_read_from_standard_input(kiln: Desk) -> None:
    message = f"Here you are!\n\n{ballot_text(ballot(kiln))}\n\nSee you\n"
    with kiln.start("ballots", "-", stdin=subprocess.PIPE) as process:
        out, err = process.communicate(message, timeout=60)
    assert (process.returncode, err) == (0, "")
    assert out.startswith("ballot    standard input: Mara, 1 new")


def test_a_damaged_book_is_refused_in_one_line_and_not_touched(kiln: Desk) -> None:
    kiln.text(BOOK, "# mine\nbook: 1\nclips: [\n")
    kiln.text("recipes/.book.yaml.lock", "")  # which stays where ballots were merged before
    with kiln.nothing_written():
        for arguments in (
            ["ballots", ballot_text(ballot(kiln))],
            ["book"],
            ["playlist"],
            ["share", "--rated", "no"],
        ):
            ended = kiln.run(*arguments)
            assert (ended.status, ended.out, len(ended.told)) == (2, "", 1)
            assert ended.told[0].startswith(f"{BOOK}:4:1: ")
            assert "the book stays as it is" in ended.told[0]


def test_comments_and_hand_written_words_outlive_ballots(kiln: Desk) -> None:
    written = (
        "# mine\nbook: 1\nclips:\n  duo: # the best\n    tags: [opener]\n    verdict: works  # my word\n"
    )
    kiln.text(BOOK, written)
    kiln.run("ballots", ballot_text(ballot(kiln, verdict="no")))
    text = (kiln.folder / BOOK).read_text()
    assert text.startswith(written)
    assert (kiln.folder / "recipes/book.yaml.before").read_text() == written
    assert kiln.run("book", "opener").out.splitlines()[0] == "works     duo  [opener]  (your own word)"


def test_runs_at_once_lose_no_ballot(kiln: Desk) -> None:
    names = [f"listener {number}" for number in range(3)]
    started = [kiln.start("ballots", ballot_text(ballot(kiln, name))) for name in names]
    assert [process.wait(timeout=100) for process in started] == [0] * 3
    for process in started:
        for stream in (process.stdout, process.stderr):
            assert stream
            stream.close()
    listed = json.loads(kiln.run("book", "--json").out)
    assert sorted(one["who"] for one in listed[0]["ratings"]) == names


def test_the_book_may_lie_anywhere(desk: Desk) -> None:
    desk.text("mine.yaml", "book: 1\nclips: {duo: {}}\n")
    assert desk.run("book", "--book", "mine.yaml").out == "-         duo\n"
    assert (
        desk.run("book").err == "nothing   no ratings in book.yaml yet; `dropkiln ballots` puts them there\n"
    )
    assert not (desk.folder / "book.yaml").exists()
