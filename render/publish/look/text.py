"""What was heard of a record, as a table for people and as JSON for scripts."""

import json
from collections.abc import Iterable, Sequence
from typing import Any

from render.facts import ByBars, RecordFacts, Recording, runs
from render.publish.look.words import rival
from render.values import clock


def look_json(looked: Iterable[tuple[Recording, RecordFacts]]) -> str:
    """A list of objects, one a record: s, BPM, LUFS, LU, dBTP; shares and confidences 0 to 1; null for no value."""
    data = [_facts(recording, heard) for recording, heard in looked]
    return json.dumps(data, indent=2, ensure_ascii=False, allow_nan=False)


def look_text(recording: Recording, heard: RecordFacts) -> str:
    """The same in a performer's words, ending without a line break."""
    levels = heard.levels
    rows = [
        ("length", f"{clock(heard.duration_s)}, {recording.format}, {recording.rate_hz:,} Hz"),
        (
            "loudness",
            f"{_number(levels.integrated_lufs, 'LUFS')}, range {_number(levels.loudness_range_lu, 'LU')},"
            f" peak {_number(levels.true_peak_dbtp, 'dBTP')}",
        ),
    ]
    if levels.clipped_runs:
        rows.append(("clipped", f"in {levels.clipped_runs} places"))
    if recording.note:
        rows.append(("note", recording.note))
    if heard.by_bars is None:
        rows.append(("beat", "none was found; state `bpm` and `first_beat` in the recipe"))
    else:
        rows += _rows_by_bars(heard, heard.by_bars)
    return "\n".join([recording.path, *(f"  {name:<10} {text}" for name, text in rows)])


def _rows_by_bars(heard: RecordFacts, by: ByBars) -> list[tuple[str, str]]:
    found, grid = by.grid, by.grid.grid
    rows = [
        ("tempo", f"{grid.tempo_bpm:.3f} BPM{rival(found)} ({_sure(found.tempo_confidence)})"),
        ("bar 1", f"{grid.first_beat_s:.4f} s ({_sure(min(found.beat_confidence, found.bar_confidence))})"),
    ]
    rows += [("beware", reason) for reason in found.reasons]
    for number, drop in enumerate(by.drops, 1):
        name = "drop" if number == 1 else f"drop {number}"
        rows.append((name, f"bar {drop.bar}, {clock(drop.at_s)}: {', '.join(drop.why)}"))
    tonal = f"tonal weight {heard.tonal_weight:.0%}"
    keys = [f"{key.name} ({_sure(key.confidence)})" for key in by.keys[:1]]
    rows.append(("key", ", ".join([*keys, tonal])))
    rows.append(("voice", _spans(by.bars.voiced) or "none heard"))
    rows += [("drums only", f"bars {s.bar} to {s.last_bar}, {clock(s.at_s)}") for s in by.stripped[:2]]
    return rows


def _facts(recording: Recording, heard: RecordFacts) -> dict[str, Any]:
    levels, by = heard.levels, heard.by_bars
    facts: dict[str, Any] = {
        "file": recording.path,
        "duration_s": heard.duration_s,
        "note": recording.note or None,
        "tempo_bpm": None,
        "tempo_confidence": None,
        "tempo_runner_up_bpm": None,
        "first_beat_s": None,
        "beats_per_bar": None,
        "grid_fits": None,
        "drops": [],
        "key": None,
        "key_confidence": None,
        "tonal_weight": heard.tonal_weight,
        "voice_per_bar": [],
        "low_end_per_bar": [],
        "integrated_lufs": levels.integrated_lufs,
        "loudness_range_lu": levels.loudness_range_lu,
        "true_peak_dbtp": levels.true_peak_dbtp,
        "clipped_runs": levels.clipped_runs,
    }
    return facts if by is None else facts | _facts_by_bars(by)


def _facts_by_bars(by: ByBars) -> dict[str, Any]:
    found = by.grid
    return {
        "tempo_bpm": found.grid.tempo_bpm,
        "tempo_confidence": found.tempo_confidence,
        "tempo_runner_up_bpm": found.runner_up_bpm,
        "first_beat_s": found.grid.first_beat_s,
        "beats_per_bar": found.grid.beats_per_bar,
        "beat_confidence": found.beat_confidence,
        "bar_confidence": found.bar_confidence,
        "grid_fits": found.fits,
        "beat_times_s": list(found.grid.beats_s) or None,
        "phrase_bars": found.phrase_bars,
        "phrase_first_bar": found.phrase_first_bar,
        "warnings": list(found.reasons),
        "drops": [
            {"at_s": drop.at_s, "bar": drop.bar, "score": drop.score, "why": list(drop.why)}
            for drop in by.drops
        ],
        "key": by.keys[0].name if by.keys else None,
        "key_confidence": by.keys[0].confidence if by.keys else None,
        "keys": [{"name": key.name, "confidence": key.confidence} for key in by.keys],
        "voice_per_bar": list(by.bars.voice),
        "voice_confidence_per_bar": list(by.bars.voice_confidence),
        "low_end_per_bar": list(by.bars.low_end),
        "drums_only": [{"at_s": s.at_s, "bar": s.bar, "bars": s.bars} for s in by.stripped],
    }


def _spans(bars: Sequence[bool]) -> str:
    """The bars, from 1, that are True: `bars 9 to 24, 33 to 48`."""
    texts = [f"{first} to {last}" if last > first else f"{first}" for first, last in runs(bars)]
    return f"bars {', '.join(texts)}" if texts else ""


def _sure(confidence: float) -> str:
    return f"{confidence:.0%} sure"


def _number(value: float | None, unit: str) -> str:
    return "none" if value is None else f"{value:.1f} {unit}"
