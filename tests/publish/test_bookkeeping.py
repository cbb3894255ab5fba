"""Ballots into the book: what is new is added, and nothing else changes."""

import random
import re
from collections.abc import Sequence

import pytest
from ballot_texts import NOW, PCM, ballot, ballot_json, rating
from hypothesis import given, settings
from hypothesis import strategies as st

from render.publish.ballots import VERDICTS, Ballot, read_ballot
from render.publish.book_yaml import BadBook, read_book
from render.publish.bookkeeping import Merged, Rendered, merged

CLIPS = {
    name: Rendered(f"Title of {name}", ("ember", "slate"), PCM + 52 * "0") for name in ("a", "b", "c", "d")
}

COMMENTED = """\
# the first line
book: 1  # its version
clips:   # by name
  # before a
  a:   # beside a
    title: "A"     # beside the title
    verdict: works
    ratings:   # newest first
      # said at a party
      - {when: 2030-01-02, who: Mara, verdict: works}  # loudly
      # older
      - when: 2029-01-02   # long ago
        who: Mara
        verdict: no
      # after the ratings

  # the openers
  b:
    title: B
    notes: |
      # no comment but text
      of two lines

  # the closers
  c:
  # in one line
  d: {title: 'D', tags: [x, "y"]} # beside d
  # the last line
"""
COMMENT = re.compile(r"# ?[a-z ]+")


def said(text: str) -> dict[str, list[tuple[str, str]]]:
    return {entry.clip: [(one.who, one.verdict) for one in entry.ratings] for entry in read_book(text)}


def test_a_long_title_with_a_sign_in_it_is_written_at_once() -> None:
    """A pattern that can part letters in more than one way takes twice as long for each letter: days for this one."""
    title = "Lanterns over Ironworks and then Thimbleyard, the long way round"
    clips = {"a": Rendered(title, (30 * "ember" + "!",), PCM + 52 * "0")}
    (entry,) = read_book(merged("book: 1\n", [ballot("a", "works", "Oke")], clips).text)
    assert (entry.title, entry.tracks) == (title, clips["a"].tracks)


def test_nothing_that_was_written_changes() -> None:
    """Without what was added, the book is the old one to the letter."""
    new = merged(COMMENTED, [ballot(clip, "almost", "Oke") for clip in CLIPS], CLIPS).text
    row = '{when: 2031-05-04 21:29:00 UTC, who: Oke, verdict: almost, pcm: "0a1b2c3d4e5f"}'
    assert new.count(row) == 4
    without = new.replace(f"ratings: [{row}], ", "").replace(f"    ratings:\n      - {row}\n", "")
    assert without.replace(f"      - {row}\n", "") == COMMENTED


def test_a_comment_stays_beside_what_it_is_about() -> None:
    new = merged(COMMENTED, [ballot(clip, "no", "Oke") for clip in CLIPS], CLIPS).text.splitlines()
    places = {found[0]: number for number, line in enumerate(new) if (found := COMMENT.search(line))}
    following = {
        "# before a": "  a:",
        "# older": "      - when: 2029-01-02",
        "# the openers": "  b:",
        "# the closers": "  c:",
        "# in one line": "  d:",
    }
    for comment, start in following.items():
        assert new[places[comment] + 1].startswith(start)
    assert new[-1] == "  # the last line"


def test_the_same_ballot_twice_changes_nothing() -> None:
    one = ballot("a", "no", note="x")
    once = merged(COMMENTED, [one], CLIPS)
    again = merged(once.text, [one, one], CLIPS)
    assert again.text == once.text
    assert [(tally.new, tally.known) for tally in (*once.tallies, *again.tallies)] == [(1, 0), (0, 1), (0, 1)]


def test_verdicts_are_kept_over_time() -> None:
    days = [("2031-05-01", "works"), ("2031-05-02", "works"), ("2031-05-03", "no")]
    ballots = [ballot("a", verdict, made=f"{day}T08:00:00Z") for day, verdict in days]  # type: ignore[arg-type]
    assert said(merged("", ballots, CLIPS).text) == {
        "a": [("Mara", "no"), ("Mara", "works"), ("Mara", "works")]
    }


def test_clips_that_nobody_made_are_told_of_and_kept_out() -> None:
    text = ballot_json(rating("a"), rating("ghost"), rating("../../etc/passwd"))
    result = merged("", [read_ballot(text.encode(), NOW)], CLIPS)
    assert result.tallies[0].unknown == ["ghost", "../../etc/passwd"]
    assert "ghost" not in result.text and "passwd" not in result.text


