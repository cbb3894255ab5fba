"""How fast a run goes, and how long the rest will take, by a clock that the test turns."""

import pytest

from render.night import progress
from render.night.progress import Pace


class Clock:
    now_s = 1_000.0

    def monotonic(self) -> float:
        return self.now_s


@pytest.fixture
def clock(monkeypatch: pytest.MonkeyPatch) -> Clock:
    clock = Clock()
    monkeypatch.setattr(progress, "time", clock)
    return clock


def test_before_the_first_clip_came_nothing_is_told(clock: Clock) -> None:
    pace = Pace(sound_s=100.0)
    assert str(pace) == ""
    clock.now_s += 60.0
    assert str(pace) == ""


def test_what_is_left_takes_as_long_as_what_was_made(clock: Clock) -> None:
    """Of 100 s of sound 20 were made in 30 s: 80 are left, at 1.5 s each 120 s; and 2 clips in 30 s are 4 a minute."""
    pace = Pace(sound_s=100.0)
    clock.now_s += 30.0
    pace.came(5.0, kept=False)
    pace.came(15.0, kept=False)
    assert str(pace) == "4.0 a minute, about 2 min 00 s left"


def test_it_follows_the_clock_while_nothing_comes(clock: Clock) -> None:
    """One clip of 10 s in 20 s, and then none for 20 s more: 10 s of sound are left, which take 20 s, then 40 s."""
    pace = Pace(sound_s=20.0)
    clock.now_s += 20.0
    pace.came(10.0, kept=False)
    assert str(pace) == "3.0 a minute, about 20 s left"
    clock.now_s += 20.0
    assert str(pace) == "1.5 a minute, about 40 s left"


def test_clips_that_were_there_count_neither_as_made_nor_as_left(clock: Clock) -> None:
    """50 of 100 s of sound were there; 10 s were made in 60 s, so 40 are left, which take 240 s."""
    pace = Pace(sound_s=100.0)
    pace.came(50.0, kept=True)
    clock.now_s += 60.0
    assert str(pace) == ""
    pace.came(10.0, kept=False)
    assert str(pace) == "1.0 a minute, about 4 min 00 s left"


def test_with_the_last_clip_nothing_is_left(clock: Clock) -> None:
    pace = Pace(sound_s=20.0)
    clock.now_s += 60.0
    pace.came(10.0, kept=False)
    pace.came(10.0, kept=True)
    assert str(pace) == "1.0 a minute, about 0 s left"
