"""Why a text is not YAML, in plain words instead of the parser's."""

import re
from typing import NamedTuple

from ruamel.yaml.error import MarkedYAMLError


class Said(NamedTuple):
    """What is wrong and what would be right; `at_opening` where the place to mend is where a thing begins."""

    code: str
    wrong: str
    right: str
    at_opening: bool = False


_QUOTE = "put the whole value in one pair of quotes"
_ALIGN = "begin all keys that belong together in the same column"

_BY_CONTEXT = (
    (r"scanning a block scalar", Said("yaml", "a value that begins with `|` or `>`", _QUOTE, True)),
    (r"an? (anchor|alias)$", Said("yaml", "a value that begins with `&` or `*`", _QUOTE, True)),
    (r"an? tag$", Said("yaml", "a value that begins with `!`", _QUOTE, True)),
    (r"a directive$", Said("yaml", "a line that begins with `%`", "remove it", True)),
)
_BY_PROBLEM = (
    (r"character '\\t'", Said("tab", "a tab", "write spaces instead")),
    (r"character '(?P<sign>.)' that cannot start", Said("yaml", "a value that begins with `{sign}`", _QUOTE)),
    (
        r"mapping (values|keys) are not allowed",
        Said("yaml", "no `name: value` can stand here", f"{_ALIGN}, and put text that holds `: ` in quotes"),
    ),
    (
        r"sequence entries are not allowed",
        Said("yaml", "no entry of a list can stand here", "begin the first `- ` on a line of its own"),
    ),
    (
        r"could not find expected ':'",
        Said(
            "yaml", "a line that is no `name: value`", "write it so, or put text in quotes on one line", True
        ),
    ),
    (r"<block end>, but found '<scalar>'", Said("yaml", "text after the end of a value", _QUOTE)),
    (
        r"<block end>|<document start>|after document end",
        Said("yaml", "this does not fit the lines above it", f"{_ALIGN}, and write `- ` only in lists"),
    ),
    (
        r"expected ',' or '(?P<sign>.)'",
        Said(
            "yaml",
            "the bracket opened in line {line} is not closed before this",
            "write `,` or `{sign}` here",
        ),
    ),
    (
        r"end of stream|document separator",
        Said("yaml", "a quote that is never closed", "write the same quote at the end of the text", True),
    ),
    (
        r"escape (character|sequence)",
        Said("yaml", "a `\\` in double quotes that is no escape", "use single quotes: there `\\` is plain"),
    ),
    (
        r"expected the node content",
        Said("yaml", "a value is missing here", "write one, in quotes if it is a sign"),
    ),
    (r"undefined tag handle", Said("yaml", "a value that begins with `!`", _QUOTE)),
    (r"YAML d(irective|ocument)", Said("yaml", "a line that begins with `%`", "remove it")),
)


def explained(error: MarkedYAMLError) -> Said:
    """The parser's complaint in plain words."""
    context, problem = str(error.context or ""), str(error.problem or "")
    line = error.context_mark.line + 1 if error.context_mark else 1
    for said_of, text in ((_BY_CONTEXT, context), (_BY_PROBLEM, problem)):
        for pattern, said in said_of:
            if found := re.search(pattern, text):
                sign = found["sign"] if "sign" in found.groupdict() else ""
                return said._replace(
                    wrong=said.wrong.format(line=line, sign=sign), right=said.right.format(sign=sign)
                )
    return Said("yaml", "this is not YAML", "write `name: value`, indented with spaces")
