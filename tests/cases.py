"""Of many cases of one claim a few are tried in every run, the rest with `--slow`."""

from collections.abc import Iterable
from typing import Any

import pytest


def first_of(few: Iterable[Any], cases: Iterable[Any]) -> list[Any]:
    """All cases of a single parameter in their order, of which every run tries the `few`."""
    tried, cases = list(few), list(cases)
    assert all(one in cases for one in tried), "a case that is not there"
    return [case if case in tried else pytest.param(case, marks=pytest.mark.slow) for case in cases]
