"""The listening page: every clip of a folder, to be heard, compared and rated, as one HTML file.

It refers to nothing but the clips and pictures beside it, by their relative names, and its policy (Content Security
Policy Level 3, W3C) allows nothing else: what is written in a title stays text even where a browser would run it.
"""

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import groupby
from typing import Any
from urllib.parse import quote

from markupsafe import Markup

from render.checks.model import UNEQUAL_LU
from render.publish.ballots import PCM_DIGITS
from render.publish.cautions import HEARING, SHARING
from render.publish.drawing import WIDTH
from render.publish.lettering import cleaned
from render.publish.page_words import Said, Table, landing_error_ms, layered, notes_of, said_of, tables_of
from render.publish.picture import picture_height, picture_summary
from render.publish.receipt import BadReceipt, plan_of
from render.publish.templating import asset, environment, policy

AS_WRITTEN = "as written"
"""What the clip of the recipe itself is called among its variants."""
STYLE = "page.css"
SCRIPTS = (("listening.js",), ("keeping.js", "rating.js"), ("numbers.js",), ("browsing.js",))

_PCM = re.compile(r"[0-9a-f]{64}")


@dataclass(frozen=True)
class PageClip:
    """A clip as the page shows it. `name` is its file's, without the ending; `file` has it."""

    name: str
    file: str
    pcm: str
    recipe: str
    variant: str
    title: str
    tempo_bpm: float
    landing_s: float
    duration_s: float
    lufs: float | None
    landing_ms: float | None
    headroom_db: float | None
    layered: str
    picture_text: str
    picture_height: float
    said: Sequence[Said]
    notes: Sequence[str]
    tables: Sequence[Table]

    @property
    def audio(self) -> str:
        return f"clips/{quote(self.file)}"

    @property
    def picture(self) -> str:
        return f"clips/{quote(self.name)}.svg"


@dataclass(frozen=True)
class Combination:
    """A recipe's clips, the recipe as written first; with their places among all clips of the page."""

    title: str
    clips: Sequence[tuple[int, PageClip]]

    @property
    def uneven_lu(self) -> float | None:
        """By how much its clips differ in loudness; None where it does not matter, or cannot be told."""
        levels = [clip.lufs for _, clip in self.clips if clip.lufs is not None]
        apart_lu = max(levels, default=0.0) - min(levels, default=0.0)
        return apart_lu if apart_lu > 2 * UNEQUAL_LU + 0.05 else None  # what is written has one decimal


WHERE_IT_LIES = "'self' file:"
"""Files from where the page itself lies; `file:` where that is a disk."""

_templates = environment()


def page_clip(receipt: Mapping[str, Any]) -> PageClip:
    """What the page shows of a clip, by its receipt. Raises BadReceipt where a part of that is missing or damaged."""
    plan, facts = plan_of(receipt)
    try:
        if not _PCM.fullmatch(receipt["pcm_sha256"]):
            raise BadReceipt("its hash is damaged")
        return PageClip(
            name=plan.name,
            file=f"{plan.name}.{plan.format}",
            pcm=receipt["pcm_sha256"][:PCM_DIGITS],
            recipe=plan.recipe,
            variant=cleaned(plan.variant),
            title=cleaned(plan.title),
            tempo_bpm=plan.clock.tempo_bpm,
            landing_s=plan.clock.landing_s,
            duration_s=plan.clock.duration_s,
            lufs=receipt["encoded"]["integrated_lufs"],
            landing_ms=landing_error_ms(receipt),
            headroom_db=receipt["headroom_needed_db"],
            layered=layered(plan),
            picture_text=picture_summary(plan, facts),
            picture_height=picture_height(len(plan.lanes)),
            said=said_of(receipt, facts),
            notes=notes_of(receipt),
            tables=tables_of(receipt, plan, facts),
        )
    except (KeyError, TypeError, ValueError, IndexError, ZeroDivisionError) as error:
        raise BadReceipt("a part of it is missing or damaged") from error


def page_html(clips: Iterable[PageClip]) -> str:
    """The page's text, to lie beside the folder `clips`: combinations by title, variants by name."""
    combinations = _combinations(clips)
    shown = [clip for combination in combinations for _, clip in combination.clips]
    style, scripts = asset(STYLE), [asset(*names) for names in SCRIPTS]
    return _templates.get_template("page.html.j2").render(
        policy=policy(style, scripts, img_src=WHERE_IT_LIES, media_src=WHERE_IT_LIES),
        style=Markup(style),
        scripts=[Markup(script) for script in scripts],
        hearing=HEARING,
        sharing=SHARING,
        combinations=combinations,
        data=[
            _data(number, c) for number, combination in enumerate(combinations) for _, c in combination.clips
        ],
        clips=len(shown),
        picture_width=WIDTH,
        as_written=AS_WRITTEN,
    )


def _combinations(clips: Iterable[PageClip]) -> list[Combination]:
    ordered = sorted(clips, key=lambda clip: (clip.recipe, clip.variant))
    groups = [list(group) for _, group in groupby(ordered, key=lambda clip: clip.recipe)]
    groups.sort(key=lambda group: (group[0].title.casefold(), group[0].recipe))
    made, count = [], 0
    for group in groups:
        made.append(Combination(group[0].title, list(enumerate(group, count))))
        count += len(group)
    return made


def _data(combination: int, clip: PageClip) -> dict[str, Any]:
    """What the scripts have to know of a clip; numbers are many, so they are written when they are asked for."""
    return {
        "combination": combination,
        "name": clip.name,
        "pcm": clip.pcm,
        "called": f"{clip.title}, {clip.variant or AS_WRITTEN}",
        "sought": f"{clip.title} {clip.variant} {clip.layered}".casefold(),
        "tempo_bpm": clip.tempo_bpm,
        "landing_s": clip.landing_s,
        "duration_s": clip.duration_s,
        "landing_ms": clip.landing_ms,
        "headroom_db": clip.headroom_db,
        "warns": any(said.warns for said in clip.said),
        "tables": [[table.caption, table.head, table.rows] for table in clip.tables],
        "notes": clip.notes,
    }
