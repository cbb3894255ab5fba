"""Ballots: one listener's ratings, as they come back from a friend, and never to be trusted.

A ballot is JSON, or the same as a short text that fits a message: `dropkiln-ballot-1:` and the JSON in base64url (RFC
4648, section 5) without padding. Whatever it says stays text: lines are joined, and what turns the direction of writing
or cannot be printed is dropped, so that no word of it can do anything in a terminal, in YAML or on a page.
"""

import base64
import binascii
import json
import re
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Any, Literal, get_args

from render.publish.lettering import cleaned

BALLOT_VERSION = 1
TEXT_PREFIX = f"dropkiln-ballot-{BALLOT_VERSION}:"

MAX_BALLOT_BYTES = 256 * 1024
MAX_RATINGS = 500
MAX_NOTE, MAX_LISTENER = 1000, 80
"""Characters."""
MAX_CLIP_NAME = 255
"""Characters; no file system takes a longer name."""
MAX_TEXT_BYTES = 2 * MAX_BALLOT_BYTES
"""The largest ballot as a text takes 4/3 of its bytes; around it there may be a message."""
PCM_DIGITS = 12
"""Hexadecimal digits of a clip's hash that a rating carries: of 500 clips, two are alike once in 10⁹ pages."""
CLOCK_SLACK = timedelta(days=2)
"""By which somebody's clock may be ahead; a later ballot would outdate every honest one of that listener."""

Verdict = Literal["works", "almost", "no"]
VERDICTS: tuple[Verdict, ...] = get_args(Verdict)

_KEYS = {"ballot", "listener", "made", "ratings"}
_RATING_KEYS = {"clip", "verdict", "note", "pcm"}
_PCM = re.compile(rf"[0-9a-f]{{{PCM_DIGITS}}}")
_MADE = re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d(\.\d{1,9})?(Z|\+00:00)")
_TEXT = re.compile(re.escape(TEXT_PREFIX) + r"([A-Za-z0-9_=-]*)")


class BadBallot(Exception):
    """What is no ballot, or a damaged one: what is wrong, and what would be right."""

    def __init__(self, wrong: str, right: str = "ask for the ballot once more") -> None:
        super().__init__(wrong, right)
        self.wrong, self.right = wrong, right


@dataclass(frozen=True)
class Rated:
    """One rating. `pcm` are the first hexadecimal digits of the SHA-256 of the sound that was heard."""

    clip: str
    verdict: Verdict
    note: str
    pcm: str


@dataclass(frozen=True)
class Ballot:
    """One listener's ratings; `made` is when, to the second, in UTC. `listener` may be empty."""

    listener: str
    made: datetime
    ratings: tuple[Rated, ...]


def read_ballot(content: bytes, now: datetime) -> Ballot:
    """The ballot in a file, or in a message that holds the short text. Raises BadBallot."""
    if len(content) > MAX_TEXT_BYTES:
        raise _too_large()
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise BadBallot("it is not text", "name a ballot, a .json file") from error
    if TEXT_PREFIX in text and not text.lstrip().startswith("{"):  # a note may quote a short text
        return _ballot(_parsed(_unpacked(text)), now)
    if len(content) > MAX_BALLOT_BYTES:
        raise _too_large()
    return _ballot(_parsed(text), now)


def ballot_text(json_text: str) -> str:
    """A ballot's JSON as the short text that can be pasted into a message."""
    return TEXT_PREFIX + base64.urlsafe_b64encode(json_text.encode()).decode().rstrip("=")


def _too_large() -> BadBallot:
    return BadBallot(f"it is larger than {MAX_BALLOT_BYTES // 1024} KiB", "no ballot is")


def _unpacked(text: str) -> str:
    found = _TEXT.search(text)
    packed = found[1].rstrip("=") if found else ""
    try:
        raw = base64.b64decode(packed + "=" * (-len(packed) % 4), altchars=b"-_", validate=True)
        unpacked = raw.decode("utf-8")
    except (binascii.Error, UnicodeDecodeError) as error:
        raise BadBallot("the text is damaged or cut off", "copy it whole, on one line") from error
    if len(raw) > MAX_BALLOT_BYTES:
        raise _too_large()
    return unpacked


