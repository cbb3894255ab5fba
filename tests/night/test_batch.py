"""The clips of one recipe, made together: equally loud, each failing on its own, made again only where needed."""

import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import pyloudnorm
import pytest
import soundfile

from render import make
from render.clip import published
from render.clip.mixed import MixedClip
from render.faults import DiskFull, SourceError
from render.files import to_ceiling
from render.files.engines import serving
from render.make import Done, Kept, Made, Refused
from render.night.batch import Batch, batches_of, carry_out, kept_of
from render.night.job import read_work
from render.night.outcome import Failed
from render.values import Audio
from tests.cases import first_of
from tests.clips.exact_records import write_recipe
from tests.night.tables import DROP, HITS, SHORT, TRY, Table, receipt_of, receipts, samples_of, together
from tests.recorded.outside_meter import levels_of

EQUAL_LU = 0.2
METERS_DB = 0.2
"""What EBU Tech 3341 allows a meter of true peak to read too high."""


def spread(numbers: list[float]) -> float:
    return max(numbers) - min(numbers)


def lufs_of(clip: Path) -> float:
    """By pyloudnorm as it comes, over libsndfile's decoding."""
    audio, rate_hz = soundfile.read(clip, always_2d=True)
    return float(pyloudnorm.Meter(rate_hz).integrated_loudness(audio))


def assert_equally_loud(outcomes: list[Made | Exception], ceiling_dbtp: float) -> None:
    """By two meters that are not the program's, one of them with a decoder that is not."""
    made = [outcome for outcome in outcomes if isinstance(outcome, Done)]
    assert made == outcomes
    assert spread([lufs_of(one.clip) for one in made]) <= EQUAL_LU
    levels = [levels_of(one.clip) for one in made]
    assert spread([level.integrated_lufs for level in levels]) <= EQUAL_LU
    assert max(level.true_peak_dbtp for level in levels) <= ceiling_dbtp + 0.1 + METERS_DB
    for one in made:
        assert receipt_of(one)["encoded"]["true_peak_dbtp"] <= ceiling_dbtp + 0.1
    # They are turned down no further than the quietest needs it.
    assert max(level.true_peak_dbtp for level in levels) >= ceiling_dbtp - 1.0


@pytest.mark.parametrize("form", first_of(["mp3"], ["mp3", "opus", "flac"]))
def test_variants_come_out_equally_loud_below_their_ceiling(table: Table, form: str) -> None:
    recipe = table.recipe(TRY, clip=f"clip: {{format: {form}, ceiling: -1 dBTP}}")
    alone = [together([order])[0] for order in table.orders(recipe)]
    assert spread([lufs_of(one.clip) for one in alone if isinstance(one, Done)]) > 5.0
    assert_equally_loud(together(table.orders(recipe)), -1.0)


@pytest.mark.slow
def test_variants_in_other_formats_under_other_ceilings_come_out_equally_loud(table: Table) -> None:
    recipe = table.recipe(
        "try:\n"
        "  bare: {tracks: {pad: {gain: -50 dB}}, clip: {format: opus}}\n"
        "  soft: {tracks: {hits: {gain: -50 dB}}, clip: {format: mp3, ceiling: -3 dBTP}}\n"
    )
    outcomes = together(table.orders(recipe))
    assert_equally_loud(outcomes, -1.0)
    for receipt in receipts(outcomes).values():
        assert receipt["encoded"]["true_peak_dbtp"] <= receipt["plan"]["ceiling_dbtp"] + 0.1


def test_a_receipt_says_how_loud_and_how_far_a_variant_was_turned_down(table: Table) -> None:
    recipe = table.recipe(TRY)
    could = {o.plan.variant: receipt_of(together([o])[0]) for o in table.orders(recipe)}
    found = receipts(together(table.orders(recipe)))
    assert len({receipt["matched_lufs"] for receipt in found.values()}) == 1
    for variant, receipt in found.items():
        lost_db = could[variant]["encoded"]["integrated_lufs"] - receipt["encoded"]["integrated_lufs"]
        told = [one for one in receipt["findings"] if one["code"] == "turned-down"]
        assert [one["level"] for one in told] == (["note"] if lost_db > 0.5 else [])
        if told:
            assert told[0]["value"] == pytest.approx(lost_db, abs=0.1)
            assert f"turned down by {told[0]['value']:.1f} dB" in told[0]["text"]
    assert could[""]["matched_lufs"] is could[""]["group_sha256"] is None


