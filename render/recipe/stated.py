"""What a recipe states of a track, as facts about its recording."""

from render.facts import Fact, Recording, TrackFacts
from render.recipe.markers import time_of
from render.recipe.positions import TrackPosition
from render.recipe.schema import LANDING_MARKER, Track
from render.values import Grid


def time_in_recording(track: Track, position: TrackPosition) -> float:
    """Seconds from the recording's start to a position of the track, its `offset` included."""
    grid = Grid(track.first_beat, track.bpm, track.beats_per_bar)
    return time_of(position, track.markers, grid) + track.offset / 1000.0


def stated_facts(name: str, track: Track, recording: Recording) -> TrackFacts:
    """The facts of a track whose recipe states them all."""
    return TrackFacts(
        name=name,
        recording=recording,
        tempo_bpm=Fact(track.bpm),
        first_beat_s=Fact(track.first_beat + track.offset / 1000.0),
        beats_per_bar=Fact(
            track.beats_per_bar, "stated" if "beats_per_bar" in track.model_fields_set else "assumed"
        ),
        drop_s=Fact(time_in_recording(track, track.markers[LANDING_MARKER])),
        key=Fact(track.key) if track.key else None,
    )
