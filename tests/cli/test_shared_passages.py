"""What two recipes share is stretched once, also where two workers want it at the same moment."""

from collections.abc import Callable

import pytest

from render.files.store import CACHE_VARIABLE
from tests.cli.desk import STRETCHED, Desk


@pytest.mark.slow
def test_two_workers_that_want_one_passage_at_once_stretch_it_once(
    desk: Desk, rubberband: Callable[[str], None], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Seen from how often the engine is started; it takes its time, and gives back what it was given.

    No other test may find that in its cache.
    """
    monkeypatch.setenv(CACHE_VARIABLE, str(desk.folder.parent / "cache"))
    rubberband(
        'echo began >>"$TMPDIR/began"; sleep 3; for one; do given=$wanted; wanted=$one; done; cp "$given" "$wanted"'
    )
    desk.recipe("a.yaml", STRETCHED)
    desk.recipe("b.yaml", STRETCHED)
    desk.run_apart("render", ".", "--engine", "rubberband", "--jobs", "2", "--plain")
    assert (desk.folder.parent / "began").read_text() == "began\n"
