"""Recipe and track facts to a ClipPlan: what plays when."""

from collections.abc import Iterable, Mapping

from render.facts import TrackFacts
from render.plan.lane import LanePlanner
from render.plan.low_cut import Keeping
from render.plan.model import ClipClock, ClipPlan, Lane, Reason
from render.plan.remarks import remarks
from render.recipe.nodes import Problem
from render.recipe.schema import LOW_CUT_CORNER_HZ, Recipe

MAX_CLIP_S = 900.0
"""A preview longer than a quarter of an hour is a mistake in a length."""


class PlanError(Exception):
    """A recipe that cannot be carried out with these recordings; `problems` say where and why."""

    def __init__(self, problems: Iterable[Problem]) -> None:
        self.problems = tuple(problems)
        super().__init__(self.problems)


def plan_clip(recipe: Recipe, facts: Mapping[str, TrackFacts], name: str, variant: str = "") -> ClipPlan:
    """Decide everything of one clip.

    Raises PlanError with all that stands against it. Tracks without facts are passed over, so that the others
    can be checked; the plan is then refused.
    """
    problems: list[Problem] = []
    reasons: list[Reason] = []
    tempo = clip_tempo(recipe, facts)
    if tempo is None or not facts:
        raise PlanError(problems)
    beats_per_bar = clip_beats_per_bar(recipe, facts)
    clock = ClipClock(
        tempo_bpm=tempo,
        beats_per_bar=beats_per_bar,
        rate_hz=clip_rate(recipe, facts.values()),
        lead_beats=recipe.lead.beats(beats_per_bar),
        tail_beats=recipe.tail.beats(beats_per_bar),
    )
    problems += _length_problems(clock)
    keepings = _keepings(recipe, clock, problems)
    lanes: list[Lane] = []
    if not any(problem.code in ("no-tail", "too-long") for problem in problems):
        for track, known in facts.items():
            planner = LanePlanner(recipe, track, known, clock, keepings)
            lane = planner.lane()
            problems += planner.problems
            reasons += planner.reasons
            lanes += [lane] if lane else []
    if problems or len(lanes) < len(recipe.tracks):
        raise PlanError(problems)
    reasons += remarks(recipe, lanes, facts)
    if recipe.low_cut is None:
        text = "nobody's low end is cut; add `low_cut` where two basses meet"
        reasons.append(Reason("note", "low-end-shared", text))
    return ClipPlan(
        recipe=name,
        variant=variant,
        title=recipe.title,
        clock=clock,
        lanes=tuple(lanes),
        low_cut_hz=recipe.low_cut.below if recipe.low_cut else LOW_CUT_CORNER_HZ,
        low_cut_stated=recipe.low_cut is not None,
        ceiling_dbtp=recipe.clip.ceiling,
        format=recipe.clip.format,
        reasons=tuple(reasons),
    )


def clip_tempo(recipe: Recipe, facts: Mapping[str, TrackFacts]) -> float | None:
    """The clip's tempo: a number, a track's, or the first track's; None where that track's facts are missing."""
    match recipe.tempo:
        case float(tempo):
            return tempo
        case str(track):
            return facts[track].tempo_bpm.value if track in facts else None
        case None:
            first = next(iter(recipe.tracks), "")
            return facts[first].tempo_bpm.value if first in facts else None


def clip_beats_per_bar(recipe: Recipe, facts: Mapping[str, TrackFacts]) -> int:
    """Beats in a bar of the clip: those of the track that gives the tempo, else the longest bar among the tracks."""
    if isinstance(recipe.tempo, str):
        return facts[recipe.tempo].beats_per_bar.value
    return max(known.beats_per_bar.value for known in facts.values())


def clip_rate(recipe: Recipe, facts: Iterable[TrackFacts]) -> int:
    """The clip's rate in Hz: 48,000 where every recording divides it evenly or Opus asks for it, else 44,100."""
    rates = {known.recording.rate_hz for known in facts}
    if recipe.clip.format == "opus" or all(48_000 % rate == 0 or rate % 48_000 == 0 for rate in rates):
        return 48_000
    return 44_100


def _length_problems(clock: ClipClock) -> list[Problem]:
    problems = []
    if clock.tail_beats < 1:
        wrong = f"a tail of {clock.tail_beats:g} beats leaves nothing after the landing"
        problems.append(Problem(("tail",), "no-tail", wrong, "one beat or more, as in `tail: 64 beats`"))
    clip_s = (clock.lead_beats + clock.tail_beats) * 60.0 / clock.tempo_bpm
    if clip_s > MAX_CLIP_S:
        longest = int(MAX_CLIP_S * clock.tempo_bpm / 60.0)
        wrong = f"lead and tail make a clip of {clip_s / 60:.0f} minutes"
        problems.append(Problem(("lead",), "too-long", wrong, f"{longest} beats together are the most"))
    return problems


def _keepings(recipe: Recipe, clock: ClipClock, problems: list[Problem]) -> tuple[Keeping, ...]:
    """The keepers in order; problems are added where a moment is outside the clip or out of order."""
    keepings: list[Keeping] = []
    for index, keep in enumerate(recipe.low_cut.keep if recipe.low_cut else ()):
        beat = keep.from_.beat(clock.lead_beats, clock.tail_beats, clock.beats_per_bar)
        path = ("low_cut", "keep", index, "from")
        if not -clock.lead_beats <= beat < clock.tail_beats:
            right = (
                f"from {-clock.lead_beats:g} to {clock.tail_beats:g} beats around the landing there is a clip"
            )
            problems.append(
                Problem(path, "outside-clip", f"'{keep.from_.written}' is outside the clip", right)
            )
        elif keepings and beat <= keepings[-1].from_beat:
            wrong = f"'{keep.from_.written}' is not after the entry above it"
            problems.append(
                Problem(path, "out-of-order", wrong, "list the keepers in the order of their moments")
            )
        else:
            keepings.append(Keeping(beat, keep.track))
    return tuple(keepings)
