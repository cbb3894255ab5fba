"""Ballots as a listener's browser makes them."""

import json
from collections.abc import Mapping
from datetime import UTC, datetime
from typing import Any

from render.publish.ballots import Ballot, Verdict, read_ballot

NOW = datetime(2031, 5, 4, 21, 30, tzinfo=UTC)
MADE = "2031-05-04T21:29:00.123Z"
PCM = "0a1b2c3d4e5f"


def rating(clip: str = "lanterns", verdict: str = "works", note: str = "", pcm: str = PCM) -> dict[str, Any]:
    return {"clip": clip, "verdict": verdict, "note": note, "pcm": pcm}


def ballot_json(*ratings: Mapping[str, Any], **changes: Any) -> str:
    """A ballot's JSON; one rating where none is given. A change to `...` takes a key out."""
    data = {"ballot": 1, "listener": "Mara", "made": MADE, "ratings": list(ratings) or [rating()], **changes}
    return json.dumps({key: value for key, value in data.items() if value is not ...}, ensure_ascii=False)


def ballot(clip: str, verdict: Verdict, listener: str = "Mara", made: str = MADE, note: str = "") -> Ballot:
    """A ballot with one rating."""
    text = ballot_json(rating(clip, verdict, note), listener=listener, made=made)
    return read_ballot(text.encode(), NOW)
