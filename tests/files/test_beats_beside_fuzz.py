"""Whatever lies beside a record: it is read into beats that a grid can go by, or refused in one line."""

import json
import math
import tempfile
from itertools import pairwise
from pathlib import Path

from hypothesis import given, settings
from hypothesis import strategies as st

from render.facts import GivenBeats
from render.faults import SourceError
from render.files.beats_beside import beats_beside

EXAMPLES = settings.default.max_examples
GOOD = "time,beat\n" + "".join(f"{0.25 + 0.375 * count},{count % 4 + 1}\n" for count in range(12))


def beside(content: bytes, name: str) -> GivenBeats | None:
    """What is read of a file; None where it was refused, in one line that can be printed."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / name
        path.write_bytes(content)
        try:
            found = beats_beside(Path(folder) / "lanterns.flac")
        except SourceError as error:
            line = str(error)
            assert line.isprintable()
            assert len(line.removeprefix(folder)) < 300
            assert error.wrong
            assert error.right
            return None
        assert found is not None
        assert all(note.isprintable() for note in found.notes)
        return found.beats


def assert_read(content: bytes, name: str) -> None:
    beats = beside(content, name)
    if beats is None:
        return
    assert 8 <= len(beats.times_s) <= 100_000
    assert beats.times_s[0] >= 0
    assert all(0.1 <= after - before <= 3 for before, after in pairwise(beats.times_s))
    assert all(map(math.isfinite, beats.times_s))
    if beats.beats_per_bar is not None:
        assert 1 <= beats.beats_per_bar <= 32
        assert beats.bar_index is not None
        assert 0 <= beats.bar_index < beats.beats_per_bar


@given(st.binary(), st.sampled_from(["lanterns.jams", "lanterns.beats.csv"]))
def test_any_bytes(content, name):
    assert_read(content, name)


@given(st.text(alphabet='0123456789.,;:\t \n\r#"eE+-_nainf\ufeff\x1b\u2028٣', max_size=200))
@settings(max_examples=4 * EXAMPLES)
def test_any_text_of_the_signs_of_tables(text):
    assert_read(text.encode(), "lanterns.beats.csv")


@given(st.data())
@settings(max_examples=4 * EXAMPLES)
def test_a_good_table_after_slips_of_the_hand(data):
    text = GOOD
    for _ in range(data.draw(st.integers(1, 4))):
        at = data.draw(st.integers(0, len(text) - 1))
        length = data.draw(st.integers(0, 12))
        text = text[:at] + data.draw(st.text("0123456789.,;\n\t -", max_size=4)) + text[at + length :]
        text = text or "\n"
    assert_read(text.encode(), "lanterns.beats.csv")


LEAVES = (
    st.none()
    | st.booleans()
    | st.integers(-5, 40)
    | st.integers()
    | st.floats()
    | st.text(max_size=8)
    | st.sampled_from([10**20, 10**400, -(10**400)])
)
VALUES = st.recursive(
    LEAVES,
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=5), inner, max_size=3),
)
POSITIONS = st.fixed_dictionaries({}, optional={"position": LEAVES, "num_beats": LEAVES, "measure": LEAVES})
OBSERVATIONS = st.fixed_dictionaries({}, optional={"time": VALUES, "value": VALUES | POSITIONS})


@st.composite
def nearly_good(draw):
    """A list of observations in which a few fields are anything."""
    in_object = draw(st.booleans())
    data = [
        {
            "time": 0.25 + 0.375 * count,
            "value": {"position": count % 3 + 1, "num_beats": 3} if in_object else count % 4 + 1,
        }
        for count in range(12)
    ]
    for _ in range(draw(st.integers(0, 2))):
        data[draw(st.integers(0, 11))] |= draw(OBSERVATIONS)
    return {"namespace": "beat_position" if in_object else "beat", "data": data}


ANNOTATIONS = nearly_good() | st.fixed_dictionaries(
    {"namespace": st.sampled_from(["beat", "beat_position"]) | VALUES},
    optional={"data": VALUES | st.lists(OBSERVATIONS, max_size=3) | st.dictionaries(st.text(), VALUES)},
)


@given(VALUES | st.fixed_dictionaries({"annotations": VALUES | st.lists(ANNOTATIONS | VALUES, max_size=3)}))
@settings(max_examples=4 * EXAMPLES, deadline=None)
def test_any_json_that_looks_like_jams(value):
    assert_read(json.dumps(value).encode(), "lanterns.jams")


@given(
    first_s=st.floats(0, 100),
    lengths_s=st.lists(st.floats(0.11, 2.9), min_size=40, max_size=80),
    beats_per_bar=st.integers(2, 9),
    phase=st.integers(0, 8),
    between=st.sampled_from([",", ";", "\t", " "]),
    kind=st.sampled_from(["table", "beat", "beat_position"]),
)
def test_beats_are_read_back_as_they_were_written(first_s, lengths_s, beats_per_bar, phase, between, kind):
    times_s = [first_s]
    for length_s in lengths_s:
        times_s.append(times_s[-1] + length_s)
    numbers = [(count + phase) % beats_per_bar + 1 for count in range(len(times_s))]
    if kind == "table":
        rows = zip(times_s, numbers, strict=True)
        text = "".join(f"{time_s!r}{between}{number}\n" for time_s, number in rows)
        beats = beside(text.encode(), "lanterns.beats.csv")
    else:
        values = numbers if kind == "beat" else [{"position": n, "num_beats": beats_per_bar} for n in numbers]
        data = [{"time": time_s, "value": value} for time_s, value in zip(times_s, values, strict=True)]
        text = json.dumps({"annotations": [{"namespace": kind, "data": data}]})
        beats = beside(text.encode(), "lanterns.jams")
    assert beats == GivenBeats(tuple(times_s), numbers.index(1), beats_per_bar)
