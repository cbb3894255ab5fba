"""The stage card on paper, as a page to print, and as plain text."""

import re

from render.plan.explain import table
from render.publish.card import paper
from render.publish.card.contents import Card
from render.publish.card.words import card_words
from render.publish.lettering import fitted
from render.publish.templating import environment

_MINUS = re.compile(r"(?<!\w)-(?=\d)")

_templates = environment()
# Numbers are printed with a minus sign, which is as wide as a plus.
_templates.filters["minus"] = lambda text: _MINUS.sub("−", text)


def card_html(card: Card) -> str:
    """The card as one HTML page, which holds no script and asks for nothing from elsewhere."""
    words = card_words(card)
    layout = paper.layout(words)
    return _templates.get_template("card.html.j2").render(
        words=words, title=fitted(words.title, layout.title_room_em), layout=layout, page=paper
    )


def card_text(card: Card) -> str:
    """The card as plain text, ending without a line break."""
    words = card_words(card)
    lines = [words.title, words.count, words.headroom]
    for record in words.records:
        lines += ["", f"{record.name}: {record.file}", f"  {record.tempo}"]
        lines += [*table(record.markers), *(f"  {text}" for text in record.rest)]
    return "\n".join([*lines, "", *table([words.step_heads, *words.steps]), "", *words.foot])
