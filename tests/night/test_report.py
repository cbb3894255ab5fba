"""The report of the morning, and what of it a person reads."""

import json
from datetime import datetime, timedelta, timezone
from pathlib import Path
from typing import Any

import pytest
from standing_in import order

from render.checks.model import Finding
from render.faults import Fault
from render.make import Done, Kept, Refused
from render.night.outcome import Failed
from render.night.report import Entry, Report, entry_of, report_json, results_json, table
from render.night.words import lasting, sized

EVENING = datetime(2031, 3, 8, 22, 30, 5, 250_000, timezone(timedelta(hours=1)))

LOUD = {"level": "warning", "code": "low-end-overlap", "text": "Two basses.", "value": 0.4}
NOTE = {"level": "note", "code": "tempo-change", "text": "Half time.", "value": None}


def entry(outcome: Any, **told: Any) -> Entry:
    return Entry(outcome, duration_s=10.0, format="flac", **told)


ENTRIES = {
    "a": entry(
        Done("a", Path("a.flac"), (), wall_s=4.0, stretched_s=20.0),
        findings=(LOUD, LOUD),
        headroom_needed_db=3.5,
        size_bytes=1_000_000,
        engine="rubberband",
    ),
    "b": entry(Kept("b", Path("b.flac"), wall_s=9.0), findings=(LOUD, NOTE), headroom_needed_db=7.25),
    "c": entry(Refused("c", (Finding("failure", "silence", "The mix is silent.", None, None),), wall_s=1.0)),
    "d": entry(Failed("d", "rubberband: ended", "trace", ours=False, wall_s=6.0), log=Path("clips/d.log")),
}


def report(asked: str = "abcd", **changes: Any) -> Report:
    told: dict[str, Any] = {
        "started": EVENING,
        "ended": EVENING + timedelta(hours=8),
        "wall_s": 28_800.5,
        "processor_s": 50_000.0,
        "jobs": 2,
        "asked": list(asked),
        "entries": ENTRIES,
        "faults": [Fault("bad.yaml", 3, 8, "tempo", "no tempo", "write one")],
    }
    return Report(**told | changes)


def read(report: Report) -> dict[str, Any]:
    data: dict[str, Any] = json.loads(report_json(report))
    return data


def test_the_report_tells_of_every_clip_and_every_fault() -> None:
    data = read(report())
    assert data["format_version"] == 1
    assert data["complete"] is True
    assert data["counts"] == {"made": 1, "kept": 1, "refused": 1, "failed": 1, "left": 0}
    assert [(clip["name"], clip["outcome"]) for clip in data["clips"]] == [
        ("a", "made"),
        ("b", "kept"),
        ("c", "refused"),
        ("d", "failed"),
    ]
    assert [clip["reason"] for clip in data["clips"]] == [
        None,
        None,
        "The mix is silent.",
        "rubberband: ended",
    ]
    assert [clip["log"] for clip in data["clips"]] == [None, None, None, "clips/d.log"]
    assert [clip["wall_s"] for clip in data["clips"]] == [4.0, 9.0, 1.0, 6.0]
    assert [clip["stretched_s"] for clip in data["clips"]] == [20.0, None, None, None]
    assert [clip["engine"] for clip in data["clips"]] == ["rubberband", None, None, None]
    assert data["faults"] == [
        {
            "file": "bad.yaml",
            "line": 3,
            "column": 8,
            "code": "tempo",
            "wrong": "no tempo",
            "right": "write one",
        }
    ]


def test_its_times_of_day_are_utc_in_the_form_of_iso_8601() -> None:
    """ISO 8601:2004, 4.3.2 and 4.2.5.2, from memory: date, T, time, and the difference from UTC."""
    data = read(report())
    assert (data["started"], data["ended"]) == ("2031-03-08T21:30:05+00:00", "2031-03-09T05:30:05+00:00")


def test_a_clock_that_is_set_back_does_not_change_how_long_the_run_took() -> None:
    data = read(report(ended=EVENING - timedelta(hours=1)))
    assert data["ended"] < data["started"]
    assert data["wall_s"] == 28_800.5


