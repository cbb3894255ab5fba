"""What came of a run: the report of the morning, its table for people, and results for scripts."""

import json
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from render.clip.order import Done, Kept, Order, Refused
from render.faults import Fault
from render.night.outcome import Failed, Outcome
from render.night.words import lasting, plural
from render.publish.receipt import BadReceipt, read_receipt

FORMAT_VERSION = 1
SLOWEST = 5
"""So many of the slowest clips are named."""

WORDS: dict[type[Outcome], str] = {Done: "made", Kept: "kept", Refused: "refused", Failed: "failed"}


@dataclass(frozen=True)
class Entry:
    """What there is to tell of one clip that a run has come to."""

    outcome: Outcome
    duration_s: float
    format: str
    findings: tuple[Mapping[str, Any], ...] = ()
    headroom_needed_db: float | None = None
    size_bytes: int | None = None
    log: Path | None = None
    engine: str | None = None

    @property
    def word(self) -> str:
        return WORDS[type(self.outcome)]

    @property
    def reason(self) -> str | None:
        """Why there is no clip, in one line; None where there is one."""
        match self.outcome:
            case Refused() as refused:
                return refused.reason
            case Failed(_, reason):
                return reason
        return None


@dataclass(frozen=True)
class Report:
    """One run, as far as it has come. `wall_s` is measured, and not the difference of the two times of day."""

    started: datetime
    ended: datetime
    wall_s: float
    processor_s: float | None
    """Of all its processes and the programs they started together; None where other machines were at work."""
    jobs: int
    asked: Sequence[str]
    """The names of all clips it is to make."""
    entries: Mapping[str, Entry]
    faults: Sequence[Fault]

    @property
    def told(self) -> list[tuple[str, Entry]]:
        """Every clip that the run has come to, in the order in which they were asked for."""
        return [(name, self.entries[name]) for name in self.asked if name in self.entries]

    @property
    def left(self) -> list[str]:
        return [name for name in self.asked if name not in self.entries]

    @property
    def counts(self) -> dict[str, int]:
        words = Counter(entry.word for entry in self.entries.values())
        return {word: words[word] for word in WORDS.values()} | {"left": len(self.left)}

    @property
    def warnings(self) -> dict[str, int]:
        """How many clips have a warning of each kind."""
        kinds = Counter(
            kind
            for entry in self.entries.values()
            for kind in {finding["code"] for finding in entry.findings if finding["level"] == "warning"}
        )
        return dict(kinds.most_common())

    @property
    def loudest(self) -> tuple[str, float] | None:
        """The clip whose overlap needs the most headroom on the mixer, and how much (dB)."""
        needed = [(name, e.headroom_needed_db) for name, e in self.told if e.headroom_needed_db is not None]
        return max(needed, key=lambda one: one[1], default=None)

    @property
    def slowest(self) -> list[tuple[str, float]]:
        """The clips that took the longest, and how long (s)."""
        took = [(name, e.outcome.wall_s) for name, e in self.told if not isinstance(e.outcome, Kept)]
        return sorted(took, key=lambda one: -one[1])[:SLOWEST]


def entry_of(order: Order, outcome: Outcome, log: Path | None) -> Entry:
    """What there is to tell of a clip; what was measured of one that is there is read from its receipt."""
    plan = order.plan
    match outcome:
        case Done(_, clip) | Kept(_, clip):
            try:
                receipt = read_receipt(clip.with_suffix(".json").read_text(encoding="utf-8"))
                size_bytes = clip.stat().st_size
            except (OSError, ValueError, BadReceipt):  # somebody has changed or removed it since
                return Entry(outcome, plan.clock.duration_s, plan.format)
            findings = tuple(receipt.get("findings", ()))
            headroom_db = receipt.get("headroom_needed_db")
            engine = receipt.get("engine")
            return Entry(
                outcome, plan.clock.duration_s, plan.format, findings, headroom_db, size_bytes, log, engine
            )
        case Refused(_, found):
            findings = tuple(map(asdict, found))
            return Entry(outcome, plan.clock.duration_s, plan.format, findings, log=log)
    return Entry(outcome, plan.clock.duration_s, plan.format, log=log)


