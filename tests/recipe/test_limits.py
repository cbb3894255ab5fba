"""A recipe has room for what a performer does, and no more."""

import pytest
from written import FULL, faults


def told(text: str) -> list[str]:
    return [f"{fault.wrong}; {fault.right}" for fault in faults(text)]


def test_more_than_eight_tracks_are_refused():
    track = "  t{n}: {file: a.wav, bpm: 174, first_beat: 0, markers: {drop: bar 9}}\n"
    recipe = "recipe: 1\ntitle: Many\ntracks:\n"
    assert told(recipe + "".join(track.replace("{n}", str(n)) for n in range(8))) == []
    said = told(recipe + "".join(track.replace("{n}", str(n)) for n in range(9)))
    assert said == ["the recipe has 9 tracks; 8 are the most"]


@pytest.mark.parametrize(("count", "said"), [(64, []), (65, ["'jump_back' has 65 entries; 64 are the most"])])
def test_more_than_sixty_four_jumps_are_refused(count, said):
    entry = "  - {track: lanterns, at: landing, to: loop}\n"
    before, _, after = FULL.partition("jump_back:\n")
    rest = after[after.index("try:") :]
    assert told(before + "jump_back:\n" + entry * count + rest) == said


def test_variants_that_differ_in_capitals_alone_are_refused():
    """Some file systems take `clip--Short.mp3` and `clip--short.mp3` for one file."""
    said = told(FULL.replace("  short:\n", "  Both-Drop:\n"))
    assert said == [
        "'Both-Drop' and 'both-drop' would be one file on some disks; give one of them another name"
    ]
