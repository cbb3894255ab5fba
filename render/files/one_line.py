"""Words of a file as a message can repeat them."""

MOST_QUOTED = 32
"""Characters: enough to find the place."""


def quoted(text: str) -> str:
    """The beginning of a text, on one line, and without a character that cannot be printed."""
    start = text[: MOST_QUOTED + 1]
    shown = "".join(sign if sign.isprintable() else "\N{REPLACEMENT CHARACTER}" for sign in start)
    return shown if len(shown) <= MOST_QUOTED else f"{shown[: MOST_QUOTED - 1]}…"