def report_json(report: Report) -> str:
    """The report as a file: times of day in UTC, lengths in seconds, levels in dB, null for what there is not."""
    data = {
        "format_version": FORMAT_VERSION,
        "complete": not report.left,
        "started": _utc(report.started),
        "ended": _utc(report.ended),
        "wall_s": round(report.wall_s, 3),
        "processor_s": None if report.processor_s is None else round(report.processor_s, 3),
        "jobs": report.jobs,
        "counts": report.counts,
        "faults": [asdict(fault) for fault in report.faults],
        "warnings": report.warnings,
        "loudest": report.loudest and {"name": report.loudest[0], "headroom_needed_db": report.loudest[1]},
        "slowest": [{"name": name, "wall_s": round(wall_s, 3)} for name, wall_s in report.slowest],
        "clips": [_clip(name, entry) for name, entry in report.told],
        "left": report.left,
    }
    return json.dumps(data, indent=2, ensure_ascii=False, allow_nan=False) + "\n"


def results_json(entries: Iterable[Entry]) -> str:
    """A list of objects: `name`, `outcome` (made, kept, refused, failed), and what belongs to each."""
    return json.dumps([_result(entry) for entry in entries], indent=2, ensure_ascii=False)


def table(report: Report, path: str) -> Iterator[str]:
    """What a person wants to know in the morning, a line each; `path` is where the whole report lies."""
    counts = ", ".join(f"{count} {word}" for word, count in report.counts.items() if count)
    spent = "" if report.processor_s is None else f" ({lasting(report.processor_s)} of processor time)"
    yield f"night     {counts or 'nothing to make'}, in {lasting(report.wall_s)}{spent}"
    for name, entry in report.told:
        if entry.reason is not None:
            yield f"{entry.word:<9} {name}  {entry.reason}" + (f"  ({entry.log})" if entry.log else "")
    if report.faults:
        yield f"in error  {plural(len({fault.file for fault in report.faults}), 'recipe')}"
    if report.warnings:
        yield "warnings  " + ", ".join(f"{code} {count}" for code, count in report.warnings.items())
    if report.loudest:
        yield f"loudest   {report.loudest[0]}, needs {report.loudest[1]:.1f} dB of headroom"
    if report.slowest:
        yield "slowest   " + ", ".join(f"{name} {lasting(wall_s)}" for name, wall_s in report.slowest)
    yield f"report    {path}"


def _clip(name: str, entry: Entry) -> dict[str, Any]:
    return {
        "name": name,
        "outcome": entry.word,
        "reason": entry.reason,
        "findings": list(entry.findings),
        "wall_s": round(entry.outcome.wall_s, 3),
        "duration_s": entry.duration_s,
        "stretched_s": round(entry.outcome.stretched_s, 3) if isinstance(entry.outcome, Done) else None,
        "engine": entry.engine,
        "format": entry.format,
        "size_bytes": entry.size_bytes,
        "headroom_needed_db": entry.headroom_needed_db,
        "log": entry.log and str(entry.log),
    }


def _result(entry: Entry) -> dict[str, Any]:
    outcome = entry.outcome
    told: dict[str, Any] = {"name": outcome.name, "outcome": entry.word}
    match outcome:
        case Done(_, clip, findings):
            found = [asdict(finding) for finding in findings]
            told |= {"clip": str(clip), "receipt": str(clip.with_suffix(".json")), "findings": found}
        case Kept(_, clip):
            told |= {"clip": str(clip), "receipt": str(clip.with_suffix(".json"))}
        case Refused(_, findings):
            told |= {"findings": [asdict(finding) for finding in findings]}
        case Failed(_, reason, trace, ours):
            told |= {"reason": reason, "trace": trace, "ours": ours, "log": entry.log and str(entry.log)}
    return told | {"wall_s": round(outcome.wall_s, 3)}


def _utc(time: datetime) -> str:
    """ISO 8601, to the second."""
    return time.astimezone(UTC).isoformat(timespec="seconds")
