"""The stage card in words: every line and every cell of it as it is written, the same on paper and as plain text."""

from dataclasses import dataclass

from render.publish.card.contents import Card, RecordCard
from render.publish.card.markers import Marker
from render.publish.card.steps import Step
from render.publish.lettering import cleaned
from render.values import clock, counted

STEP_HEADS = ("beats", "bars", "record", "what to do, counted from the landing", "bar.beat", "in its file")


@dataclass(frozen=True)
class RecordWords:
    """One record. A marker's cells are its name, its bar and beat, and its time."""

    name: str
    file: str
    tempo: str
    markers: tuple[tuple[str, ...], ...]
    rest: tuple[str, ...]


@dataclass(frozen=True)
class CardWords:
    """The card from top to bottom. A step's cells are those that `step_heads` names; `landing` is the landing's row."""

    title: str
    count: str
    headroom: str
    records: tuple[RecordWords, ...]
    step_heads: tuple[str, ...]
    steps: tuple[tuple[str, ...], ...]
    landing: int
    foot: tuple[str, ...]


def card_words(card: Card) -> CardWords:
    bar = f"{counted(card.beats_per_bar)} to the bar"
    return CardWords(
        title=cleaned(card.title),
        count=f"{card.tempo_bpm} BPM, {bar}: {card.lead} to the landing, {card.tail} after it",
        headroom=card.headroom,
        records=tuple(map(_record, card.records)),
        step_heads=STEP_HEADS,
        steps=tuple(_step(card, step) for step in card.steps),
        landing=next(index for index, step in enumerate(card.steps) if step.is_landing),
        foot=tuple(cleaned(text) for text in (*(f"keys: {text}" for text in card.keys), *card.notes)),
    )


def _record(record: RecordCard) -> RecordWords:
    same = record.tempo_bpm == record.sounds_bpm
    becomes = f"at {record.tempo_bpm}" if same else f"from {record.tempo_bpm} to {record.sounds_bpm}"
    rest = (f"pitch {record.pitch}", f"level {record.level}", *record.notes)
    return RecordWords(
        name=cleaned(record.name),
        file=cleaned(record.file),
        tempo=f"tempo {record.tempo_change} %, {becomes} BPM",
        markers=tuple(map(_marker, record.markers)),
        rest=tuple(map(cleaned, rest)),
    )


def _marker(marker: Marker) -> tuple[str, ...]:
    loop = f", loop {counted(marker.loop_beats)}" if marker.loop_beats else ""
    return cleaned(f"{marker.name}{loop}"), marker.place.bar, clock(marker.place.time_s)


def _step(card: Card, step: Step) -> tuple[str, ...]:
    beat = round(step.beat, 6) + 0.0
    bars = round(beat / card.beats_per_bar, 2) + 0.0
    place = (step.place.bar, clock(step.place.time_s)) if step.place else ("", "")
    return (_signed(beat), _signed(bars), cleaned(step.record), cleaned(step.what), *place)


def _signed(count: float) -> str:
    return f"{count:+.9g}" if count else "0"
