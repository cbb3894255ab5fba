"""Keys by name, and how near two of them are: by the notes they share.

Keys are counted around the circle of fifths, a minor key where its relative major stands: from one place to the next
one note of seven changes, so neighbours agree and keys four places apart or more quarrel (common practice).

A key is written as a tonic and a mode, `F minor`, spelt as its signature has the fewest accidentals; of the two with
six, F# major and Eb minor are written (common practice). Minor is the natural scale: what dance records play (common
practice).
"""

MAJOR_NAMES = ("C", "Db", "D", "Eb", "E", "F", "F#", "G", "Ab", "A", "Bb", "B")
MINOR_NAMES = ("C", "C#", "D", "Eb", "E", "F", "F#", "G", "G#", "A", "Bb", "B")

AGREE_UP_TO = 1
"""Places on the circle: the same notes, or all but one."""
TONAL_FROM = 0.3
"""Tonal weight: drums that ring reach 0.3, most records with chords have more. Below, keys hardly matter."""

_SEMITONES = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}
_SIGNS = {"": 0, "#": 1, "b": -1}


def key_name(number: int) -> str:
    """The name of key 0 to 23: C major to B major, then C minor to B minor."""
    if number < len(MAJOR_NAMES):
        return f"{MAJOR_NAMES[number]} major"
    return f"{MINOR_NAMES[number - len(MAJOR_NAMES)]} minor"


def transposed(key: str, semitones: int) -> str:
    tonic, minor = _tonic_and_mode(key)
    return key_name((tonic + semitones) % 12 + (12 if minor else 0))


def places_apart(key: str, other: str) -> int:
    """Places between two keys on the circle of fifths, 0 (the same notes) to 6."""
    gap = (_place(key) - _place(other)) % 12
    return min(gap, 12 - gap)


def shared_notes(key: str, other: str) -> int:
    """How many of their seven notes two keys share; opposite ones still have two."""
    return max(7 - places_apart(key, other), 2)


def relation(key: str, other: str) -> str:
    """What two keys are to each other, in a performer's words."""
    match places_apart(key, other):
        case 0:
            return (
                "the same key"
                if transposed(key, 0) == transposed(other, 0)
                else "relative keys, the same notes"
            )
        case 1:
            return "neighbours, all notes but one in common"
        case _:
            return f"{shared_notes(key, other)} of 7 notes in common"


def _place(key: str) -> int:
    tonic, minor = _tonic_and_mode(key)
    return (tonic + (3 if minor else 0)) * 7 % 12


def _tonic_and_mode(key: str) -> tuple[int, bool]:
    """The tonic in semitones above C, and whether the key is minor. `key` is written as in `F# minor`."""
    tonic, mode = key.split()
    return (_SEMITONES[tonic[0]] + _SIGNS[tonic[1:]]) % 12, mode == "minor"