def test_one_clip_alone_is_as_loud_as_its_ceiling_lets_it_be(table: Table) -> None:
    (receipt,) = receipts(together(table.orders(table.recipe()))).values()
    assert receipt["matched_lufs"] is None
    assert receipt["encoded"]["true_peak_dbtp"] == pytest.approx(-1.0, abs=0.01)


@pytest.mark.parametrize("form", [pytest.param("opus", marks=pytest.mark.slow), "flac"])
def test_a_receipt_alone_makes_the_same_file_as_loud_as_the_variants_were(table: Table, form: str) -> None:
    outcomes = together(table.orders(table.recipe(TRY, clip=f"clip: {{format: {form}}}")))
    before = receipts(outcomes)
    again = table.folder / "again"
    again.mkdir()
    named = [one.clip.with_suffix(".json") for one in outcomes if isinstance(one, Done)]
    batches = read_work(named).batches(again, force=False)
    assert [len(batch.orders) for batch in batches] == [1, 1, 1]
    for batch in batches:
        (outcome,) = carry_out(batch, "signalsmith")
        receipt = receipt_of(outcome)
        for what in ("file_sha256", "pcm_sha256", "inputs_sha256", "matched_lufs"):
            assert receipt[what] == before[receipt["variant"]][what]


def test_a_receipt_beside_its_clip_and_its_recipe_keep_the_same_clip(table: Table) -> None:
    recipe = table.recipe(TRY)
    together(table.orders(recipe))
    for path in (table.clips / "test--soft.json", recipe):
        batches = read_work([path]).batches(table.clips, force=False)
        outcomes = [outcome for batch in batches for outcome in carry_out(batch, "signalsmith")]
        assert {type(outcome) for outcome in outcomes} == {Kept}


def test_what_has_not_changed_is_kept_and_told_beforehand(table: Table) -> None:
    recipe = table.recipe(TRY)
    (batch,) = read_work([recipe]).batches(table.clips, force=False)
    assert kept_of(batch, serving("signalsmith")) == []
    assert [type(one) for one in carry_out(batch, "signalsmith")] == [Done] * 3
    assert [one.name for one in kept_of(batch, serving("signalsmith"))] == list(batch.names)
    assert [type(one) for one in carry_out(batch, "signalsmith")] == [Kept] * 3


def test_a_variant_that_comes_along_later_turns_the_others_down(table: Table) -> None:
    soft = "try:\n  soft: {tracks: {hits: {gain: -50 dB}}}\n"
    before = receipts(together(table.orders(table.recipe(soft))))
    outcomes = together(table.orders(table.recipe(TRY)))
    assert [type(one) for one in outcomes] == [Done] * 3
    after = receipts(outcomes)
    assert after[""]["matched_lufs"] < before[""]["matched_lufs"]
    assert_equally_loud(outcomes, -1.0)


def test_what_was_in_flight_is_made_and_nothing_else(table: Table) -> None:
    recipe = table.recipe(TRY)
    before = samples_of(together(table.orders(recipe)))
    (table.clips / "test--bare.json").unlink()
    outcomes = together(table.orders(recipe))
    assert [type(one) for one in outcomes] == [Kept, Done, Kept]
    assert [receipt_of(one)["pcm_sha256"] for one in outcomes] == before


def test_a_clip_left_louder_than_the_rest_by_a_run_that_was_killed_is_made_again(table: Table) -> None:
    recipe = table.recipe(TRY)
    before = samples_of(together(table.orders(recipe)))
    path = table.clips / "test--soft.json"
    receipt = json.loads(path.read_text())
    receipt["matched_lufs"] += 1.0
    path.write_text(json.dumps(receipt))
    outcomes = together(table.orders(recipe))
    assert [type(one) for one in outcomes] == [Kept, Kept, Done]
    assert [receipt_of(one)["pcm_sha256"] for one in outcomes] == before


def test_a_clip_that_fails_is_left_out_of_the_matching(table: Table) -> None:
    """Its record is gone: the two others are as loud as they are without it."""
    orders = table.orders(table.recipe(TRY))
    gone = replace(orders[1].facts["hits"].recording, path=str(table.folder / "gone.wav"))
    facts = {**orders[1].facts, "hits": replace(orders[1].facts["hits"], recording=gone)}
    outcomes = together([orders[0], replace(orders[1], facts=facts, source_sha256={}), orders[2]])
    assert isinstance(outcomes[1], SourceError)
    assert_equally_loud([outcomes[0], outcomes[2]], -1.0)
    without = receipts(together([replace(order, force=True) for order in (orders[0], orders[2])]))
    assert receipt_of(outcomes[0])["matched_lufs"] == without[""]["matched_lufs"]


