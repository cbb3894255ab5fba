"""Recommendation ITU-T H.870 (03/2022), Guidelines for safe listening devices/systems, with the WHO; clause 7.1: what
the README and the pages say of hearing.

Published: 80 dB(A) for 40 hours a week for adults, 75 dB(A) for sensitive listeners and children, which is a dose of
1.6 and 0.51 Pa²h; read in the WHO's summaries and in that of ITU-T H.871, the clause in the table of contents. Equal
energy: every 3 dB more halves the time (10·log10(2) is 3.01 dB). Times at other levels are computed from that rule.

A second witness of the rule is NIOSH 98-126 (1998), Criteria for a recommended standard: occupational noise exposure,
table 1-1: 85 dB(A) for 8 hours a day, T = 480 / 2^((L - 85) / 3) minutes. Published: the formula and
85 to 100 dB(A), read in copies of its pages; the other levels are computed by it.
"""

import math
import re
from pathlib import Path

import pytest

from render.publish.cautions import HEARING
from render.publish.page import page_html
from render.publish.share import share_html

README = (Path(__file__).parents[2] / "README.md").read_text(encoding="utf-8")

ADULTS_DB, SENSITIVE_DB, HOURS_A_WEEK = 80, 75, 40
HALVING_DB = 3
WORK_DB, WORKING_DAYS = 85, 5
"""Of NIOSH: 8 hours on each of five days are the 40 of a week."""

WEEKLY_HOURS = [
    (80, 40.0, 40.0), (83, 20.0, 20.047489), (86, 10.0, 10.047546), (89, 5.0, 5.035702), (90, 3.968503, 4.0),
    (92, 2.5, 2.523829), (95, 1.25, 1.264911), (98, 0.625, 0.633957), (100, 0.393725, 0.4), (101, 0.3125, 0.317731),
    (104, 0.15625, 0.159243),
]  # fmt: skip
"""dB(A), hours by halving for every 3 dB, hours by equal energy exactly."""

NIOSH_MINUTES = [
    (82, 960), (85, 480), (88, 240), (91, 120), (94, 60), (97, 30), (100, 15), (103, 7.5), (106, 3.75),
]  # fmt: skip

TEXTS = {"README": README, "page": page_html([]), "shared file": share_html([])}

LEVEL_FIRST = re.compile(
    r"(?P<db>\d+) dB\(A\)\s+(?:for|that is|about)\s+(?P<time>\d+)\s+(?P<unit>hours a week|hours a day|minutes)"
)
TIME_FIRST = re.compile(r"(?P<time>\d+)\s+(?P<unit>hours a week)\s+at\s+(?P<db>\d+) dB\(A\)")
HALVED = re.compile(r"half\s+the time for every (\d+) dB more|every (\d+) dB more halves the time")


def hours(level_db: float, reference_db: float = ADULTS_DB, halving_db: float = HALVING_DB) -> float:
    """How long a level may be heard in a week."""
    return HOURS_A_WEEK / 2 ** ((level_db - reference_db) / halving_db)


def quotes(text: str) -> list[tuple[int, int, str]]:
    """Level in dB(A), time and its unit, of everything that a text says of levels."""
    found = [one for pattern in (TIME_FIRST, LEVEL_FIRST) for one in pattern.finditer(text)]
    return [(int(one["db"]), int(one["time"]), one["unit"]) for one in found]


def is_right(quote: tuple[int, int, str], reference_db: float, halving_db: float) -> bool:
    """Whether a whole number is what the rule gives, rounded."""
    level_db, time, unit = quote
    if unit == "hours a day":  # for work
        return abs(time - hours(level_db, WORK_DB) / WORKING_DAYS) <= 0.5
    exact = hours(level_db, reference_db, halving_db) * (60 if unit == "minutes" else 1)
    return abs(time - exact) <= 0.5


@pytest.mark.parametrize(("level_db", "by_halving_h", "exact_h"), WEEKLY_HOURS)
def test_the_rule_gives_the_table(level_db: int, by_halving_h: float, exact_h: float) -> None:
    assert hours(level_db) == pytest.approx(by_halving_h, abs=1e-6)
    assert hours(level_db, halving_db=10 * math.log10(2)) == pytest.approx(exact_h, abs=1e-6)


@pytest.mark.parametrize(("level_db", "minutes"), NIOSH_MINUTES)
def test_the_rule_gives_the_table_of_niosh_too(level_db: int, minutes: float) -> None:
    assert hours(level_db, WORK_DB) / WORKING_DAYS * 60 == pytest.approx(minutes, abs=1e-9)


def test_the_limit_for_work_is_quoted_where_sound_is_worked_with() -> None:
    assert [quote for quote in quotes(README) if quote[2] == "hours a day"] == [(WORK_DB, 8, "hours a day")]
    assert re.search(r"NIOSH\s+\(publication 98-126, 1998\)", README)


@pytest.mark.parametrize("where", TEXTS)
def test_every_level_is_quoted_with_the_time_that_the_rule_gives(where: str) -> None:
    text = TEXTS[where]
    assert (ADULTS_DB, HOURS_A_WEEK, "hours a week") in quotes(text)
    assert len(quotes(text)) == text.count("dB(A)")
    assert [quote for quote in quotes(text) if not is_right(quote, ADULTS_DB, HALVING_DB)] == []


@pytest.mark.parametrize("where", TEXTS)
def test_the_same_limit_rule_and_edition_stand_everywhere(where: str) -> None:
    text = TEXTS[where]
    assert [int(one or other) for one, other in HALVED.findall(text)] == [HALVING_DB]
    assert "Recommendation ITU-T H.870, 2022" in text
    assert re.search(r"an adult['’]s ears should\s+get", text)


def test_pages_say_it_in_the_words_of_one_place() -> None:
    assert all(text.count(HEARING) == 1 for where, text in TEXTS.items() if where != "README")


def test_what_is_quoted_is_the_dose_of_the_recommendation() -> None:
    """Sound pressure squared times hours, the reference being 20 µPa."""

    def dose_pa2h(level_db: int, time_h: int) -> float:
        return 20e-6**2 * 10 ** (level_db / 10) * time_h

    level_db, time_h, _ = quotes(HEARING)[0]
    assert dose_pa2h(level_db, time_h) == pytest.approx(1.6, rel=1e-12)
    assert dose_pa2h(SENSITIVE_DB, time_h) == pytest.approx(0.5059644256269408, rel=1e-9)


@pytest.mark.parametrize(
    ("reference_db", "halving_db"),
    [(ADULTS_DB, 5), (ADULTS_DB, 4), (ADULTS_DB, 6), (85, HALVING_DB), (SENSITIVE_DB, HALVING_DB)],
)
def test_another_limit_or_rule_would_be_noticed(reference_db: int, halving_db: int) -> None:
    """5 dB is the rule of older law on noise at work; 85 dB(A) the limit of NIOSH for work."""
    wrong = [quote for quote in quotes(README) if not is_right(quote, reference_db, halving_db)]
    assert len(wrong) >= 2


@pytest.mark.parametrize(
    ("text", "changed"),
    [
        ("89 dB(A)", "92 dB(A)"),
        ("about 19 minutes", "about 20 minutes"),
        ("at 101", "at 104"),
        ("most 85", "most 90"),
        ("8 hours a day", "10 hours a day"),
    ],
)
def test_a_number_that_was_changed_in_one_place_would_be_noticed(text: str, changed: str) -> None:
    assert README.count(text) == 1
    assert not all(is_right(quote, ADULTS_DB, HALVING_DB) for quote in quotes(README.replace(text, changed)))
