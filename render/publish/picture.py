"""The picture of a clip: what plays when, and how loud each beat of it is, as one SVG.

It is drawn like a figure in a book: two inks on paper, one row a track over an axis of beats that are counted from
the landing. A row stands on its low end, solid where the track has it and hollow where it is cut. The second ink
marks the landing and what a drop brings; everything it says is also written.

The text holds no script, refers to nothing outside itself, and is the same for the same plan and levels.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import groupby

from render.facts import TrackFacts
from render.plan.explain import drift_percent, events
from render.plan.model import ClipPlan, Lane
from render.publish import drawing
from render.publish.drawing import BODY_HEIGHT, LEFT, RIGHT, SMALL, WIDTH, Axis, Label, Levels, Mark, Span
from render.publish.lettering import BOLD, cleaned, fitted, minus, width_em
from render.publish.templating import environment
from render.values import clock, counted

MARGIN = 14.0
TITLE, LONG_TITLE, NAME = 30.0, 23.0, 23.0
"""Type sizes, in units; labels are `drawing.SMALL`."""
FACTS_WIDTH = 500.0
"""The most that a lane's facts may take of its heading; the name gets the rest."""
KEY_EM = 12.0
"""The most that a key may take of that."""

FIRST_LANE, LANE_PITCH = 112.0, 156.0
"""Top of the first lane, and from there to the top of the next."""
BODY_TOP = 58.0
"""From a lane's top to its span; above are the heading and the names of what happens."""
FOOT = BODY_TOP + BODY_HEIGHT
LOW_TOP, LOW_HEIGHT = FOOT + 3.0, 11.0
MIX_BODY_TOP = 36.0
"""From the top of the strip of levels to its bars; above is its heading."""

LEGEND_HEIGHT = 44.0
"""From the foot of the strip of levels to the foot of the paper."""

SMALLEST_CHANGE = 0.00005
"""A tempo change that rounds to less than 0.01 %: nobody could set it."""
LANDING, BEATS = "landing", " beats"


@dataclass(frozen=True)
class Energies:
    """Levels in dB, one a beat from the clip's first beat on; None where there is silence."""

    lanes: Mapping[str, Sequence[float | None]]
    mix: Sequence[float | None]


@dataclass(frozen=True)
class _Row:
    """A lane, drawn. Paths are in the lane's own coordinates, from its top down."""

    top: float
    name: str
    short_name: str
    facts: str
    passages: tuple[str, ...]
    bars: str
    dropped_bars: str
    low_end: tuple[Span, ...]
    signs: tuple[Mark, ...]
    labels: tuple[Label, ...]


@dataclass(frozen=True)
class _Number:
    """A number of a scale, at a place along it; `half` is half of its width."""

    place: float
    text: str
    half: float = 0.0
    unit: str = ""


_templates = environment()
_templates.filters["number"] = drawing.number
_templates.globals.update(
    width=WIDTH,
    left=LEFT,
    right=RIGHT,
    margin=MARGIN,
    small=SMALL,
    name_size=NAME,
    body_top=BODY_TOP,
    foot=FOOT,
    low_top=LOW_TOP,
    low_height=LOW_HEIGHT,
    mix_body_top=MIX_BODY_TOP,
)


def picture_svg(plan: ClipPlan, facts: Mapping[str, TrackFacts], energies: Energies) -> str:
    """The clip's picture as the text of an SVG file.

    Raises KeyError where a lane has no facts or no energies.
    """
    axis = Axis(plan.clock)
    title_size = TITLE if width_em(cleaned(plan.full_title)) * TITLE <= WIDTH - 2 * MARGIN else LONG_TITLE
    scale = Levels.holding(level for lane in plan.lanes for level in energies.lanes[lane.track])
    mix_scale = Levels.holding(energies.mix)
    rows = [
        _row(axis, scale, lane, facts[lane.track], energies.lanes[lane.track], index)
        for index, lane in enumerate(plan.lanes)
    ]
    mix_top = FIRST_LANE + len(rows) * LANE_PITCH
    mix_foot = _mix_foot(len(rows))
    mix_bars = drawing.bars(axis, mix_scale, energies.mix, -plan.clock.lead_beats, plan.clock.tail_beats)
    return _templates.get_template("picture.svg.j2").render(
        full_title=cleaned(plan.full_title),
        title=fitted(plan.full_title, (WIDTH - 2 * MARGIN) / title_size),
        title_size=title_size,
        subtitle=_subtitle(plan),
        summary=picture_summary(plan, facts),
        rows=rows,
        landing=_landing_word(axis),
        numbers=_axis_numbers(axis),
        axis=axis,
        mix_top=mix_top,
        mix_foot=mix_foot,
        mix_bars=drawing.bars_path(mix_bars, mix_foot),
        mix_ticks=[_Number(mix_foot - mix_scale.height(db), minus(f"{db:g}")) for db in mix_scale.ticks()],
        height=picture_height(len(rows)),
    )


def picture_height(lanes: int) -> float:
    """Of a picture of so many lanes, in the units of which it is `WIDTH` wide."""
    return _mix_foot(lanes) + LEGEND_HEIGHT


def _mix_foot(lanes: int) -> float:
    return FIRST_LANE + lanes * LANE_PITCH + MIX_BODY_TOP + BODY_HEIGHT


