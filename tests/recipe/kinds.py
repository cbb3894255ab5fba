"""Every key of the format with a value of every kind, right or wrong."""

import copy
from functools import cache
from io import StringIO

import pytest
from ruamel.yaml import YAML
from written import FULL

KINDS = {
    "a list": ["x"],
    "a mapping": {"y": "z"},
    "a number": 7,
    "text": "qwx zz",
    "a truth": True,
    "nothing": None,
}
TEXT, NUMBER, MAPPING, LIST, NOTHING = "text", "a number", "a mapping", "a list", "nothing"
RIGHT_KINDS = {
    ("recipe",): (),
    ("title",): (TEXT,),
    ("tempo",): (NOTHING,),
    ("lead",): (NOTHING,),
    ("tail",): (NOTHING,),
    ("tracks",): (MAPPING,),
    ("tracks", "lanterns"): (MAPPING,),
    ("tracks", "lanterns", "file"): (TEXT,),
    ("tracks", "lanterns", "bpm"): (NOTHING,),
    ("tracks", "lanterns", "first_beat"): (NUMBER, NOTHING),
    ("tracks", "lanterns", "beats_per_bar"): (NUMBER, NOTHING),
    ("tracks", "lanterns", "key"): (NOTHING,),
    ("tracks", "lanterns", "offset"): (NOTHING,),
    ("tracks", "ironworks", "markers"): (MAPPING, NOTHING),
    ("tracks", "lanterns", "markers", "drop"): (NUMBER,),
    ("tracks", "lanterns", "markers", "loop"): (NUMBER,),
    ("tracks", "lanterns", "gain"): (NOTHING,),
    ("tracks", "lanterns", "pitch"): (NOTHING,),
    ("tracks", "lanterns", "enter"): (NOTHING,),
    ("tracks", "lanterns", "leave"): (NOTHING,),
    ("tracks", "lanterns", "fade_in"): (NOTHING,),
    ("tracks", "lanterns", "fade_out"): (NOTHING,),
    ("tracks", "wickergauge", "count"): (NOTHING,),
    ("tracks", "wickergauge", "nudge"): (NOTHING,),
    ("tracks", "wickergauge", "shift"): (NOTHING,),
    ("tracks", "wickergauge", "phrase"): (NOTHING,),
    ("tracks", "wickergauge", "tonal_weight"): (NOTHING,),
    ("tracks", "wickergauge", "voice"): (NOTHING,),
    ("low_cut",): (MAPPING, NOTHING),
    ("low_cut", "below"): (NOTHING,),
    ("low_cut", "keep"): (LIST,),
    ("low_cut", "keep", 1): (MAPPING,),
    ("low_cut", "keep", 1, "from"): (),
    ("low_cut", "keep", 1, "track"): (LIST,),
    ("jump_back",): (LIST, NOTHING),
    ("jump_back", 0): (MAPPING,),
    ("jump_back", 0, "track"): (),
    ("jump_back", 0, "at"): (),
    ("jump_back", 0, "to"): (NUMBER,),
    ("jump_back", 0, "loop"): (NOTHING,),
    ("try",): (MAPPING, NOTHING),
    ("try", "short"): (MAPPING,),
    ("clip",): (MAPPING, NOTHING),
    ("clip", "format"): (NOTHING,),
    ("clip", "ceiling"): (NOTHING,),
}
WRONG = [
    pytest.param(
        path,
        kind,
        id=f"{'.'.join(map(str, path))} is {kind}",
        # One kind for each key, the next one for the next key, is tried in every run.
        marks=[] if at == number % (len(KINDS) - len(right)) else pytest.mark.slow,
    )
    for number, (path, right) in enumerate(RIGHT_KINDS.items())
    for at, kind in enumerate(kind for kind in KINDS if kind not in right)
]


@cache
def full():
    return YAML().load(FULL)


def with_value(path, value):
    """The full recipe's data with something else at a path."""
    data = copy.deepcopy(full())
    holder = data
    for step in path[:-1]:
        holder = holder[step]
    holder[path[-1]] = value
    return data


def dumped(data):
    stream = StringIO()
    YAML().dump(data, stream)
    return stream.getvalue()