def test_a_clip_that_is_only_in_the_book_can_still_be_rated() -> None:
    result = merged("book: 1\nclips:\n  thrown-away: {title: T}\n", [ballot("thrown-away", "no")], {})
    assert said(result.text) == {"thrown-away": [("Mara", "no")]}


def test_a_rating_of_an_earlier_rendering_is_kept_and_counted() -> None:
    old = read_ballot(ballot_json(rating("a", pcm="f" * 12)).encode(), NOW)
    tally = merged("", [old], CLIPS).tallies[0]
    assert (tally.new, tally.earlier) == (1, 1)


def test_a_new_book_says_what_may_be_written_into_it() -> None:
    text = merged("", [ballot("a", "works")], CLIPS).text
    assert text.startswith("# What works")
    assert text.endswith(
        "  a:\n    title: Title of a\n    tracks: [ember, slate]\n    ratings:\n"
        '      - {when: 2031-05-04 21:29:00 UTC, who: Mara, verdict: works, pcm: "0a1b2c3d4e5f"}\n'
    )


@pytest.mark.parametrize(
    "start", ["", "# mine", "# mine\n", "book: 1\n", "book: 1\nclips:\n", "book: 1\nclips: {}"]
)
def test_ratings_find_a_place_in_any_empty_book(start: str) -> None:
    text = merged(start, [ballot("a", "works")], CLIPS).text
    assert said(text) == {"a": [("Mara", "works")]}
    assert text.count("# mine") == start.count("# mine")


def test_line_ends_and_byte_order_mark_stay_what_they_were() -> None:
    windows = "\ufeff" + COMMENTED.replace("\n", "\r\n")
    new = merged(windows, [ballot("b", "no")], CLIPS).text
    assert new == "\ufeff" + merged(COMMENTED, [ballot("b", "no")], CLIPS).text.replace("\n", "\r\n")
    assert merged(new, [ballot("b", "no")], CLIPS).text == new


def test_a_book_that_is_none_is_refused() -> None:
    with pytest.raises(BadBook):
        merged("clips: [", [ballot("a", "no")], CLIPS)


WORDS_OF_YAML = [
    "null",
    "true",
    "no",
    "~",
    "0123",
    "1e3",
    "2031-05-04",
    "!!set",
    "<<",
    "---",
    "...",
    "&a",
    "*a",
]
SIGNS_OF_YAML = list("'\"[]{}%@`|>=\\?-:#,!&*")
NASTY = st.text(max_size=40) | st.sampled_from(
    [*WORDS_OF_YAML, *SIGNS_OF_YAML, "# no comment", "a: b", "{x}", "- y", "a #b", "a, b"]
)


@settings(max_examples=40)
@given(NASTY, NASTY, NASTY, st.sampled_from(["0" * 12, "1" * 12, "0123456789e5", "deadbeef0000"]))
def test_no_text_of_a_ballot_or_a_title_is_more_than_text_in_the_book(
    note: str, who: str, title: str, pcm: str
) -> None:
    one = read_ballot(
        ballot_json(rating("a", note=note, pcm=pcm), listener=who).encode("utf-8", "replace"), NOW
    )
    clips = {"a": Rendered(title.encode("utf-8", "replace").decode(), ("x", note), PCM)}
    for start in ("", COMMENTED):
        entry = read_book(merged(start, [one], clips).text)[0]
        assert (entry.ratings[0].note, entry.ratings[0].who) == (one.ratings[0].note, one.listener)
        assert entry.ratings[0].pcm == pcm


BALLOTS = st.lists(
    st.builds(
        lambda clip, verdict, who, day: ballot(clip, verdict, who, f"2031-05-0{day}T08:00:00Z"),
        st.sampled_from(["a", "b"]),
        st.sampled_from(VERDICTS),
        st.sampled_from(["Mara", "Oke", ""]),
        st.integers(1, 3),
    ),
    max_size=8,
)


@settings(max_examples=30)
@given(BALLOTS, st.randoms(use_true_random=False))
def test_merging_is_idempotent_and_the_last_words_do_not_depend_on_the_order(
    ballots: Sequence[Ballot], chance: random.Random
) -> None:
    """Only of two things that one listener said at the same moment the one that came last stands."""
    moments = [(one.listener, one.made, one.ratings[0].clip) for one in ballots]
    once = merged("", ballots, CLIPS)
    assert merged(once.text, ballots, CLIPS).text == once.text
    if len(set(moments)) == len(moments):
        shuffled = chance.sample(ballots, len(ballots))
        assert last_words(merged("", shuffled, CLIPS)) == last_words(once)
        one_by_one = Merged("", ())
        for one in ballots:
            one_by_one = merged(one_by_one.text, [one], CLIPS)
        assert one_by_one.text == once.text


