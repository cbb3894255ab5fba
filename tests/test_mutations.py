"""The tests notice when a line that matters is broken, and the check of that notices when it does not fit any more."""

from dataclasses import replace
from pathlib import Path

import pytest

from tests import mutations
from tests.mutations import ALIVE, MUTATIONS, NOTICED, UNFIT, main


@pytest.mark.parametrize("mutation", MUTATIONS, ids=lambda one: one.what)
def test_the_line_to_break_stands_in_its_file_once(mutation: mutations.Mutation) -> None:
    text = (mutations.ROOT / "render" / mutation.file).read_text(encoding="utf-8")
    assert text.count(mutation.old) == 1
    assert mutation.new != mutation.old
    assert all((mutations.ROOT / test.partition("::")[0]).is_file() for test in mutation.tests)


@pytest.mark.slow
def test_a_line_that_is_not_there_and_a_change_that_changes_nothing_are_told(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    sign = next(one for one in MUTATIONS if one.what.startswith("headroom"))
    monkeypatch.setattr(mutations, "MUTATIONS", (replace(sign, old="return of nothing"),))
    assert main([]) == UNFIT
    assert "it stands 0 times" in capsys.readouterr().out
    monkeypatch.setattr(mutations, "MUTATIONS", (replace(sign, new=sign.old),))
    assert main([]) == ALIVE
    assert "NOBODY NOTICED" in capsys.readouterr().out


@pytest.mark.slow
def test_every_mutation_is_noticed(capsys: pytest.CaptureFixture[str]) -> None:
    assert main([]) == NOTICED, capsys.readouterr().out


def test_the_copy_is_what_is_tested_and_the_tree_stays_as_it_is(tmp_path: Path) -> None:
    copy = mutations._copied(tmp_path)
    assert (copy / "render/values.py").read_bytes() == (mutations.ROOT / "render/values.py").read_bytes()