def _parsed(text: str) -> Any:
    try:
        return json.loads(text, object_pairs_hook=_without_twins, parse_constant=_no_number)
    except (
        ValueError,
        RecursionError,
    ) as error:  # also a number of thousands of digits, and nesting without end
        raise BadBallot(
            "it is not the JSON of a ballot", "name a ballot's .json file, or paste its text whole"
        ) from error


def _without_twins(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    if len({key for key, _ in pairs}) < len(pairs):
        raise ValueError("a key stands twice")
    return dict(pairs)


def _no_number(word: str) -> Any:
    raise ValueError(f"{word} is no JSON")


def _ballot(data: Any, now: datetime) -> Ballot:
    if not isinstance(data, dict) or "ballot" not in data:
        raise BadBallot("this is JSON, but no ballot", "name a ballot's .json file")
    version = data["ballot"]
    if version is True or version != BALLOT_VERSION:
        raise BadBallot(f"it is of another version than {BALLOT_VERSION}", "bring this program up to date")
    _refuse_keys(data, _KEYS, "it")
    ratings = data.get("ratings")
    if not isinstance(ratings, list):
        raise BadBallot("its ratings are no list")
    if len(ratings) > MAX_RATINGS:
        raise BadBallot(f"it has {len(ratings)} ratings", f"{MAX_RATINGS} are the most")
    listener = _text(data, "listener", MAX_LISTENER, "its")
    rated = tuple(_rated(one, number) for number, one in enumerate(ratings, 1))
    if len({one.clip for one in rated}) < len(rated):
        raise BadBallot("it rates a clip twice")
    return Ballot(listener, _made(data.get("made"), now), rated)


def _made(written: Any, now: datetime) -> datetime:
    if not isinstance(written, str) or not _MADE.fullmatch(written):
        raise BadBallot("its `made` is no time in UTC, as 2031-05-04T21:30:00Z is")
    try:
        made = datetime.fromisoformat(written.partition("+")[0].rstrip("Z").partition(".")[0])
    except ValueError as error:
        raise BadBallot("its `made` is no time that exists") from error
    made = made.replace(tzinfo=UTC)
    if made > now + CLOCK_SLACK:
        raise BadBallot(
            f"it says that it was made on {made:%Y-%m-%d}, which is still to come",
            "set the clock of the listener's device, and save the ballot again",
        )
    return made


def _rated(data: Any, number: int) -> Rated:
    whose = f"rating {number}'s"
    if not isinstance(data, dict):
        raise BadBallot(f"rating {number} is none")
    _refuse_keys(data, _RATING_KEYS, f"rating {number}")
    clip, verdict, pcm = data.get("clip"), data.get("verdict"), data.get("pcm")
    if not isinstance(clip, str) or not 0 < len(clip) <= MAX_CLIP_NAME:
        raise BadBallot(f"{whose} `clip` is no name")
    if not isinstance(verdict, str) or verdict not in VERDICTS:
        raise BadBallot(f"{whose} `verdict` is not one of {', '.join(VERDICTS)}")
    if not isinstance(pcm, str) or not _PCM.fullmatch(pcm):
        raise BadBallot(f"{whose} `pcm` is not {PCM_DIGITS} digits of a hash")
    return Rated(clip, verdict, _text(data, "note", MAX_NOTE, whose), pcm)


def _text(data: Mapping[str, Any], key: str, most: int, whose: str) -> str:
    written = data.get(key, "")
    if not isinstance(written, str):
        raise BadBallot(f"{whose} `{key}` is no text")
    if len(written) > most:
        raise BadBallot(f"{whose} `{key}` has {len(written)} characters", f"{most} are the most")
    return cleaned(written)


def _refuse_keys(data: Mapping[str, Any], known: set[str], whose: str) -> None:
    if unknown := set(data) - known:
        shown = cleaned(min(unknown))[:32]
        raise BadBallot(f"{whose} holds `{shown}`, which no ballot has")
