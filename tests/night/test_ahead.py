"""What lies before a run: how much of its clips was stretched already, held against what the run then does."""

import shutil
from dataclasses import replace
from pathlib import Path

import pytest
import soundfile

from render.files import shelf
from render.files.shelf import LIMIT_VARIABLE
from render.make import Done, Order
from render.night.ahead import Ahead, Passages, ahead_of
from render.night.batch import batches_of
from render.night.estimate import Costs, estimate
from tests.night.tables import TRY, Counting, Table, together

EVERY_KIND = """\
try:
  follow: {tracks: {pad: {pitch: follow}}}
  higher: {tracks: {hits: {pitch: +1 semitone}}}
  jump: {jump_back: [{track: pad, at: landing, to: bar 2, loop: 2 beats}]}
"""
"""A record stretched, plainly resampled, only moved in pitch, and in a loop."""
OTHER = "low_cut: {keep: [{from: start, track: pad}]}"


def ahead(*orders: Order) -> Ahead:
    return ahead_of(batches_of(orders), "signalsmith")


def counts(*orders: Order) -> dict[str, tuple[int, int, int]]:
    """Of each clip that is to be made: its passages, those on the shelf, and those of clips before it."""
    return {name: (p.count, p.cached, p.shared) for name, p in ahead(*orders).to_make.items()}


def test_variants_share_what_the_first_of_them_stretches(table: Table) -> None:
    orders = table.orders(table.recipe(TRY))
    assert counts(*orders) == {"test": (2, 0, 0), "test--bare": (2, 0, 2), "test--soft": (2, 0, 2)}


def test_another_recipe_takes_what_one_before_it_stretches_and_what_a_run_has_stretched(table: Table) -> None:
    (one,), (other,) = (
        table.orders(table.recipe(rest, name)) for rest, name in (("", "one"), (OTHER, "two"))
    )
    assert counts(one, other) == {"one": (2, 0, 0), "two": (2, 0, 2)}
    together([one])
    assert counts(one, other) == {"two": (2, 2, 0)}


def test_a_jump_back_takes_one_passage_more_and_the_rounds_of_a_loop_are_one(table: Table) -> None:
    """The pad goes on from bar 1 in two rounds of two beats: one passage before the landing, one that repeats."""
    jump = "jump_back: [{track: pad, at: landing, to: bar 2, loop: 2 beats}]"
    (plain,), (jumping,) = (table.orders(table.recipe(rest, name)) for rest, name in (("", "a"), (jump, "b")))
    together([plain])
    assert counts(jumping) == {"b": (3, 1, 0)}


def test_forced_nothing_of_the_shelf_counts_nor_of_other_recipes_but_variants_share(table: Table) -> None:
    """And the cache does not grow: what is stretched again takes the place of the same."""
    forced = [
        order
        for recipe in (table.recipe(TRY), table.recipe(OTHER, name="two"))
        for order in table.orders(recipe, force=True)
    ]
    together([replace(order, force=False) for order in forced])
    assert counts(*forced) == {
        "test": (2, 0, 0),
        "test--bare": (2, 0, 2),
        "test--soft": (2, 0, 2),
        "two": (2, 0, 0),
    }
    assert ahead(*forced).cache_bytes == 0


@pytest.mark.parametrize("channels", [1, 2])
def test_what_is_foretold_is_what_is_stretched_and_what_the_cache_grows_by(
    table: Table, cache: Path, channels: int
) -> None:
    """A file of the cache says in some 100 bytes what it holds."""
    pad = table.folder / "pad.wav"
    sound, rate_hz = soundfile.read(pad, always_2d=True)
    soundfile.write(pad, sound[:, :channels], rate_hz, subtype="PCM_24")
    orders = table.orders(table.recipe(EVERY_KIND))
    foretold = ahead(*orders)
    told_s = [one.stretched_s for one in foretold.to_make.values()]
    made = together(orders)
    assert told_s == pytest.approx([one.stretched_s for one in made if isinstance(one, Done)], abs=1e-4)
    assert [told > 0 for told in told_s] == [True, False, True, True]
    sizes = [file.stat().st_size for file in (cache / "sounds").iterdir()]
    assert len(sizes) == 6
    assert foretold.cache_bytes == pytest.approx(sum(sizes), abs=6 * 150)


def test_the_cache_grows_to_its_limit_at_most(table: Table, monkeypatch: pytest.MonkeyPatch) -> None:
    orders = table.orders(table.recipe(TRY))
    without_limit = ahead(*orders).cache_bytes
    limit_bytes = without_limit * 0.75
    monkeypatch.setenv(LIMIT_VARIABLE, repr(limit_bytes / 1024**3))
    assert ahead(*orders).cache_bytes == pytest.approx(limit_bytes, abs=1)
    together(orders[:1])
    assert ahead(*orders).cache_bytes < limit_bytes / 2


@pytest.mark.parametrize("why", ["limit", "disk"])
def test_where_nothing_can_be_kept_nothing_is_shared_and_the_cache_does_not_grow(
    table: Table, monkeypatch: pytest.MonkeyPatch, why: str
) -> None:
    orders = table.orders(table.recipe(TRY))
    if why == "limit":
        monkeypatch.setenv(LIMIT_VARIABLE, "0")
    else:
        free = shutil.disk_usage(table.folder)._replace(free=shelf.ROOM_LEFT_BYTES)
        monkeypatch.setattr(shelf.shutil, "disk_usage", lambda _: free)
    assert set(counts(*orders).values()) == {(2, 0, 0)}
    assert ahead(*orders).cache_bytes == 0
    engine = Counting()
    together(orders, engine)
    assert engine.stretched >= 3


def test_an_estimate_is_less_by_what_is_stretched_already(table: Table) -> None:
    orders = table.orders(table.recipe(TRY))
    first, again = orders[0], [replace(order, force=True) for order in orders]
    anew = estimate(ahead(*orders), Costs(), jobs=1)
    together([first])
    (table.clips / "test.flac").unlink()
    from_cache = estimate(ahead(*orders), Costs(), jobs=1)
    assert (from_cache.clips, from_cache.clip_s) == (anew.clips, anew.clip_s) == (3, pytest.approx(72 / 7))
    assert from_cache.wall_s < 0.7 * anew.wall_s
    assert estimate(ahead(*again), Costs(), jobs=1).wall_s == pytest.approx(anew.wall_s)


def test_a_clip_whose_record_is_gone_is_still_asked_for_and_needs_no_passage(table: Table) -> None:
    orders = table.orders(table.recipe())
    (table.folder / "pad.wav").unlink()
    assert ahead(*orders).to_make == {"test": Passages()}


def test_looking_ahead_leaves_the_cache_as_it_is(table: Table, cache: Path) -> None:
    """The times of last use as well, by which is decided what is forgotten."""
    orders = table.orders(table.recipe(TRY))
    together(orders[:1])

    def there() -> dict[str, tuple[int, int]]:
        return {
            file.name: (file.stat().st_size, file.stat().st_mtime_ns) for file in (cache / "sounds").iterdir()
        }

    before = there()
    assert counts(*orders)["test--bare"] == (2, 2, 0)
    assert there() == before
