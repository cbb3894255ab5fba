"""A performer who has nothing but a card's text and the records: what they set, what they press, and how it sounds."""

import re
from collections.abc import Mapping
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import numpy.typing as npt
import soxr

Mono = npt.NDArray[np.float64]


@dataclass(frozen=True)
class Row:
    """A row of the table of what to do, as it is written."""

    beat: float
    record: str
    what: str
    time_s: float | None

    @property
    def loop_beats(self) -> float:
        looped = re.search(r"loop ([\d.]+) beats?$", self.what)
        return float(looped[1]) if looped else 0.0


@dataclass(frozen=True)
class Setting:
    """What is set on one record: tempo in percent, the record's own BPM, and the level."""

    percent: float
    bpm: float
    level_db: float


class PlayedCard:
    """A card as it is read."""

    def __init__(self, text: str) -> None:
        head = re.search(
            r"^([\d.]+) BPM, .*: ([\d.]+) beats? to the landing, ([\d.]+) beats? after it$", text, re.M
        )
        assert head, text
        self.tempo_bpm, self.lead, self.tail = map(float, head.groups())
        self.settings = {
            record["name"]: Setting(float(record["percent"]), float(record["bpm"]), float(record["level"]))
            for record in re.finditer(
                r"^(?P<name>\S+): .*\n  tempo (?P<percent>[+-][\d.]+) %, (at|from) (?P<bpm>[\d.]+) .*\n"
                r"(  .*\n)*?  level (?P<level>[+-][\d.]+) dB in the preview$",
                text,
                re.M,
            )
        }
        self.rows = _rows(text)

    def play(self, records: Mapping[str, Mono], rate_hz: int) -> Mono:
        """The sum of the records, cut and run as the card says, without fades and filters."""
        sound = np.zeros(self._frame(self.tail, rate_hz))
        for name, record in records.items():
            rows = [row for row in self.rows if row.record == name and _places(row)]
            for row, until in zip(rows, [*(row.beat for row in rows[1:]), self.tail], strict=True):
                if row.time_s is not None:
                    start, end = self._frame(row.beat, rate_hz), self._frame(until, rate_hz)
                    sound[start:end] += self._run(name, row, record, rate_hz, end - start)
        return sound

    def _frame(self, beat: float, rate_hz: int) -> int:
        return round((beat + self.lead) * 60.0 / self.tempo_bpm * rate_hz)

    def _run(self, name: str, row: Row, record: Mono, rate_hz: int, frames: int) -> Mono:
        """So many frames of a record from a row's place on, at the tempo that is set."""
        assert row.time_s is not None
        setting = self.settings[name]
        speed = 1.0 + setting.percent / 100.0
        needed = int(frames * speed) + rate_hz // 10
        at = np.arange(needed)
        if row.loop_beats:
            at = np.floor(at % (row.loop_beats * 60.0 / setting.bpm * rate_hz)).astype(int)
        cut = record[np.minimum(round(row.time_s * rate_hz) + at, len(record) - 1)]
        return 10 ** (setting.level_db / 20) * soxr.resample(cut, rate_hz * speed, rate_hz)[:frames]


def _places(row: Row) -> bool:
    """Whether a row starts, moves or stops its record."""
    return row.what == "stop" or row.what.startswith(("start", "jump back"))


def _rows(text: str) -> list[Row]:
    lines = text.splitlines()
    (top,) = (index for index, line in enumerate(lines) if line.startswith("  beats "))
    names = ("beats", "bars", "record", "what to do", "bar.beat", "in its file")
    edges = [*(lines[top].index(name) for name in names), None]
    rows = []
    for line in lines[top + 1 :]:
        if not line.startswith("  "):
            break
        beat, _, record, what, _, time = (line[a:b].strip() for a, b in pairwise(edges))
        minutes, _, seconds = time.partition(":")
        rows.append(Row(float(beat), record, what, int(minutes) * 60 + float(seconds) if time else None))
    return rows
