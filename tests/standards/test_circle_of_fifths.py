"""Keys and how they relate: the circle of fifths, as any handbook of theory prints it (common practice).

The table holds what music21 10.5 says of the twelve major keys: signature, relative and parallel minor, and the keys a
fifth above and below. Minor is the natural scale.
"""

import pytest

from render.plan.keys import key_name, places_apart, relation, shared_notes, transposed
from render.recipe.quantities import key as written_key

# Major key, sharps (flats below 0), relative minor, parallel minor, a fifth up, a fifth down.
CIRCLE = [
    ("C major", 0, "A minor", "C minor", "G major", "F major"),
    ("G major", 1, "E minor", "G minor", "D major", "C major"),
    ("D major", 2, "B minor", "D minor", "A major", "G major"),
    ("A major", 3, "F# minor", "A minor", "E major", "D major"),
    ("E major", 4, "C# minor", "E minor", "B major", "A major"),
    ("B major", 5, "G# minor", "B minor", "F# major", "E major"),
    ("F# major", 6, "D# minor", "F# minor", "Db major", "B major"),
    ("Db major", -5, "Bb minor", "Db minor", "Ab major", "F# major"),
    ("Ab major", -4, "F minor", "Ab minor", "Eb major", "Db major"),
    ("Eb major", -3, "C minor", "Eb minor", "Bb major", "Ab major"),
    ("Bb major", -2, "G minor", "Bb minor", "F major", "Eb major"),
    ("F major", -1, "D minor", "F minor", "C major", "Bb major"),
]
SIGNATURES = {key: sharps for key, sharps, *_ in CIRCLE} | {minor: sharps for _, sharps, minor, *_ in CIRCLE}
"""Of every major key and its relative minor."""

ENHARMONIC = [
    ("Gb major", -6, "F# major"), ("D# minor", 6, "Eb minor"), ("Ab minor", -7, "G# minor"),
    ("C# major", 7, "Db major"), ("Cb major", -7, "B major"), ("Db minor", -8, "C# minor"),
    ("Gb minor", -9, "F# minor"),
]  # fmt: skip
"""Keys, their signatures, and the same ones as they are written here."""

SCALES = {"major": (0, 2, 4, 5, 7, 9, 11), "minor": (0, 2, 3, 5, 7, 8, 10)}
TONICS = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}


def semitones(key: str) -> int:
    """Of a tonic, from C."""
    return (TONICS[key[0]] + {"#": 1, "b": -1, " ": 0}[key[1]]) % 12


def notes(key: str) -> set[int]:
    return {(semitones(key) + step) % 12 for step in SCALES[key.split()[1]]}


@pytest.mark.parametrize(("major", "sharps", "relative", "parallel", "above", "below"), CIRCLE)
def test_a_key_and_its_neighbours(
    major: str, sharps: int, relative: str, parallel: str, above: str, below: str
) -> None:
    assert relation(major, major) == "the same key"
    assert relation(major, relative) == relation(relative, major) == "relative keys, the same notes"
    assert (places_apart(major, relative), shared_notes(major, relative)) == (0, 7)
    assert transposed(major, 7) == above
    assert transposed(major, -7) == below
    for neighbour in (above, below):
        assert (places_apart(major, neighbour), shared_notes(major, neighbour)) == (1, 6)
        assert relation(major, neighbour) == "neighbours, all notes but one in common"
    # The parallel minor has three flats more.
    assert (places_apart(major, parallel), shared_notes(major, parallel)) == (3, 4)
    assert transposed(relative, 3) == transposed(parallel, 0)


def test_a_key_of_six_flats_has_the_neighbours_of_its_twin() -> None:
    """music21's Gb major: relative Eb minor, parallel Gb minor."""
    assert relation("Gb major", "Eb minor") == "relative keys, the same notes"
    assert (places_apart("Gb major", "Gb minor"), shared_notes("Gb major", "Gb minor")) == (3, 4)


@pytest.mark.parametrize("key", SIGNATURES)
def test_keys_are_as_far_apart_as_their_signatures(key: str) -> None:
    for other, accidentals in SIGNATURES.items():
        gap = abs(SIGNATURES[key] - accidentals)
        assert places_apart(key, other) == min(gap, 12 - gap)


def test_shared_notes_are_counted_as_the_scales_have_them() -> None:
    for one in SIGNATURES:
        for other in SIGNATURES:
            assert shared_notes(one, other) == len(notes(one) & notes(other))


def test_every_key_is_written_with_the_fewest_accidentals() -> None:
    """Of two spellings with six, F# major and Eb minor are the ones."""
    names = {key_name(number) for number in range(24)}
    assert names == {*SIGNATURES, "Eb minor"} - {"D# minor"}
    assert max(abs(SIGNATURES[name]) for name in names - {"Eb minor"}) == 6


@pytest.mark.parametrize(("spelt", "sharps", "written"), ENHARMONIC)
def test_a_key_spelt_another_way_is_the_same(spelt: str, sharps: int, written: str) -> None:
    assert relation(spelt, written) == "the same key"
    assert transposed(spelt, 0) == written
    assert (SIGNATURES.get(written, -6) - sharps) % 12 == 0


@pytest.mark.parametrize("key", [*SIGNATURES, *(spelt for spelt, *_ in ENHARMONIC)])
def test_a_key_can_be_stated_as_it_is_spelt(key: str) -> None:
    assert written_key(key) == key


def test_keys_counted_by_semitones_would_be_noticed() -> None:
    """Neighbours by their tonics are nearly strangers by their notes, and the other way round."""

    def by_semitones(key: str, other: str) -> int:
        gap = (semitones(key) - semitones(other)) % 12
        return min(gap, 12 - gap)

    assert (by_semitones("C major", "Db major"), places_apart("C major", "Db major")) == (1, 5)
    assert (by_semitones("C major", "G major"), places_apart("C major", "G major")) == (5, 1)
    # And a minor key that stood where the major key of its tonic does would be three places off.
    assert (by_semitones("C major", "C minor"), places_apart("C major", "C minor")) == (0, 3)