def test_a_clip_that_cannot_be_as_loud_as_expected_is_encoded_to_what_it_can_and_once(
    table: Table, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The quietest of them, to which the codec adds more than was expected: the others become as quiet as it."""
    monkeypatch.setitem(to_ceiling.EXPECTED_OVERSHOOT_DB, "mp3", -0.5)
    asked, encode_to = [], published.encode_to

    def counted(*given: Any) -> to_ceiling.Encoded:
        encoded = encode_to(*given)
        asked.append((given[3], encoded.level))
        return encoded

    monkeypatch.setattr(published, "encode_to", counted)
    outcomes = together(table.orders(table.recipe(TRY, clip="clip: {format: mp3}")))
    assert_equally_loud(outcomes, -1.0)
    (likely, reached), *others = asked
    assert reached.lufs < likely.lufs - 0.05
    assert others == [(reached, reached)] * 2


def test_mixes_for_which_there_is_no_room_in_memory_come_out_the_same(
    table: Table, monkeypatch: pytest.MonkeyPatch
) -> None:
    orders = [replace(order, force=True) for order in table.orders(table.recipe(TRY))]
    before = samples_of(together(orders))
    monkeypatch.setattr(make, "MIXES_IN_MEMORY_BYTES", 0)
    sound, away = MixedClip.sound, []

    def watched(clip: MixedClip, *given: Any) -> Audio:
        away.append(clip.audio is None)
        return sound(clip, *given)

    monkeypatch.setattr(MixedClip, "sound", watched)
    assert samples_of(together(orders)) == before
    assert away == [True] * 3


def test_a_silent_variant_is_refused_and_left_out_of_the_matching(table: Table) -> None:
    soundfile.write(table.folder / "nothing.wav", soundfile.read(table.folder / "hits.wav")[0] * 0, 44_100)
    silent = "  silent: {tracks: {hits: {file: nothing.wav}, pad: {file: nothing.wav}}}\n"
    with_it = together(table.orders(table.recipe(TRY + silent)))
    assert isinstance(with_it[3], Refused)
    assert_equally_loud(with_it[:3], -1.0)
    assert [path for path in table.clips.iterdir() if "silent" in path.name] == []
    matched = receipt_of(with_it[0])["matched_lufs"]
    without = receipts(together(table.orders(table.recipe(TRY))))
    assert without[""]["matched_lufs"] == pytest.approx(matched, abs=1e-9)


def test_once_the_disk_is_full_nothing_more_of_a_batch_is_begun(
    table: Table, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What is finished stays; what was not begun comes to nothing, and the next run makes it as it would have been."""
    before = samples_of(together(table.orders(table.recipe(TRY))))
    for path in table.clips.iterdir():
        path.unlink()
    real, begun = make.published, []

    def published(clip: Any, *rest: Any) -> Any:
        begun.append(clip.name)
        if len(begun) == 2:
            raise DiskFull(str(table.clips), "the disk is full", "make room")
        return real(clip, *rest)

    monkeypatch.setattr(make, "published", published)
    (batch,) = batches_of(table.orders(table.recipe(TRY)))
    outcomes = carry_out(batch, "signalsmith")
    assert {one.name: type(one) for one in outcomes} == {begun[0]: Done, begun[1]: Failed}
    assert {path.stem for path in table.clips.iterdir()} == {begun[0]}
    monkeypatch.setattr(make, "published", real)
    again = carry_out(batch, "signalsmith")
    assert [type(one) for one in again] == [Kept if one.name == begun[0] else Done for one in again]
    assert [receipt_of(one)["pcm_sha256"] for one in again] == before


def test_failures_come_back_with_their_names(table: Table) -> None:
    orders = table.orders(table.recipe(TRY))
    table.pad(gain=0.5)
    outcomes = carry_out(Batch(tuple(orders)), "signalsmith")
    assert [(type(one), one.name) for one in outcomes] == [(Failed, order.plan.name) for order in orders]
    assert "it changed while the night ran" in str(outcomes[0])


def test_a_batch_holds_one_recipe(table: Table) -> None:
    other = write_recipe(
        table.folder,
        HITS.lines(markers=DROP),
        HITS.lines(markers=DROP).replace("  hits:", "  too:"),
        rest=SHORT,
        name="other",
    )
    orders = read_work([table.recipe(TRY), other]).orders(table.clips, force=False)
    assert [batch.names for batch in batches_of(orders)] == [("test", "test--bare", "test--soft"), ("other",)]
