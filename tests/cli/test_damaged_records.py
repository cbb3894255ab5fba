"""A damaged record is refused in one line, or told of, or makes the clip that the undamaged one makes.

What a reader can know of damage, by format:

- Ogg Vorbis and Opus: every page has a CRC-32 and a number (RFC 3533, section 6): all of it.
- FLAC: every frame has a CRC-16 over it, a CRC-8 over its header and its own place (RFC 9639, section 9): all of the
  sound.
- MP3: its first frame may hold a CRC-16 of all music and one of itself: all of it, then. Without one, that a frame does
  not begin where the one before it ends, and that the last one is not whole; changed music is not noticed, and a copy
  that broke off is a shorter record.
- M4A: no checksum. A packet that does not decode, and an index that contradicts itself; of AAC most changes break a
  packet, of the lossless codec few do.
- WAV and AIFF: no checksum. A header that contradicts itself, and sound that is promised and not there; a changed
  sample is a sample.

So what may go unnoticed is a short wrong sound in a format that cannot know better, but never sound at a wrong time.
"""

from collections.abc import Sequence
from pathlib import Path

import pytest
from damaged_records import ENCODED, PLACES, Case, Outcome, cases, is_a_glitch, outcomes, table
from desk import EMBER, RATE_HZ, SLATE, TEMPO_BPM

CANNOT_KNOW = {"WAV", "AIFF", "MP3 without a tag", "M4A", "M4A, index first", "M4A, lossless"}


def assert_right(found: Sequence[tuple[Case, Outcome]]) -> None:
    wrong = [
        f"{case}: {outcome}"
        for case, outcome in found
        if outcome.look not in ("refused", "told", "heard")
        or outcome.render not in ("refused", "told", "right", "unnoticed")
        or (outcome.render == "unnoticed" and (case.form not in CANNOT_KNOW or case.what.startswith("cut")))
    ]
    assert not wrong, "\n".join(wrong)


@pytest.mark.slow
@pytest.mark.parametrize("form", ENCODED)
def test_every_damaged_record_has_a_right_outcome(tmp_path: Path, form: str) -> None:
    found = [*outcomes([*cases([form], tmp_path)], tmp_path)]
    print(table(found))  # noqa: T201 - shown by `pytest -rP`
    assert len(found) == 2 * PLACES
    assert_right(found)
    refused = [outcome for _, outcome in found if outcome.render == "refused"]
    assert len(refused) >= PLACES // 2  # most of a record that is cut before the clip's end


def test_no_outcome_but_a_right_one_passes() -> None:
    case, cut = Case("FLAC", "byte 1 changed", b""), Case("WAV", "cut at 1", b"")
    for bad in ("hangs", "crashes", "fails", "WRONG", "unnoticed"):
        with pytest.raises(AssertionError):
            assert_right([(case, Outcome("heard", bad))])
    with pytest.raises(AssertionError):
        assert_right([(cut, Outcome("heard", "unnoticed"))])
    with pytest.raises(AssertionError):
        assert_right([(case, Outcome("is garbled", "right"))])
    assert_right([(case, Outcome("refused", "told"))])


def test_sound_at_a_wrong_time_is_no_glitch() -> None:
    """The clip's first beat is the fifth of each record; the second record is a millisecond late in the wrong one."""
    frames = 3 * RATE_HZ
    ember, slate = (round((first_s + 4 * 60 / TEMPO_BPM) * RATE_HZ) for first_s in (0.25, 0.5))
    right = 0.6 * EMBER[ember : ember + frames] + 0.5 * SLATE[slate : slate + frames]
    late = 0.6 * EMBER[ember : ember + frames] + 0.5 * SLATE[slate - 44 : slate - 44 + frames]
    assert not is_a_glitch(late, right)
    louder = 0.59 * EMBER[ember : ember + frames] + 0.51 * SLATE[slate : slate + frames]
    assert is_a_glitch(louder, right)
    louder[RATE_HZ : RATE_HZ + 100, 0] += 0.2
    assert is_a_glitch(louder, right)
    louder[2 * RATE_HZ, 1] += 0.2
    assert not is_a_glitch(louder, right)
