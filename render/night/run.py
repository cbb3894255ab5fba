"""Carrying out batches: one clip's failure is its own, and what may pass is tried once more."""

from collections.abc import Callable, Generator, Sequence
from contextlib import closing
from dataclasses import dataclass, field, replace
from functools import partial

from render.clip.order import Done, Kept
from render.files.engines import EngineChoice
from render.night.batch import Batch, carry_out
from render.night.outcome import Failed, Outcome
from render.night.tasks import KILLED, LESS_MEMORY, Lost, Rules, Workers, attempts
from render.night.there import kept_in

LIMIT_S = 300.0
LIMIT_PER_LANE_SECOND = 5.0
"""What a batch may take: so much, and so many seconds for each second of each lane of its clips. One core needs a
tenth of that or less; the limits are for what hangs, not for a busy machine."""

UNEQUAL = (
    "it is there, but not as loud as its variants, as making them together ends their worker;"
    " close other programs and run it again"
)


def limit_s(batch: Batch) -> float:
    """How long a batch may be at work before it is ended."""
    plans = [order.plan for order in batch.orders]
    return LIMIT_S + LIMIT_PER_LANE_SECOND * sum(len(plan.lanes) * plan.clock.duration_s for plan in plans)


def outcomes(
    batches: Sequence[Batch],
    choice: EngineChoice,
    jobs: int,
    workers: Workers,
    began: Callable[[Batch], None] = lambda _: None,
    stopping: Callable[[], bool] = lambda: False,
) -> Generator[Outcome]:
    """What comes of each clip, as batches are finished, `jobs` of them at work at once; each clip once.

    A batch whose worker is killed, and one of which a clip fails from what may pass, is tried once more, alone.
    Where its worker dies again, and where it took too long, its clips are tried one by one, so that only the guilty
    one fails. No batch is begun once `stopping` says so, or the disk is full.
    """
    run = _Run(partial(carry_out, choice=choice), partial(kept_in, choice=choice), workers, began, stopping)
    again: list[_Again] = []
    with closing(run.attempts(batches, jobs)) as came:
        for batch, made in came:
            if isinstance(made, Lost):
                again.append(_Again(batch, batch.names, made))
                continue
            passing = {one.name for one in made if isinstance(one, Failed) and one.cause == "passing"}
            yield from (one for one in made if one.name not in passing)
            if passing:
                again.append(_Again(_once_more(batch, passing), tuple(passing)))
    for one in again:
        yield from run.once_more(one)


@dataclass(frozen=True)
class _Again:
    """A batch to be tried once more, alone, for the clips of these names."""

    batch: Batch
    names: tuple[str, ...]
    lost: Lost | None = None


@dataclass
class _Run:
    carry_out: Callable[[Batch], list[Outcome]]
    kept_in: Callable[[Batch], list[Kept]]
    workers: Workers
    began: Callable[[Batch], None]
    stopping: Callable[[], bool]
    full: bool = field(default=False, init=False)

    def attempts(self, batches: Sequence[Batch], jobs: int) -> Generator[tuple[Batch, list[Outcome] | Lost]]:
        rules = Rules(limit_s, self.began, lambda: self.full or self.stopping())
        with closing(attempts(batches, self.carry_out, jobs, self.workers, rules)) as came:
            for batch, made in came:
                if not isinstance(made, Lost):
                    self.full |= any(isinstance(one, Failed) and one.cause == "full" for one in made)
                yield batch, made

    def once_more(self, again: _Again) -> Generator[Outcome]:
        """The second try of a batch."""
        batch, lost = again.batch, again.lost
        if lost is Lost.LATE and len(batch.orders) > 1:
            yield from self._one_by_one(batch)
            return
        for _, made in self.attempts([batch], 1):
            if not isinstance(made, Lost):
                yield from (one for one in made if one.name in again.names)
            elif len(batch.orders) > 1:
                yield from (one for one in self._one_by_one(batch) if one.name in again.names)
            else:
                yield _given_up(batch, made)

    def _one_by_one(self, batch: Batch) -> list[Outcome]:
        """Each clip alone that is not there yet; then all are brought to one loudness, as they would have been.

        Those that are only as loud as each can be come to nothing where the run is to stop before that, and have
        failed where it came to nothing: a comparison of them would not be fair. The next run tries again.
        """
        alone: dict[str, Outcome] = {one.name: one for one in self.kept_in(batch)}
        for order in [order for order in batch.orders if order.plan.name not in alone]:
            for single, made in self.attempts([Batch((order,))], 1):
                alone[order.plan.name] = _given_up(single, made) if isinstance(made, Lost) else made[0]
        well = [order for order in batch.orders if isinstance(alone.get(order.plan.name), Done | Kept)]
        if len(well) > 1:
            all_of_them = Batch(tuple(replace(order, force=False) for order in well))
            together = [made for _, made in self.attempts([all_of_them], 1)]
            if not together:
                return [one for one in alone.values() if not isinstance(one, Done)]
            for made in together:
                if isinstance(made, Lost):
                    unequal = [one.name for one in alone.values() if isinstance(one, Done)]
                    alone |= {name: Failed(name, UNEQUAL, "", ours=False) for name in unequal}
                else:
                    alone |= {one.name: one for one in made if not isinstance(one, Kept)}
        return list(alone.values())


def _once_more(batch: Batch, names: set[str]) -> Batch:
    """A batch in which only these clips are made whatever is there: the others have just been made."""
    orders = (replace(one, force=one.force and one.plan.name in names) for one in batch.orders)
    return Batch(tuple(orders))


def _given_up(batch: Batch, lost: Lost) -> Failed:
    (order,) = batch.orders
    if lost is Lost.LATE:
        reason = f"it did not end within {limit_s(batch):.0f} s; try it alone"
    else:
        reason = f"{KILLED}; {LESS_MEMORY}"
    return Failed(order.plan.name, reason, "", ours=False)
