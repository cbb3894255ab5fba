"""Ballots come from anywhere: what is one is read, everything else is refused in one plain line."""

import base64
import json
import unicodedata
from typing import Any

import pytest
from ballot_texts import MADE, NOW, PCM, ballot_json, rating
from hypothesis import given
from hypothesis import strategies as st

from render.publish.ballots import (
    MAX_BALLOT_BYTES,
    MAX_CLIP_NAME,
    MAX_LISTENER,
    MAX_NOTE,
    MAX_RATINGS,
    TEXT_PREFIX,
    VERDICTS,
    BadBallot,
    ballot_text,
    read_ballot,
)

TEXTS = st.text(st.characters(exclude_categories=("Cs",)))


def refused(content: str | bytes) -> BadBallot:
    with pytest.raises(BadBallot) as told:
        read_ballot(content if isinstance(content, bytes) else content.encode("utf-8", "surrogatepass"), NOW)
    assert told.value.wrong.isprintable() and told.value.right.isprintable()
    assert len(told.value.wrong) < 120
    return told.value


def test_a_ballot_says_who_rated_what_and_when() -> None:
    read = read_ballot(ballot_json(rating(note="two voices"), rating("slate", "no")).encode(), NOW)
    assert (read.listener, read.made.isoformat()) == ("Mara", "2031-05-04T21:29:00+00:00")
    assert [(one.clip, one.verdict, one.note, one.pcm) for one in read.ratings] == [
        ("lanterns", "works", "two voices", PCM),
        ("slate", "no", "", PCM),
    ]


def test_the_short_text_is_base64url_without_padding() -> None:
    """RFC 4648, section 5: `-` and `_` for the last two of the alphabet; decoded by Python's own coder."""
    text = ballot_text(ballot_json(rating(note="\u00ff\u00fe?>~")))
    assert text.startswith("dropkiln-ballot-1:")
    packed = text.removeprefix("dropkiln-ballot-1:")
    assert not set(packed) & set("+/=")
    raw = base64.urlsafe_b64decode(packed + "=" * (-len(packed) % 4))
    assert json.loads(raw)["ratings"][0]["note"] == "\u00ff\u00fe?>~"


@given(TEXTS.filter(lambda text: len(text) <= MAX_NOTE), TEXTS.map(lambda text: text[:MAX_LISTENER]))
def test_file_and_short_text_say_the_same(note: str, listener: str) -> None:
    text = ballot_json(rating(note=note), listener=listener)
    assert read_ballot(text.encode(), NOW) == read_ballot(ballot_text(text).encode(), NOW)


@pytest.mark.parametrize("wrap", ["{}", "\n {} \r\n", "hi, here it is: {} – see you!", '"{}"', "\ufeff{}"])
def test_a_message_around_the_short_text_does_not_matter(wrap: str) -> None:
    message = wrap.format(ballot_text(ballot_json()))
    assert read_ballot(message.encode(), NOW).listener == "Mara"


@pytest.mark.parametrize("indent", [None, 2])
def test_a_ballot_that_quotes_another_ones_short_text_is_read_itself(indent: int | None) -> None:
    quoted = ballot_text(ballot_json(listener="Ida"))
    text = "\n " + json.dumps(json.loads(ballot_json(rating(note=f"see {quoted}"))), indent=indent)
    for form in (text, ballot_text(text)):
        read = read_ballot(form.encode(), NOW)
        assert (read.listener, read.ratings[0].note) == ("Mara", f"see {quoted}")


def test_what_is_left_of_a_ballot_is_not_taken_for_the_one_it_quotes() -> None:
    text = ballot_json(rating(note=ballot_text(ballot_json(listener="Ida"))))
    assert "not the JSON of a ballot" in refused(text[:-3]).wrong


@given(TEXTS, TEXTS)
def test_whatever_a_ballot_says_is_one_printable_line_of_text(note: str, listener: str) -> None:
    """No control character, no line end, none that turns the direction of writing (Unicode categories Cc, Cs, Zl, Zp;
    of Cf only the joiners that spell words and pictograms)."""
    text = ballot_json(rating(note=note[:MAX_NOTE]), listener=listener[:MAX_LISTENER])
    read = read_ballot(text.encode(), NOW)
    for said in (read.listener, read.ratings[0].note):
        assert len(said.splitlines()) <= 1
        assert not {unicodedata.category(sign) for sign in said} & {"Cc", "Cs", "Zl", "Zp"}
        assert not set(said) & set("\u202a\u202b\u202d\u202e\u2066\u2067\u2068\u2069")


def test_markup_stays_the_text_it_is() -> None:
    note = "<script>alert(1)</script> & {{ 7*7 }} !!python/object *a &b # c: [d] '\""
    assert read_ballot(ballot_json(rating(note=note)).encode(), NOW).ratings[0].note == note


@pytest.mark.parametrize("terminal", ["\x1b[2J\x1b]0;gone\x07", "\x9b31m", "a\r\nb\tc\x00", "\u202eknil"])
def test_nothing_reaches_a_terminal_but_text(terminal: str) -> None:
    note = read_ballot(ballot_json(rating(note=terminal)).encode(), NOW).ratings[0].note
    assert note.isprintable()
    assert note


def test_half_characters_of_a_browser_are_dropped() -> None:
    """JSON.stringify writes a lone surrogate as an escape (ECMA-262, JSON.stringify, well-formed)."""
    text = ballot_json(rating(note="PLACE")).replace("PLACE", "half \\ud83d of one")
    assert read_ballot(text.encode(), NOW).ratings[0].note == "half  of one"