def test_a_run_that_was_stopped_says_so_and_what_is_left() -> None:
    data = read(report("abcdef"))
    assert data["complete"] is False
    assert data["left"] == ["e", "f"]
    assert data["counts"]["left"] == 2


def test_warnings_are_counted_by_clips_and_notes_are_none() -> None:
    assert read(report())["warnings"] == {"low-end-overlap": 2}


def test_the_loudest_overlap_may_be_one_that_was_kept_and_the_slowest_clip_may_not() -> None:
    data = read(report())
    assert data["loudest"] == {"name": "b", "headroom_needed_db": 7.25}
    assert [(one["name"], one["wall_s"]) for one in data["slowest"]] == [("d", 6.0), ("a", 4.0), ("c", 1.0)]


def test_a_report_of_nothing_is_one() -> None:
    data = read(report("", entries={}, faults=[]))
    assert (data["complete"], data["clips"], data["loudest"], data["slowest"]) == (True, [], None, [])


def test_what_was_measured_of_a_clip_is_read_from_its_receipt(tmp_path: Path) -> None:
    clip = tmp_path / "a.flac"
    clip.write_bytes(b"0123456789")
    measured = {"findings": [LOUD], "headroom_needed_db": 2.5, "engine": "rubberband"}
    receipt = {"format_version": 1, "plan": {}, **measured}
    clip.with_suffix(".json").write_text(json.dumps(receipt))
    for outcome in (Done("a", clip, ()), Kept("a", clip)):
        told = entry_of(order("a"), outcome, None)
        assert (told.findings, told.headroom_needed_db, told.size_bytes) == ((LOUD,), 2.5, 10)
        assert (told.duration_s, told.engine) == (10.0, "rubberband")


@pytest.mark.parametrize("content", [None, "", "{", "[]", '{"format_version": 1}'])
def test_a_receipt_that_is_gone_or_damaged_leaves_a_gap_and_no_more(
    tmp_path: Path, content: str | None
) -> None:
    clip = tmp_path / "a.flac"
    clip.write_bytes(b"0123456789")
    if content is not None:
        clip.with_suffix(".json").write_text(content)
    told = entry_of(order("a"), Done("a", clip, ()), None)
    assert (told.word, told.findings, told.headroom_needed_db) == ("made", (), None)


def test_results_for_scripts_keep_their_names() -> None:
    results = json.loads(results_json(ENTRIES.values()))
    assert [sorted(result) for result in results] == [
        ["clip", "findings", "name", "outcome", "receipt", "wall_s"],
        ["clip", "name", "outcome", "receipt", "wall_s"],
        ["findings", "name", "outcome", "wall_s"],
        ["log", "name", "ours", "outcome", "reason", "trace", "wall_s"],
    ]


# --- what a person reads ---


def test_the_table_of_the_morning_fits_a_page_and_names_what_went_wrong() -> None:
    assert list(table(report("abcde"), "out/report.json")) == [
        "night     1 made, 1 kept, 1 refused, 1 failed, 1 left, in 8 h 00 min (13 h 53 min of processor time)",
        "refused   c  The mix is silent.",
        "failed    d  rubberband: ended  (clips/d.log)",
        "in error  1 recipe",
        "warnings  low-end-overlap 2",
        "loudest   b, needs 7.2 dB of headroom",
        "slowest   d 6 s, a 4 s, c 1 s",
        "report    out/report.json",
    ]


def test_where_other_machines_were_at_work_no_processor_time_is_told() -> None:
    assert (
        next(table(report(processor_s=None), ""))
        == "night     1 made, 1 kept, 1 refused, 1 failed, in 8 h 00 min"
    )


@pytest.mark.parametrize(
    ("time_s", "words"),
    [
        (0.4, "0 s"),
        (59.4, "59 s"),
        (59.6, "1 min 00 s"),
        (3599.4, "59 min 59 s"),
        (3725, "1 h 02 min"),
        (90_000, "25 h 00 min"),
    ],
)
def test_a_length_of_time_is_told_in_the_units_that_matter(time_s: float, words: str) -> None:
    assert lasting(time_s) == words


def test_a_size_is_told_in_megabytes_or_gigabytes() -> None:
    assert (sized(400_000), sized(999_900_000), sized(1_250_000_000)) == ("0.4 MB", "999.9 MB", "1.2 GB")
