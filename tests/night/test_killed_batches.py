"""A recipe whose worker is killed: what its clips sound like then, and after the next run. The killing stands in.

Yardstick: the samples of the same clips in a run that nobody disturbed.
"""

from contextlib import suppress
from pathlib import Path

import pytest
from standing_in import Pools

from render.make import Done, Kept
from render.night.batch import Batch
from render.night.job import read_work
from render.night.outcome import Failed, Outcome
from render.night.run import outcomes
from tests.night.tables import TRY, Table, receipt_of

WHOLE = ("test", "test--bare", "test--soft")


@pytest.fixture
def calm(table: Table) -> dict[str, str]:
    """The samples of each clip of an undisturbed run, in a folder of its own."""
    folder = table.folder / "calm"
    folder.mkdir()
    return samples(came(batch(table, folder), Pools()))


def batch(table: Table, folder: Path | None = None) -> Batch:
    (one,) = read_work([table.recipe(TRY)]).batches(folder or table.clips, force=False)
    return one


def came(one: Batch, pools: Pools) -> dict[str, Outcome]:
    return {outcome.name: outcome for outcome in outcomes([one], "signalsmith", 1, pools.workers)}


def samples(outcomes: dict[str, Outcome]) -> dict[str, str]:
    there = {name: one for name, one in outcomes.items() if isinstance(one, Done | Kept)}
    return {name: str(receipt_of(one)["pcm_sha256"]) for name, one in there.items()}


def tries(pools: Pools) -> list[tuple[str, ...]]:
    return [names for given in pools.given for names in given]


def test_a_recipe_whose_worker_dies_twice_comes_out_as_if_nothing_had_been(
    table: Table, calm: dict[str, str]
) -> None:
    pools = Pools(deadly={"test--bare": 2})
    assert samples(came(batch(table), pools)) == calm
    assert tries(pools) == [WHOLE, WHOLE, *((name,) for name in WHOLE), WHOLE]


def test_clips_that_a_killed_run_left_as_loud_as_each_could_be_are_brought_together_by_the_next(
    table: Table, calm: dict[str, str]
) -> None:
    """It is killed when all were made one by one, and before they are made once more together."""

    class Killed(Pools):
        def workers(self, count: int):
            if len(self.given) == 5:
                raise KeyboardInterrupt
            return super().workers(count)

    pools = Killed(deadly={"test--bare": 2})
    with suppress(KeyboardInterrupt):
        came(batch(table), pools)
    assert tries(pools)[-1] == WHOLE[-1:]
    left = {name: table.clips / f"{name}.flac" for name in WHOLE}
    alone = samples({name: Done(name, clip, ()) for name, clip in left.items()})
    assert alone != calm  # such a run does leave clips of another loudness
    again = came(batch(table), Pools())
    assert {name: type(one) for name, one in again.items()} == dict.fromkeys(WHOLE, Done)
    assert samples(again) == calm


def test_beside_a_clip_that_kills_its_worker_the_others_are_equally_loud_and_later_all_of_them(
    table: Table, calm: dict[str, str]
) -> None:
    """`bare` is the quietest: without it the others are louder, until it can be made."""
    others = came(batch(table), Pools(deadly={"test--bare": 9}))
    assert isinstance(others.pop("test--bare"), Failed)
    assert len({receipt_of(one)["matched_lufs"] for one in others.values()}) == 1
    assert all(samples(others)[name] != calm[name] for name in others)
    assert samples(came(batch(table), Pools())) == calm


def test_what_was_finished_before_its_worker_died_is_not_made_again(
    table: Table, calm: dict[str, str]
) -> None:
    came(batch(table), Pools())
    (table.clips / "test--bare.json").unlink()
    files = {name: (table.clips / f"{name}.flac").stat().st_ino for name in ("test", "test--soft")}
    pools = Pools(deadly={"test": 2})
    assert samples(came(batch(table), pools)) == calm
    assert tries(pools) == [WHOLE, WHOLE, ("test--bare",), WHOLE]
    assert files == {name: (table.clips / f"{name}.flac").stat().st_ino for name in files}


def test_clips_that_a_stopped_run_could_not_bring_together_are_left_to_do(table: Table) -> None:
    pools = Pools(deadly={"test--bare": 2})
    found = list(
        outcomes([batch(table)], "signalsmith", 1, pools.workers, stopping=lambda: len(tries(pools)) == 5)
    )
    assert tries(pools)[-1] == WHOLE[-1:]
    assert found == []
