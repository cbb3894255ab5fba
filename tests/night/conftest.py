"""A cache and a table of a test's own."""

from pathlib import Path

import pytest

from render.files.store import CACHE_VARIABLE
from tests.night.tables import Table


@pytest.fixture
def cache(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A cache with nothing in it."""
    monkeypatch.setenv(CACHE_VARIABLE, str(tmp_path / "cache"))
    return tmp_path / "cache"


@pytest.fixture
def table(tmp_path: Path, cache: Path) -> Table:
    return Table(tmp_path)
