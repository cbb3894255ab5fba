"""What a mix needs above full scale is what has to be left on the mixer."""

import pytest

from render.checks.clip import headroom_needed_db
from render.checks.model import Readings


@pytest.mark.parametrize(("true_peak_dbtp", "needed_db"), [(3.5, 3.5), (0.0, 0.0), (-2.0, 0.0), (None, 0.0)])
def test_as_much_is_needed_as_the_peak_lies_above_full_scale(
    true_peak_dbtp: float | None, needed_db: float
) -> None:
    assert headroom_needed_db(Readings(-10.0, true_peak_dbtp, true_peak_dbtp)) == needed_db
