"""Positions in all their spellings, each with what it means."""

from hypothesis import strategies as st

from render.recipe.positions import AtBar, AtDrop, AtMarker, AtTime, is_marker_name
from render.recipe.quantities import Length

names = st.from_regex(r"[a-z][a-z0-9_]{0,6}(-[a-z][a-z0-9_]{0,4}){0,2}", fullmatch=True).filter(
    is_marker_name
)
amounts = st.decimals(min_value="0.01", max_value=2048, places=2)
offsets = st.none() | st.tuples(
    st.sampled_from("+-"), amounts, st.sampled_from([("beats", "beat"), ("bars", "bar")])
)
spaces = st.sampled_from(["", " ", "  "])


@st.composite
def written_offsets(draw):
    """An offset in one of its spellings, and what it means."""
    offset = draw(offsets)
    if offset is None:
        return "", Length(0.0, "beats")
    sign, amount, (plural, singular) = offset
    minus = draw(st.sampled_from("-−"))
    text = "".join(
        [
            draw(spaces),
            minus if sign == "-" else "+",
            draw(spaces),
            f"{amount.normalize():f}",
            draw(spaces),
            draw(st.sampled_from([plural, singular])),
        ]
    )
    return text, Length(float(amount) if sign == "+" else -float(amount), plural)


@st.composite
def written_bases(draw):
    match draw(st.sampled_from(["clock", "seconds", "number", "bar", "beat", "drop", "marker"])):
        case "clock":
            minutes, ms = draw(st.integers(0, 99)), draw(st.integers(0, 59_999))
            return f"{minutes}:{ms // 1000:02d}.{ms % 1000:03d}", AtTime(minutes * 60 + ms / 1000)
        case "seconds":
            ms = draw(st.integers(0, 10**7))
            return f"{ms // 1000}.{ms % 1000:03d}{draw(spaces)}s", AtTime(ms / 1000)
        case "number":
            ms = draw(st.integers(0, 10**7))
            return f"{ms // 1000}.{ms % 1000:03d}", AtTime(ms / 1000)
        case "bar":
            bar = draw(st.integers(1, 99_999))
            return f"bar {bar}", AtBar(bar, 1.0)
        case "beat":
            bar, beat = draw(st.integers(1, 99_999)), draw(st.integers(1, 32))
            return f"bar {bar}.{beat}", AtBar(bar, float(beat))
        case "drop":
            number = draw(st.integers(1, 999))
            return f"drop {number}", AtDrop(number)
        case _:
            name = draw(names)
            return name, AtMarker(name)