def picture_summary(plan: ClipPlan, facts: Mapping[str, TrackFacts]) -> str:
    """What the picture shows, in words: its description for screen readers, and the `alt` text of a page."""
    clip = plan.clock
    sentences = [
        f"{counted(clip.lead_beats + clip.tail_beats)} at {clip.tempo_bpm:g} BPM, {clock(clip.duration_s)} long; "
        f"the landing is at {clock(clip.landing_s)}."
    ]
    happens = events(plan, facts)
    for lane in plan.lanes:
        moments = [
            f"{_when(beat)}: {', '.join(event.what for event in together)}"
            for beat, together in groupby((e for e in happens if e.track == lane.track), key=lambda e: e.beat)
        ]
        if lane.fade_out_beats:
            moments.append(f"fades out over its last {counted(lane.fade_out_beats)}")
        sentences.append(
            f"{lane.track} ({_facts_text(lane, facts[lane.track], ', ')}): {'; '.join(moments)}."
        )
    return cleaned(" ".join(sentences))


def _subtitle(plan: ClipPlan) -> str:
    clip = plan.clock
    return (
        f"{clip.tempo_bpm:g} BPM · {counted(clip.lead_beats + clip.tail_beats)} · {clock(clip.duration_s)} · "
        f"landing at {clock(clip.landing_s)}"
    )


def _row(
    axis: Axis,
    scale: Levels,
    lane: Lane,
    facts: TrackFacts,
    levels_db: Sequence[float | None],
    index: int,
) -> _Row:
    found = list(drawing.marks(axis, lane))
    facts_text = fitted(_facts_text(lane, facts, " · "), FACTS_WIDTH / SMALL)
    name_room = RIGHT - MARGIN - width_em(facts_text) * SMALL - SMALL
    drop_start, drop_end = _after_the_drop(lane)
    return _Row(
        top=FIRST_LANE + index * LANE_PITCH,
        name=cleaned(lane.track),
        short_name=fitted(lane.track, name_room / (NAME * BOLD)),
        facts=facts_text,
        passages=tuple(drawing.passage_path(axis, lane, p, BODY_TOP, FOOT) for p in lane.legs),
        bars=drawing.bars_path(
            [
                *drawing.bars(axis, scale, levels_db, lane.start_beat, drop_start),
                *drawing.bars(axis, scale, levels_db, drop_end, lane.end_beat),
            ],
            FOOT,
        ),
        dropped_bars=drawing.bars_path(drawing.bars(axis, scale, levels_db, drop_start, drop_end), FOOT),
        low_end=tuple(drawing.low_end_spans(axis, lane)),
        signs=tuple(found),
        labels=tuple(drawing.labels(axis, found)),
    )


def _after_the_drop(lane: Lane) -> tuple[float, float]:
    """From its drop until it jumps away or ends; nothing, at its end, where a lane does not drop."""
    if not lane.drops:
        return lane.end_beat, lane.end_beat
    return 0.0, next(passage.end_beat for passage in lane.legs if passage.end_beat > 0.0)


def _facts_text(lane: Lane, facts: TrackFacts, between: str) -> str:
    known = [*_changes(lane), f"{lane.gain_db:+g} dB" if lane.gain_db else "0 dB"]
    key = [fitted(facts.key.value, KEY_EM)] if facts.key else []
    return between.join([*map(minus, known), *key])


def _changes(lane: Lane) -> list[str]:
    """What becomes of tempo and pitch, in percent and semitones."""
    passage = lane.passages[0]
    percent = drift_percent(lane) or f"{(passage.speed - 1) * 100:+.2f} %"
    moved = max(abs(speed - 1) for speed in lane.speeds) >= SMALLEST_CHANGE
    if passage.semitones is None and moved:
        return [f"tempo and pitch {percent}"]
    tempo = f"tempo {percent}" if moved else "tempo kept"
    if not passage.semitones:
        return [tempo, "pitch kept"]
    plural = "" if abs(passage.semitones) == 1 else "s"
    return [tempo, f"{passage.semitones:+g} semitone{plural}"]


def _landing_word(axis: Axis) -> _Number:
    """The word over the landing line, kept on the paper where the landing is near its edge."""
    half = width_em(LANDING) * SMALL * BOLD / 2
    return _Number(min(max(axis.x(0.0), half), WIDTH - half), LANDING, half)


def _axis_numbers(axis: Axis) -> list[_Number]:
    """The numbers of the axis, except at the paper's edge; the last that has room for it carries the unit."""
    landing = _landing_word(axis)
    written = [(axis.x(beat), minus(f"{beat:+g}")) for beat in axis.numbered()]
    numbers = [_Number(place, text, width_em(text) * SMALL / 2) for place, text in written]
    numbers = [made for made in numbers if made.place + made.half <= WIDTH]
    edges = [*(made.place - made.half for made in numbers), landing.place - landing.half, WIDTH]
    for index, made in reversed(list(enumerate(numbers))):
        end = made.place + made.half + width_em(BEATS) * SMALL
        if end <= min(edge for edge in edges if edge > made.place):
            numbers[index] = replace(made, unit=BEATS)
            break
    return numbers


def _when(beat: float) -> str:
    if round(beat, 3) == 0:
        return "at the landing"
    return f"{counted(round(abs(beat), 3))} {'before' if beat < 0 else 'after'} the landing"
