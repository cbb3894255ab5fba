"""WHATWG HTML Living Standard: the pages that are published parse without an error, and what they point to is there.

Published: the parsing algorithm with its parse errors (13.2), by html5lib 1.1, which follows it, in strict mode. From
memory: an id stands once in a page (3.2.6), and `for`, `aria-labelledby`, `aria-describedby`, `aria-controls` and
addresses that begin with `#` name one.
"""

from collections import Counter

import html5lib
import pytest
from html5lib.html5parser import ParseError

from render.publish.card.contents import card_of
from render.publish.card.sheet import card_html
from render.publish.page import page_html
from render.publish.share import SharedClip, Sound, share_html
from tests.publish.made_receipts import clip
from tests.publish.pictures import FOUR, TWO, planned

HOSTILE = "</title><script>alert(1)</script> & <b 'q\" -- ]]> &lt; <!--"
SHARED = SharedClip(
    "test", "0" * 16, HOSTILE, "later", "lanterns over ironworks", Sound(b"sound", "audio/mpeg")
)

PAGES = {
    "page": page_html([clip(TWO), clip(FOUR), clip(TWO, title=HOSTILE, variant="later")]),
    "empty page": page_html([]),
    "shared file": share_html([SHARED]),
    "card": card_html(card_of(*planned(TWO))),
    "card of four": card_html(card_of(*planned(FOUR))),
}

POINTERS = ("for", "aria-labelledby", "aria-describedby", "aria-controls", "list", "headers")


def errors(page: str) -> list[str]:
    """What the parser has to say, once for each place."""
    parser = html5lib.HTMLParser()
    parser.parse(page)
    return [f"{line}:{column}: {code}" for (line, column), code, _ in parser.errors]


def dangling(page: str) -> list[str]:
    """Ids that stand twice, and names of ids that do not stand at all."""
    elements = list(html5lib.parse(page, namespaceHTMLElements=False).iter())
    ids = Counter(element.attrib["id"] for element in elements if "id" in element.attrib)
    wanted = [
        name for element in elements for key in POINTERS for name in element.attrib.get(key, "").split()
    ]
    wanted += [
        element.attrib["href"][1:] for element in elements if element.attrib.get("href", "").startswith("#")
    ]
    return [name for name, count in ids.items() if count > 1] + [name for name in wanted if name not in ids]


@pytest.mark.parametrize("name", PAGES)
def test_a_page_parses_without_an_error(name: str) -> None:
    assert errors(PAGES[name]) == []
    html5lib.HTMLParser(strict=True).parse(PAGES[name])


@pytest.mark.parametrize("name", PAGES)
def test_what_a_page_points_to_is_there_once(name: str) -> None:
    assert dangling(PAGES[name]) == []


WRONG = {
    "no doctype": ("<!DOCTYPE html>", ""),
    "an element that is not closed": ("</body>", "<section></body>"),
    "a closing tag of nothing": ("</body>", "</section></body>"),
    "an attribute that stands twice": ("<body", '<body lang="en" lang="en"'),
    "a heading within a heading": ("</h1>", "<h2></h1>"),
    "an ampersand of nothing": ("</h1>", "&nothing;</h1>"),
}


@pytest.mark.parametrize("wrong", WRONG)
def test_a_page_that_is_wrong_somewhere_would_be_noticed(wrong: str) -> None:
    right, broken = WRONG[wrong]
    page = PAGES["page"].replace(right, broken, 1)
    assert page != PAGES["page"]
    assert errors(page)
    with pytest.raises(ParseError):
        html5lib.HTMLParser(strict=True).parse(page)


def test_an_id_that_stands_twice_or_nowhere_would_be_noticed() -> None:
    page = '<p id="a"><p id="a"><a href="#b">x</a><label for="c">y</label>'
    assert sorted(dangling(page)) == ["a", "b", "c"]
