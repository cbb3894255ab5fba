"""What a draft says about itself: why each thing is as it is, and how sure that is."""

from collections.abc import Iterable, Iterator, Sequence
from itertools import combinations, groupby

from render.facts import DropCandidate
from render.plan.align import SPEED_WARNED
from render.plan.keys import TONAL_FROM, relation
from render.publish.drafting.choice import DRUMS, Choice, moment
from render.publish.drafting.lanes import USUAL_BEATS, Lane
from render.publish.drafting.low_end import CLOSE_DB, NO_LOW_END_DB, LowEnds, low_ends
from render.publish.drafting.records import SURE, Record
from render.publish.drafting.text import Path, Remarks
from render.publish.drafting.variants import Variant, quarrels
from render.publish.drafting.voices import together
from render.publish.lettering import spoken
from render.recipe.schema import LANDING_MARKER
from render.values import clock, counted

MOST_REASONS = 3
MOST_SPANS = 3
CLOSE = "close call: "


def remarks_on(choice: Choice, tried: Sequence[Variant]) -> Remarks:
    ends = low_ends(choice.lanes, choice.span)
    remarks = Remarks(above=list(_above(choice)))
    remarks.beside[("tempo",)] = _tempo(choice)
    remarks.beside |= dict(_lengths(choice))
    for lane in choice.lanes:
        at: Path = ("tracks", lane.record.name)
        remarks.beside |= {(*at, *path): text for path, text in _track(choice, lane) if text}
        below = (*at, "markers", LANDING_MARKER)
        remarks.below[below] = [_other_drop(lane.record, drop) for drop in lane.record.by.drops[1:]]
    for index, text in enumerate(_keepers(choice, ends)):
        remarks.beside[("low_cut", "keep", index)] = text
    remarks.beside[("low_cut", "keep")] = "one bass at a time; the others lose theirs"
    if choice.gives_way:
        remarks.beside[("jump_back",)] = f"{choice.gives_way} does not drop: its drums go on below"
    remarks.beside[("try",)] = "variants: what changes, and nothing else"
    remarks.beside |= {("try", variant.name): variant.why for variant in tried}
    return remarks


def _above(choice: Choice) -> Iterator[str]:
    yield f"{choice.title}: a first draft by what was measured. Listen, then change whatever you like."
    yield ""
    yield f"Keys: {_keys(choice)}."
    yield f"Voices: {_voices(choice)}."
    if choice.gives_way:
        yield f"So {choice.gives_way} gives way at the landing; `both-drop` tries it without."
    yield f"On the decks: {_decks(choice)}."


def _keys(choice: Choice) -> str:
    tonal = [(lane.record.name, lane.record.tonal_key) for lane in choice.lanes]
    keys = {name: key for name, key in tonal if key}
    if len(keys) < 2:
        return "they hardly matter here, since no two records have much tone"
    told = [
        f"{one} in {keys[one]} over {other} in {keys[other]} may quarrel ({relation(keys[one], keys[other])})"
        for one, other in combinations(keys, 2)
        if quarrels(choice.lane(one).record, choice.lane(other).record)
    ]
    return "; ".join(told) or "they agree: " + ", ".join(f"{name} in {key}" for name, key in keys.items())


def _voices(choice: Choice) -> str:
    sung = [lane.record.name for lane in choice.lanes if lane.record.sings]
    if not sung:
        return "none was heard"
    told = [
        f"{names[0]} and {names[1]} at once {_spans(choice, (span for _, span in group))}"
        for names, group in groupby(together(choice), key=lambda found: found[0])
    ]
    return "; ".join(told) if told else f"only in {sung[0]}" if len(sung) == 1 else "never two at once"


def _spans(choice: Choice, spans: Iterable[tuple[float, float]]) -> str:
    told = [
        f"from {moment(round(first), choice.span)} to {_end(choice, round(last))}" for first, last in spans
    ]
    more = f" and {len(told) - MOST_SPANS} more times" if len(told) > MOST_SPANS else ""
    return ", ".join(told[:MOST_SPANS]) + more


def _end(choice: Choice, beat: int) -> str:
    return "end" if beat >= choice.span.tail else moment(beat, choice.span)


def _decks(choice: Choice) -> str:
    """Where each record is started, those together that start together."""
    by_moment: dict[int, list[str]] = {}
    for lane in choice.lanes:
        start = choice.span.plays_from(lane.record.name)
        place = clock(max(lane.line.source_s(start), 0.0))
        by_moment.setdefault(start, []).append(f"{lane.record.name} at {place}")
    return "; ".join(
        f"start {spoken(starts)}, " + (f"{counted(-start)} before the landing" if start else "on the landing")
        for start, starts in sorted(by_moment.items())
    )


def _tempo(choice: Choice) -> str:
    of, bpm = choice.tempo.of, choice.tempo.bpm
    if of is None:
        return "between the records: none of their tempi is near enough to the others"
    whose = (
        f"{bpm:g} BPM, its own"
        if bpm == of.bpm
        else f"{'twice' if bpm > of.bpm else 'half'} that of {of.name}"
    )
    if all(abs(choice.tempo.change(lane.record)) < 1e-9 for lane in choice.lanes):
        return f"{whose}; nothing is stretched"
    if len(choice.lanes) > 2:
        return f"{whose}: the others change least"
    return f"{whose}; {'its voice' if of.sings else 'what has more tone'} stays as recorded"


