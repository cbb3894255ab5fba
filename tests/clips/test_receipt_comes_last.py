"""A clip is finished when its receipt is there, so nothing that can still fail comes after it."""

from pathlib import Path

import pytest

from render.faults import OutputError
from render.files.store import CACHE_VARIABLE
from tests.night.tables import Table, together


def test_a_clip_of_which_the_picture_cannot_be_written_has_no_receipt(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv(CACHE_VARIABLE, str(tmp_path / "cache"))
    table = Table(tmp_path)
    (table.clips / "test.svg").mkdir()  # no file can take its place
    (outcome,) = together(table.orders(table.recipe()))
    assert isinstance(outcome, OutputError)
    assert not (table.clips / "test.json").exists()
