"""Who is at work when, what is tried again, and what is given up: the run with workers and work that stand in."""

from collections.abc import Callable, Sequence
from typing import Any

import pytest
from standing_in import Pools, all_made, batch, made

from render.make import Done, Kept
from render.night import run
from render.night.batch import Batch
from render.night.outcome import Failed, Outcome
from render.night.run import UNEQUAL, limit_s, outcomes

KILLED = "its worker was killed twice, perhaps for want of memory; close other programs"


@pytest.fixture(autouse=True)
def work_that_succeeds(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(run, "carry_out", all_made)


def spend(batches: Sequence[Batch], pools: Pools, jobs: int = 2, **options: Any) -> dict[str, Outcome]:
    """What came of each clip; none comes twice."""
    came = list(outcomes(batches, "signalsmith", jobs, pools.workers, **options))
    assert len({outcome.name for outcome in came}) == len(came)
    return {outcome.name: outcome for outcome in came}


def failing(cause: str, *names: str) -> Callable[[Batch, str], list[Outcome]]:
    """Work that fails of one cause at these names: at each as often as it stands there."""
    left = list(names)

    def carry_out(batch: Batch, choice: str) -> list[Outcome]:
        came: list[Outcome] = []
        for name in batch.names:
            if name in left:
                left.remove(name)
                came.append(Failed(name, "told", "", ours=False, cause=cause))  # type: ignore[arg-type]
            else:
                came.append(made(name))
        return came

    return carry_out


# --- workers that are killed ---


@pytest.mark.parametrize("deaths", [1, 2])
def test_what_was_at_work_when_a_pool_broke_is_tried_once_more_alone(deaths: int) -> None:
    pools = Pools(deadly={"c": deaths})
    came = spend([batch(name) for name in "abcdef"], pools)
    assert sorted(came) == list("abcdef")
    failed = {name: o.reason for name, o in came.items() if isinstance(o, Failed)}
    assert failed == ({"c": KILLED} if deaths == 2 else {})
    assert all(("c",) not in given or given == [("c",)] for given in pools.given[1:])
    assert sum(given.count(("c",)) for given in pools.given) == 2


def test_of_a_batch_that_kills_its_worker_twice_only_the_guilty_clip_fails() -> None:
    """The batch, the batch alone, and then its clips; the good ones at last together, for they share a loudness."""
    pools = Pools(deadly={"a--2": 9})
    came = spend([batch("a", "a--2", "a--3"), batch("b")], pools)
    assert [name for name, outcome in came.items() if isinstance(outcome, Failed)] == ["a--2"]
    assert {name for name, outcome in came.items() if isinstance(outcome, Done)} == {"a", "a--3", "b"}
    tries = [names for given in pools.given for names in given if names != ("b",)]
    whole = ("a", "a--2", "a--3")
    assert tries == [whole, whole, ("a",), ("a--2",), ("a--3",), ("a", "a--3")]


def test_clips_that_only_together_kill_their_worker_are_told_not_to_be_equally_loud(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    pools = Pools()
    real = pools.workers

    def deadly_together(count: int) -> Any:
        pools.deadly["a"] = (
            0 if len(pools.given) in (2, 3) else 9
        )  # the third and fourth pool have one clip each
        return real(count)

    monkeypatch.setattr(pools, "workers", deadly_together)
    came = spend([batch("a", "a--2")], pools)
    assert [names for given in pools.given[2:] for names in given] == [("a",), ("a--2",), ("a", "a--2")]
    assert {name: o.reason for name, o in came.items() if isinstance(o, Failed)} == {
        "a": UNEQUAL,
        "a--2": UNEQUAL,
    }


# --- what takes too long ---


@pytest.fixture
def short_limits(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(run, "LIMIT_S", 0.2)
    monkeypatch.setattr(run, "LIMIT_PER_LANE_SECOND", 0.0)


def test_a_limit_grows_with_the_sound_that_is_asked_for() -> None:
    """Two lanes of ten seconds each: 300 s, and 5 s for each of the 20 s."""
    assert limit_s(batch("a")) == pytest.approx(400.0)
    assert limit_s(batch("a", "a--2")) == pytest.approx(500.0)


@pytest.mark.usefixtures("short_limits")
@pytest.mark.parametrize("times", [1, 2])
def test_a_clip_that_does_not_end_is_ended_and_tried_once_more(times: int) -> None:
    pools = Pools(endless={"b": times})
    came = spend([batch(name) for name in "abcd"], pools)
    assert sorted(came) == list("abcd")
    assert [name for name, outcome in came.items() if isinstance(outcome, Failed)] == ["b"] * (times == 2)
    assert len(pools.ended) == times
    if times == 2:
        assert "did not end within 0 s" in came["b"].reason  # type: ignore[union-attr]


@pytest.mark.usefixtures("short_limits")
def test_what_was_at_work_beside_a_clip_that_does_not_end_begins_once_more(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """c does not end in its first pool either, but had begun later and is not over its limit when that is ended."""
    pools = Pools(endless={"b": 2, "c": 1})
    limits = {"b": 0.2}
    monkeypatch.setattr(run, "limit_s", lambda batch: limits.get(batch.names[0], 60.0))
    came = spend([batch(name) for name in "abcd"], pools)
    assert [name for name, outcome in came.items() if isinstance(outcome, Failed)] == ["b"]
    assert [given.count(("c",)) for given in pools.given] == [1, 1, 0]


@pytest.mark.usefixtures("short_limits")
def test_of_a_batch_that_does_not_end_only_the_guilty_clip_fails() -> None:
    pools = Pools(endless={"a--2": 9})
    came = spend([batch("a", "a--2", "a--3")], pools)
    assert [name for name, outcome in came.items() if isinstance(outcome, Failed)] == ["a--2"]


# --- what fails ---


@pytest.mark.parametrize(
    ("cause", "failures", "fails", "tries"),
    [("passing", 1, False, 2), ("passing", 2, True, 2), ("lasting", 1, True, 1)],
)
def test_only_what_may_pass_is_tried_again_and_once(
    monkeypatch: pytest.MonkeyPatch, cause: str, failures: int, fails: bool, tries: int
) -> None:
    monkeypatch.setattr(run, "carry_out", failing(cause, *["a--2"] * failures))
    pools = Pools()
    came = spend([batch("a", "a--2"), batch("b")], pools)
    assert isinstance(came["a--2"], Failed) == fails
    assert isinstance(came["a"], Done)
    assert sum(given.count(("a", "a--2")) for given in pools.given) == tries


def test_a_second_try_makes_by_force_only_what_failed(monkeypatch: pytest.MonkeyPatch) -> None:
    seen: list[list[bool]] = []
    fail = failing("passing", "a--2")

    def carry_out(batch: Batch, choice: str) -> list[Outcome]:
        seen.append([order.force for order in batch.orders])
        return fail(batch, choice)

    monkeypatch.setattr(run, "carry_out", carry_out)
    spend([batch("a", "a--2", force=True)], Pools())
    assert seen == [[True, True], [False, True]]


# --- when to stop ---


def test_no_batch_is_begun_once_the_disk_is_full(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(run, "carry_out", failing("full", "b"))
    pools = Pools()
    came = spend([batch(name) for name in "abcdef"], pools, jobs=1)
    assert sorted(came) == ["a", "b"]
    assert pools.given == [[("a",), ("b",)]]


def test_no_batch_is_begun_once_the_run_is_asked_to_stop() -> None:
    pools = Pools(deadly={"a": 1})
    begun: list[str] = []
    came = spend(
        [batch(name) for name in "abcdef"],
        pools,
        jobs=1,
        began=lambda batch: begun.append(batch.names[0]),
        stopping=lambda: len(begun) >= 3,
    )
    assert begun == list("abc")
    assert sorted(came) == ["b", "c"]  # `a` would have been tried once more


def test_no_more_workers_are_asked_for_than_there_is_work() -> None:
    pools = Pools()
    spend([batch("a"), batch("b", "b--2")], pools, jobs=8)
    assert pools.sizes == [2]


def test_what_is_kept_counts_as_well_as_what_is_made(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(
        run, "carry_out", lambda batch, choice: [Kept(name, made(name).clip) for name in batch.names]
    )
    assert all(isinstance(outcome, Kept) for outcome in spend([batch("a", "a--2")], Pools()).values())
