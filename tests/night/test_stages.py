"""What workers tell of while they make clips, and what a person sees of it."""

from io import StringIO
from pathlib import Path

from rich.console import Console
from rich.progress import Progress
from standing_in import batch, made

from render.clip.stage import stage
from render.night.batch import carry_out
from render.night.job import read_work
from render.night.pool import here, processes
from render.night.screen import Screen
from render.night.stages import pipe, read
from tests.night.tables import Table

MORE_THAN_A_PIPE_HOLDS = 20_000
"""Messages of ten bytes and more; a pipe holds 64 KiB on Linux (pipe(7))."""


def test_a_clip_is_stretched_mixed_and_encoded(tmp_path: Path) -> None:
    table = Table(tmp_path)
    (one,) = read_work([table.recipe()]).batches(table.clips, force=False)
    lanes = [lane.track for lane in one.orders[0].plan.lanes]
    with pipe() as (reader, writer):
        with here(1, writer) as pool:
            pool.submit(carry_out, one, "signalsmith").result()
        told = list(read(reader))
        stage("test", "told to nobody any more")
        assert list(read(reader)) == []
    assert told == [
        *(("test", f"lane of {lane}") for lane in lanes),
        ("test", "mixing"),
        ("test", "encoding"),
    ]


def test_workers_tell_through_one_pipe_and_wait_for_nobody_to_read_it() -> None:
    with pipe() as (reader, writer):
        with processes(2, writer) as pool:
            for clip in ("a", "b"):
                pool.submit(tell_often, clip).result(timeout=60)
        told = list(read(reader))
    assert 100 < len(told) < 2 * MORE_THAN_A_PIPE_HOLDS
    assert {what for _, what in told} == {"stretching oak"}


def tell_often(clip: str) -> None:
    for _ in range(MORE_THAN_A_PIPE_HOLDS):
        stage(clip, "stretching oak")


def test_of_each_batch_at_work_a_person_sees_the_stage_that_was_told_of_last() -> None:
    console = Console(file=StringIO())
    ember, slate = batch("ember", "ember--dark"), batch("slate")
    with pipe() as (reader, writer), here(1, writer), Progress(console=console, disable=True) as progress:
        screen = Screen(console, progress, [ember, slate], reader)
        assert str(screen) == ""
        screen.began(ember)
        screen.began(slate)
        assert str(screen) == "ember, slate"
        stage("ember", "mixing")
        stage("ember--dark", "stretching oak")
        assert str(screen) == "ember--dark: stretching oak, slate"
        stage("slate", "encoding")
        screen.came(made("ember"))
        screen.came(made("ember--dark"))
        stage("ember", "told too late")
        assert str(screen).endswith("left  slate: encoding")
        screen.came(made("slate"))
        assert "slate" not in str(screen)
