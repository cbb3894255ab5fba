"""The moments of a clip worth jumping to, as chapter marks."""

from dataclasses import dataclass

from render.plan.model import ClipPlan


@dataclass(frozen=True)
class Mark:
    """A span of the clip with a name, in seconds of the clip."""

    start_s: float
    end_s: float
    title: str


def marks(plan: ClipPlan) -> tuple[Mark, ...]:
    """Lead, landing, jumps back, and changes of the low end, in order; they cover the clip without a gap."""
    clock = plan.clock
    named: dict[float, list[str]] = {-clock.lead_beats: ["Lead"], 0.0: ["Landing"]}
    for lane in plan.lanes:
        for passage in lane.passages:
            if passage.begins == "jump":
                named.setdefault(passage.start_beat, []).append(f"{lane.track} jumps back")
        for cut in lane.cuts:
            for beat, what in ((cut.start_beat, "cut"), (cut.end_beat, "back")):
                if -clock.lead_beats < beat < clock.tail_beats:
                    named.setdefault(beat, []).append(f"{lane.track} low end {what}")
    beats = sorted(named)
    ends = [*beats[1:], clock.tail_beats]
    return tuple(
        Mark(clock.beat_s(beat), clock.beat_s(end), "; ".join(named[beat]))
        for beat, end in zip(beats, ends, strict=True)
        if end > beat
    )


def comment(plan: ClipPlan) -> str:
    """The clip's comment: tempo and landing, for whoever opens the file elsewhere."""
    return (
        f"{plan.clock.tempo_bpm:g} BPM, drops at {plan.clock.landing_s:.3f} s. Preview for private listening."
    )
