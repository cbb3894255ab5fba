"""Previews over records of which all is known: where each beat lies, and which of them is the drop."""

from dataclasses import dataclass
from pathlib import Path

from render.demo.records import RECORDS
from tests.bench.full_length import FULL_LENGTH, full_length_folder
from tests.clips.exact_records import ExactRecord


@dataclass(frozen=True)
class Record:
    """A record of which all is known: where its beats lie, in seconds, and which of them is its drop."""

    file: str
    tempo_bpm: float
    first_beat_s: float
    drop_beat: int

    @property
    def name(self) -> str:
        return Path(self.file).stem

    def beat_s(self, from_drop: float) -> float:
        return self.first_beat_s + (self.drop_beat + from_drop) * 60.0 / self.tempo_bpm


@dataclass(frozen=True)
class Preview:
    """A recipe over two records in a folder; the first has the low end until the landing, the second from there."""

    what: str
    folder: Path
    recipe: str
    tempo_bpm: float
    lead: int
    tail: int
    records: tuple[Record, Record]
    clicks: bool = False
    """Whether every beat is one clear click."""

    @property
    def landing_s(self) -> float:
        return self.lead * 60.0 / self.tempo_bpm

    @property
    def length_s(self) -> float:
        return (self.lead + self.tail) * 60.0 / self.tempo_bpm

    def speed(self, record: Record) -> float:
        """Source seconds per second of the clip."""
        return self.tempo_bpm / record.tempo_bpm


def of_demo_records(folder: Path) -> Preview:
    full_length_folder(folder)
    known = {demo.name: demo for demo in RECORDS}
    bars = {"lanterns": 65, "ironworks": 49}
    first, second = (
        Record(f"tracks/{name}.flac", known[name].tempo_bpm, known[name].first_beat_s, (bar - 1) * 4)
        for name, bar in bars.items()
    )
    return Preview("demo records", folder, FULL_LENGTH, 174.0, 64, 64, (first, second))


def of_clicks(folder: Path) -> Preview:
    """A kick with a click on every beat, over a bass; one record is stretched, the other squeezed."""
    folder.mkdir(parents=True)
    sources = (
        ExactRecord("ember", 136.0, 0.25, 24, 55.0, tones=False),
        ExactRecord("slate", 149.0, 0.4103, 24, 82.4, tones=False),
    )
    for source in sources:
        source.write(folder)
    keep = "low_cut: {keep: [{from: start, track: ember}, {from: landing, track: slate}]}"
    head = f"recipe: 1\ntitle: Clicks\ntempo: 140\nlead: 32 beats\ntail: 32 beats\n{keep}\ntracks:\n"
    recipe = head + "".join(source.lines() for source in sources)
    first, second = (Record(f"{s.name}.wav", s.tempo_bpm, s.first_beat_s, 48) for s in sources)
    return Preview("clicks at +2.9 and -6.0 %", folder, recipe, 140.0, 32, 32, (first, second), clicks=True)
