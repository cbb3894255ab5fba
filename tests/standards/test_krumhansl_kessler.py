"""C. L. Krumhansl, E. J. Kessler, Tracing the dynamic changes in perceived tonal organization in a spatial
representation of musical keys, Psychological Review 89 (1982), 334-368; also Krumhansl, Cognitive Foundations of
Musical Pitch (1990), chapter 2.

Published: the ratings of both profiles, as music21 10.5 and AMADS's key_profiles_literature.py have them, which agree.
A copy of the major profile with 2.33 for the second pitch class goes round; music21 calls it a likely typing error.
"""

import numpy as np
import pytest

from render.analysis.key import MAJOR_PROFILE, MINOR_PROFILE, _correlations, key_scores
from render.plan.keys import key_name

MAJOR = (6.35, 2.23, 3.48, 2.33, 4.38, 4.09, 2.52, 5.19, 2.39, 3.66, 2.29, 2.88)
MINOR = (6.33, 2.68, 3.52, 5.38, 2.60, 3.53, 2.54, 4.75, 3.98, 2.69, 3.34, 3.17)
MISTYPED = (6.35, 2.33, *MAJOR[2:])

TO_MAJOR = (1.0, -0.5005, 0.0414, -0.1043, -0.1862, 0.591, -0.6828, 0.591, -0.1862, -0.1043, 0.0414, -0.5005)
TO_MINOR = (
    0.5121,
    -0.3003,
    0.2374,
    -0.6532,
    0.5361,
    0.2139,
    -0.3706,
    0.2432,
    -0.5096,
    0.6496,
    -0.4022,
    -0.1564,
)
"""Pearson's correlation of the C major profile with that of each key from C up, computed from the ratings."""
ROUNDED = 5e-4

BOOK = {("major", 5): 0.591, ("major", 7): 0.591, ("minor", 9): 0.651, ("minor", 0): 0.511}
"""C major to F, G, A minor and C minor as the book prints them (1990, chapter 2; from memory)."""

NO_BASS = np.zeros(12)


def test_the_profiles_are_the_printed_ones() -> None:
    assert MAJOR_PROFILE == MAJOR
    assert MINOR_PROFILE == MINOR
    assert (sum(MAJOR), sum(MINOR)) == pytest.approx((41.79, 44.51))


def correlations(major: tuple[float, ...]) -> list[float]:
    """The key finder's own correlation of a C major profile with every key, C to B major, then C to B minor."""
    return list(_correlations(np.array(major), np.array(MAJOR_PROFILE), np.array(MINOR_PROFILE)))


def test_a_key_is_correlated_with_every_other_as_published() -> None:
    assert correlations(MAJOR) == pytest.approx([*TO_MAJOR, *TO_MINOR], abs=ROUNDED)
    nearest = sorted(zip(correlations(MAJOR), range(24), strict=True), reverse=True)[1:6]
    assert {key_name(key) for _, key in nearest} == {"A minor", "F major", "G major", "E minor", "C minor"}


def test_the_book_prints_the_same_to_its_rounding() -> None:
    """From the ratings it is 0.650 and 0.512 where the book has 0.651 and 0.511."""
    found = correlations(MAJOR)
    for (mode, tonic), printed in BOOK.items():
        assert found[tonic + 12 * (mode == "minor")] == pytest.approx(printed, abs=0.002)


def test_a_mistyped_rating_or_a_profile_turned_the_other_way_would_be_noticed() -> None:
    expected = [*TO_MAJOR, *TO_MINOR]
    assert correlations(MISTYPED) != pytest.approx(expected, abs=ROUNDED)
    turned = [
        np.corrcoef(MAJOR, np.roll(profile, -tonic))[0, 1]
        for profile in (MAJOR, MINOR)
        for tonic in range(12)
    ]
    assert turned != pytest.approx(expected, abs=0.1)


@pytest.mark.parametrize("key", range(24))
def test_pitches_as_the_listeners_rated_them_are_heard_in_their_key(key: int) -> None:
    """By the finder's whole comparison, in which these ratings are one part of three."""
    ratings = np.roll(MAJOR if key < 12 else MINOR, key % 12)
    assert int(np.argmax(key_scores(ratings, NO_BASS, NO_BASS, NO_BASS))) == key
