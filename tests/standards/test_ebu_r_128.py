"""EBU R 128: the maximum permitted true peak level of a programme is −1 dBTP. Published; quoted in EBU Tech 3343 V4
(November 2023), clauses 2.3, 3.1 and 3.4.

It is the ceiling of a clip whose recipe states none, kept by what is decoded again after encoding; what Tech 3343
(appendix 2, clause 11.2.3) takes off for lossy codecs, 1 dB, is therefore not taken off. Nothing else of the
recommendation is used: clips are as loud as their ceiling lets them be, and no loudness is written into their tags.
"""

import pytest

from render.checks.true_peak import true_peak_dbtp
from render.recipe.schema import Clip
from render.sound.levels import trim_db
from render.values import db_to_gain
from tests.standards.meters import annex_2_dbtp, sample_peak_as_true_peak_dbtp
from tests.standards.signals import periodic
from tests.standards.test_ebu_tech_3341 import TONES, is_true_peak

MOST_DBTP = -1.0


def test_a_clip_goes_up_to_the_permitted_maximum_where_its_recipe_states_none() -> None:
    assert Clip().ceiling == MOST_DBTP


@pytest.mark.parametrize("case", TONES)
def test_what_is_trimmed_to_the_maximum_reads_it_on_another_meter(case: int) -> None:
    """By the filter printed in BS.1770-5, Annex 2, within EBU Tech 3341's tolerance. Trimmed by its samples, a tone
    whose samples miss its crests would stand above the maximum."""
    period, amplitude, phase_degrees, _ = TONES[case]
    audio = periodic(period, amplitude, phase_degrees)
    trimmed = audio * db_to_gain(trim_db(true_peak_dbtp(audio), MOST_DBTP))
    assert is_true_peak(annex_2_dbtp(trimmed), MOST_DBTP)
    by_samples = audio * db_to_gain(trim_db(sample_peak_as_true_peak_dbtp(audio), MOST_DBTP))
    assert is_true_peak(annex_2_dbtp(by_samples), MOST_DBTP) == (
        case == 15
    )  # where the samples are the crests