def last_words(result: Merged) -> dict[str, dict[str, str]]:
    return {
        entry.clip: {who: rating.verdict for who, rating in entry.last_words.items()}
        for entry in read_book(result.text)
    }


LINES = st.sampled_from(["", "  # x1", "    # x2", "# x3", "      # x4", "  # x5: {y: [", "    # x6 'q"])
WHOLE = [line for line in COMMENTED.splitlines() if line]


@settings(max_examples=30)
@given(st.lists(LINES, min_size=len(WHOLE), max_size=len(WHOLE)), st.sampled_from(sorted(CLIPS)))
def test_every_line_stays_wherever_comments_stand(comments: list[str], clip: str) -> None:
    """A comment or none below each line, at any indentation; only the text below `|` has none."""
    lines = []
    for line, comment in zip(WHOLE, comments, strict=True):
        lines += [line] if "notes: |" in line or "no comment" in line or not comment else [line, comment]
    text = "\n".join(lines) + "\n"
    new = merged(text, [ballot(clip, "almost", "Oke")], CLIPS).text
    left = iter(new.splitlines())
    for line in lines:
        assert any(kept == line or (clip == "d" and line.startswith("  d:")) for kept in left), line


@pytest.mark.parametrize(
    ("book", "added_to"),
    [
        ("book: 1\nclips: {a: {ratings: []}}", "book: 1\nclips: {a: {ratings: [ROW]}}"),
        ("book: 1\nclips: {a: {}}", "book: 1\nclips: {a: {ratings: [ROW]}}"),
        ("{book: 1, clips: {a: {tags: x}}}", "{book: 1, clips: {a: {ratings: [ROW], tags: x}}}"),
        ("book: 1\nclips:\n a:", "book: 1\nclips:\n a:\n   ratings:\n     - ROW\n"),
        ("clips:\n  a:\n    ratings:\nbook: 1\n", "clips:\n  a:\n    ratings:\n      - ROW\nbook: 1\n"),
        (
            "clips:\n  a:\n    notes: x\n     y\nbook: 1",
            "clips:\n  a:\n    notes: x\n     y\n    RATINGS\nbook: 1",
        ),
        ("book: 1\nclips:\n  a:\n    ratings:\n    - {verdict: no}", "LIST\n    - ROW\n    - {verdict: no}"),
        (
            "book: 1\nclips:\n  a:\n    notes: |+\n      x\n\n",
            "book: 1\nclips:\n  a:\n    notes: |+\n      x\n\n    RATINGS\n",
        ),
    ],
)
def test_ratings_are_written_the_way_the_book_is_written(book: str, added_to: str) -> None:
    row = '{when: 2031-05-04 21:29:00 UTC, who: Mara, verdict: works, pcm: "0a1b2c3d4e5f"}'
    added_to = added_to.replace("RATINGS", "ratings:\n      - ROW").replace("ROW", row)
    added_to = added_to.replace("LIST", "book: 1\nclips:\n  a:\n    ratings:")
    assert merged(book, [ballot("a", "works")], CLIPS).text == added_to


@pytest.mark.parametrize(
    "book", ["book: 1\nclips: {}", "clips:\nbook: 1", "clips:\n   b:\nbook: 1\n", "--- # x\nbook: 1\n...\n"]
)
def test_a_new_clip_finds_its_place(book: str) -> None:
    text = merged(book, [ballot("a", "works")], CLIPS).text
    assert said(text)["a"] == [("Mara", "works")]
    assert len(text.splitlines()) >= len(book.splitlines())


@pytest.mark.parametrize(
    "book",
    [
        "book: 1\nclips:\n  a: &x\n    ratings: &r\n      - {verdict: no}\n  b: *x\n",
        "book: 1\nclips:\n  a: ~\n",
        "book: 1\nclips:\n  a: {title: x, ratings: }\n",
    ],
)
def test_where_nothing_can_be_added_the_book_is_refused(book: str) -> None:
    with pytest.raises(BadBook):
        merged(book, [ballot("a", "works")], CLIPS)