def _lengths(choice: Choice) -> Iterator[tuple[Path, str]]:
    shortest = min(choice.lanes, key=lambda lane: lane.before_beats)
    longest = max(choice.lanes, key=lambda lane: lane.after_beats)
    if choice.span.lead < USUAL_BEATS:
        there = counted(shortest.before_beats)
        yield ("lead",), f"{shortest.record.name} has no {USUAL_BEATS} before its drop, but {there}"
    if choice.span.tail < USUAL_BEATS:
        yield ("tail",), f"no record has more than {counted(longest.after_beats)} after its drop"


def _track(choice: Choice, lane: Lane) -> Iterator[tuple[Path, str]]:
    record, found = lane.record, lane.record.by.grid
    if record.drifts:
        around = f"around {found.grid.tempo_bpm:.2f} BPM, so its beats are left to be measured one by one"
        yield ("file",), f"its tempo drifts {around}; {_change(choice, lane)}"
    yield ("bpm",), _sure(found.tempo_confidence, _rival(record)) + _change(choice, lane)
    yield ("first_beat",), "bar 1 beat 1" + _doubt(record)
    yield ("key",), _key(record)
    yield ("tonal_weight",), _tone(record.facts.tonal_weight)
    rival = f"; close call against {record.place(record.by.drops[1]).written}" if record.drop_close else ""
    yield ("markers", LANDING_MARKER), _drop(lane.candidate) + rival
    if passage := lane.drums():
        where = clock(record.place(passage).at_s)
        yield ("markers", DRUMS), f"{where}: {passage.bars} bars of little but drums"
    yield ("enter",), f"there are only {counted(lane.before_beats)} before its drop"
    yield ("leave",), f"it is over {counted(lane.after_beats)} after its drop"


def _change(choice: Choice, lane: Lane) -> str:
    fold = lane.line.fold
    change = choice.tempo.change(lane.record)
    folded = f"counted in {'double' if fold > 1 else 'half'} time, " if fold != 1 else ""
    stretched = "not stretched" if abs(change) < 5e-6 else f"runs {change:+.2%}"
    beyond = choice.tempo.worst_change(lane.record) > SPEED_WARNED
    warned = ", beyond ±6 %: it will sound changed" if beyond else ""
    return folded + stretched + warned


def _sure(confidence: float, rival: str) -> str:
    return f"{CLOSE}{confidence:.0%} sure{rival}; " if confidence < SURE else ""


def _rival(record: Record) -> str:
    other = record.by.grid.runner_up_bpm
    return f", or {other:.2f}" if other else ""


def _doubt(record: Record) -> str:
    found = record.by.grid
    doubts = [
        text
        for text, confidence in (
            ("which part of the beat counts", found.beat_confidence),
            ("which beat begins the bar", found.bar_confidence),
        )
        if confidence < SURE
    ]
    return f"; {CLOSE}{' and '.join(doubts)}" if doubts else ""


def _key(record: Record) -> str:
    if not record.by.keys:
        return ""
    first, *others = record.by.keys
    rival = f", or {others[0].name}" if others else ""
    return _sure(first.confidence, rival).removesuffix("; ")


def _tone(weight: float) -> str:
    return "more drums than tone: its key hardly matters" if weight < TONAL_FROM else ""


def _drop(drop: DropCandidate) -> str:
    why = ", ".join(drop.why[:MOST_REASONS])
    return f"{clock(drop.at_s)}: {why}" if why else clock(drop.at_s)


def _other_drop(record: Record, drop: DropCandidate) -> tuple[str, str]:
    return f"{LANDING_MARKER}: {record.place(drop).written}", _drop(drop)


def _keepers(choice: Choice, ends: LowEnds) -> Iterator[str]:
    """Why each keeper keeps the low end, in the order of the recipe's list."""
    for keeper in choice.keepers():
        others = [name for name in ends.after_db if name != keeper.name]
        if keeper.from_beat < 0:
            there = [name for name in others if choice.span.plays_from(name) == -choice.span.lead]
            yield _before(keeper.name, there, ends.before_db)
        elif keeper.from_beat == 0:
            there = [name for name in others if name != choice.gives_way]
            yield _after(keeper.name, there, ends.after_db, choice.gives_way)
        else:
            yield "the one before it is over"


def _before(name: str, others: Sequence[str], db: dict[str, float]) -> str:
    if db[name] < NO_LOW_END_DB:
        return "nobody has a bass on the way in"
    if not others:
        return "alone at the start"
    rival = max(others, key=lambda other: db[other])
    if db[rival] < NO_LOW_END_DB:
        return "the only one with a low end on the way in"
    return _ahead(name, rival, db, "more low end on the way in")


def _after(name: str, others: Sequence[str], db: dict[str, float], gives_way: str | None) -> str:
    if not others:
        return f"{gives_way} gives way"
    rival = max(others, key=lambda other: db[other])
    return _ahead(name, rival, db, "the stronger low end after its drop")


def _ahead(name: str, rival: str, db: dict[str, float], what: str) -> str:
    ahead = db[name] - db[rival]
    if abs(ahead) < CLOSE_DB:
        return f"{CLOSE}{rival} has as much low end"
    return f"{what}, by {ahead:.0f} dB"
