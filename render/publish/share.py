"""Clips for friends: one HTML file with the sound inside, to be heard, rated and answered with a ballot.

It says of a clip what its title, its variant and its tracks are called, and the first digits of the hash of its sound,
by which a ballot knows it. Nothing else goes in: no path, no file's name, no hash of a record. Its policy (Content
Security Policy Level 3, W3C) allows no request at all; the sound stands in `data:` URIs (RFC 2397).
"""

import base64
from collections.abc import Sequence
from dataclasses import dataclass

from markupsafe import Markup

from render.plan.model import ClipPlan
from render.publish.ballots import (
    BALLOT_VERSION,
    MAX_BALLOT_BYTES,
    MAX_LISTENER,
    MAX_NOTE,
    MAX_RATINGS,
    PCM_DIGITS,
    TEXT_PREFIX,
    VERDICTS,
)
from render.publish.cautions import HEARING
from render.publish.lettering import cleaned
from render.publish.page_words import layered
from render.publish.templating import asset, environment, policy

PRIVATE = (
    "The recordings on this page belong to those who made them. They were sent to you to listen to in private: please "
    "do not pass them on."
)
MOST_CLIPS = MAX_RATINGS
LARGE_BYTES = 20_000_000
"""From here on mail servers and messengers may refuse a file (common practice)."""
STYLES = ("page.css", "share.css")
SCRIPTS = ("keeping.js", "sharing.js")


@dataclass(frozen=True)
class Sound:
    """An encoded clip that carries no tags, and its media type."""

    content: bytes
    media_type: str


@dataclass(frozen=True)
class SharedClip:
    """A clip as a friend gets it. `name` is what ballots call it."""

    name: str
    pcm: str
    title: str
    variant: str
    layered: str
    sound: Sound

    @property
    def called(self) -> str:
        return f"{self.title}, {self.variant}" if self.variant else self.title

    @property
    def audio(self) -> str:
        return f"data:{self.sound.media_type};base64,{base64.b64encode(self.sound.content).decode()}"


def shared_clip(plan: ClipPlan, pcm_sha256: str, sound: Sound) -> SharedClip:
    return SharedClip(
        name=plan.name,
        pcm=pcm_sha256[:PCM_DIGITS],
        title=cleaned(plan.title),
        variant=cleaned(plan.variant),
        layered=cleaned(layered(plan)),
        sound=sound,
    )


_templates = environment()


def share_html(clips: Sequence[SharedClip]) -> str:
    """The file's text. A friend can do without scripts: then there is no rating, but everything can be heard."""
    style, script = asset(*STYLES), asset(*SCRIPTS)
    return _templates.get_template("share.html.j2").render(
        policy=policy(style, [script], media_src="data:"),
        style=Markup(style),
        script=Markup(script),
        hearing=HEARING,
        private=PRIVATE,
        clips=clips,
        verdicts=VERDICTS,
        most_note=MAX_NOTE,
        most_listener=MAX_LISTENER,
        format={"version": BALLOT_VERSION, "prefix": TEXT_PREFIX, "most_bytes": MAX_BALLOT_BYTES},
    )