BROKEN_KEYS: list[tuple[dict[str, Any], str]] = [
    ({"ballot": 2}, "another version"),
    ({"ballot": "1"}, "another version"),
    ({"ballot": True}, "another version"),
    ({"ballot": ...}, "no ballot"),
    ({"listener": 7}, "`listener` is no text"),
    ({"listener": "x" * (MAX_LISTENER + 1)}, "81 characters"),
    ({"made": ...}, "`made`"),
    ({"made": "yesterday"}, "`made`"),
    ({"made": "2031-02-30T10:00:00Z"}, "no time that exists"),
    ({"made": "2031-05-04T21:30:00+02:00"}, "UTC"),
    ({"made": "2031-05-07T21:30:00Z"}, "still to come"),
    ({"made": 1}, "`made`"),
    ({"ratings": ...}, "no list"),
    ({"ratings": {}}, "no list"),
    ({"ratings": [1]}, "rating 1"),
    ({"ratings": [rating(), rating(), rating("slate")]}, "twice"),
    ({"ratings": [rating(f"c{number}") for number in range(MAX_RATINGS + 1)]}, "501 ratings"),
    ({"ratings": [rating(verdict="WORKS")]}, "one of works, almost, no"),
    ({"ratings": [rating(note="x" * (MAX_NOTE + 1))]}, "1001 characters"),
    ({"ratings": [rating(pcm="0A1B2C3D4E5F")]}, "`pcm`"),
    ({"ratings": [rating(pcm=PCM + "\n")]}, "`pcm`"),
    ({"ratings": [rating(clip="")]}, "`clip`"),
    ({"ratings": [rating(clip="x" * (MAX_CLIP_NAME + 1))]}, "`clip`"),
    ({"ratings": [{**rating(), "verdict": ["works"]}]}, "`verdict`"),
    ({"ratings": [{**rating(), "\x1b[2J": 1}]}, "which no ballot has"),
    ({"weight": 99}, "which no ballot has"),
]


@pytest.mark.parametrize(("changes", "wrong"), BROKEN_KEYS, ids=[wrong for _, wrong in BROKEN_KEYS])
def test_what_does_not_fit_the_format_is_refused(changes: dict[str, Any], wrong: str) -> None:
    read_ballot(ballot_json().encode(), NOW)
    assert wrong in refused(ballot_json(**changes)).wrong


@pytest.mark.parametrize(
    "content",
    [
        "",
        "null",
        "[]",
        "works",
        '{"ballot": 1',
        '{"ballot": 1, "ballot": 1}',
        '{"ballot": NaN}',
        '{"ballot": 1e999, "ratings": []}',
        '{"ballot": ' + "1" * 5000 + "}",
        "[" * 200_000,
        b"\xff\xfe\x00\x00",
        b"PK\x03\x04\x00",
        TEXT_PREFIX,
        TEXT_PREFIX + "e",
        TEXT_PREFIX + "____",
        TEXT_PREFIX + "bnVsbA",
        ballot_text(ballot_json())[:-20],
    ],
)
def test_what_is_no_ballot_is_refused(content: str | bytes) -> None:
    refused(content)


def test_a_ballot_may_have_256_kib_and_no_more() -> None:
    ratings = [rating(f"clip-{number}", note="é" * 200) for number in range(MAX_RATINGS)]
    most = ballot_json(*ratings)
    most += " " * (MAX_BALLOT_BYTES - len(most.encode()))
    assert len(most.encode()) == MAX_BALLOT_BYTES == 262_144
    assert len(read_ballot(most.encode(), NOW).ratings) == MAX_RATINGS
    assert read_ballot(ballot_text(most).encode(), NOW) == read_ballot(most.encode(), NOW)
    for larger in (most + " ", ballot_text(most + "   "), " " * 10_000_000):
        assert "larger than 256 KiB" in refused(larger).wrong


@given(st.binary(max_size=200))
def test_any_bytes_are_a_ballot_or_told_to_be_none(content: bytes) -> None:
    refused(content)


JSON = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=8) | st.sampled_from(VERDICTS),
    lambda inner: (
        st.lists(inner, max_size=3)
        | st.dictionaries(
            st.sampled_from(["ballot", "listener", "made", "ratings", "clip", "verdict", "note", "pcm", "x"]),
            inner,
        )
    ),
    max_leaves=12,
)


@given(JSON, st.sampled_from(["ballot", "listener", "made", "ratings", "clip", "verdict", "note", "pcm"]))
def test_any_json_in_any_place_is_taken_for_what_it_is_or_refused(value: Any, key: str) -> None:
    """What is read holds nothing but what the format allows."""
    data = json.loads(ballot_json())
    (data if key in data else data["ratings"][0])[key] = value
    try:
        read = read_ballot(json.dumps(data).encode(), NOW)
    except BadBallot as error:
        assert error.wrong.isprintable()
        return
    assert read.made.isoformat() <= NOW.isoformat()
    assert len(read.listener) <= MAX_LISTENER
    for one in read.ratings:
        assert one.verdict in VERDICTS
        assert len(one.pcm) == 12 and int(one.pcm, 16) >= 0
        assert len(one.note) <= MAX_NOTE


def test_a_clock_that_is_a_day_ahead_is_forgiven() -> None:
    assert read_ballot(ballot_json(made=MADE.replace("05-04", "05-05")).encode(), NOW).ratings
