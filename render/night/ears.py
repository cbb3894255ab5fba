"""Listening to recordings from end to end, many at once; what was heard before is not listened to again."""

import os
import traceback
from collections.abc import Generator, Sequence
from contextlib import closing
from pathlib import Path

from threadpoolctl import threadpool_limits

from render.facts import NOTHING_GIVEN, Given, RecordFacts, Recording
from render.faults import SourceError
from render.files.beats_beside import given_with_beats
from render.files.facts_store import Place, facts_store, place_of
from render.night.pool import processes
from render.night.tasks import KILLED, LESS_MEMORY, results
from render.night.words import plural, say

LONG_S = 300.0
"""So much sound takes one process several seconds, after which people want to know what they wait for."""

Wanted = tuple[Recording, Given]
Heard = RecordFacts | SourceError


def listened(path: Path) -> tuple[Recording, RecordFacts]:
    """A recording and what is heard of it. Raises SourceError."""
    wanted = wanted_of(path)
    (heard,) = facts_of_records([wanted], jobs=1)
    if isinstance(heard, SourceError):
        raise heard
    return wanted[0], heard


def wanted_of(path: Path) -> Wanted:
    """A recording to be heard, with the beats that lie beside it; what is to be said of those is said.

    Raises SourceError.
    """
    from render.files.audio_files import open_recording

    recording = open_recording(path)
    given, notes = given_with_beats(recording, NOTHING_GIVEN)
    for note in notes:
        say(note)
    return recording, given


def facts_of_records(wanted: Sequence[Wanted], jobs: int, plain: bool = False) -> list[Heard]:
    """What is heard of each recording, or why nothing is, in the order of `wanted`.

    What was heard before is read from the cache. The rest is listened to, each once, `jobs` of them at once (0: one
    for each core), and kept as soon as it is heard. Where that takes long, standard error tells how far it is.
    """
    heard, places = _remembered(wanted)
    if places:
        with closing(_shown(_listened(list(places), jobs), list(places), plain)) as came:
            for one, facts in came:
                heard[one] = facts
                if isinstance(facts, RecordFacts):
                    places[one].put(facts)
                else:
                    for trace in getattr(facts, "__notes__", ()):
                        say(trace)
    if trouble := facts_store().trouble():
        say(trouble)
    return [heard[one] for one in wanted]


def listen(one: Wanted) -> Heard:
    """Listen to a recording now; whatever goes wrong comes back, for the others must go on.

    The same is heard in every process, whatever the number of its cores.
    """
    from render.analysis.record import RecordListener  # what hears takes seconds to load
    from render.files.audio_files import blocks_of

    recording, given = one
    try:
        with threadpool_limits(1):  # sums in another order differ in their last digits
            listener = RecordListener(recording.rate_hz, given)
            for block in blocks_of(recording):
                listener.feed(block)
            return listener.heard()
    except SourceError as error:
        return error
    except Exception as error:  # noqa: BLE001 - the border of a record: the trace goes along as a note
        wrong = f"listening to it failed ({type(error).__name__}: {error})"
        failed = SourceError(recording.path, wrong, "please report this, and state its facts until then")
        failed.add_note(traceback.format_exc())
        return failed


def _remembered(wanted: Sequence[Wanted]) -> tuple[dict[Wanted, Heard], dict[Wanted, Place]]:
    """What is known already, and for each of the others where to keep what will be heard."""
    heard: dict[Wanted, Heard] = {}
    places: dict[Wanted, Place] = {}
    for one in dict.fromkeys(wanted):
        try:
            place = place_of(*one, facts_store())
        except SourceError as error:
            heard[one] = error
            continue
        if (facts := place.get()) is None:
            places[one] = place
        else:
            heard[one] = facts
    return heard, places


def _listened(wanted: list[Wanted], jobs: int) -> Generator[tuple[Wanted, Heard]]:
    """What is heard of each, as they are finished."""
    count = min(jobs or os.cpu_count() or 1, len(wanted))
    if count == 1:  # in this process, which starts sooner
        for one in wanted:
            yield one, listen(one)
        return
    with closing(results(wanted, listen, count, processes)) as came:
        for one, heard in came:
            yield one, heard or SourceError(one[0].path, f"while it was listened to, {KILLED}", LESS_MEMORY)


def _shown(
    came: Generator[tuple[Wanted, Heard]], wanted: list[Wanted], plain: bool
) -> Generator[tuple[Wanted, Heard]]:
    """Pass on what came; where there is long to listen, show it: a line each, or a bar on a screen."""
    sound_s = sum(recording.duration_s for recording, _ in wanted)
    with closing(came):
        if sound_s < LONG_S:
            yield from came
            return
        from rich.console import Console
        from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeElapsedColumn

        console = Console(stderr=True, highlight=False)
        if plain or not console.is_terminal:
            say(f"listening to {plural(len(wanted), 'record')}, {sound_s / 60:.1f} minutes of sound")
            for number, (one, heard) in enumerate(came, start=1):
                say(f"listened  {number} of {len(wanted)}  {Path(one[0].path).name}")
                yield one, heard
        else:
            columns = (TextColumn("listening"), BarColumn(), MofNCompleteColumn(), TimeElapsedColumn())
            with Progress(*columns, console=console, transient=True) as progress:
                task = progress.add_task("records", total=len(wanted))
                for one, heard in came:
                    progress.advance(task)
                    yield one, heard
