"""Which stretch engine serves: the executable where it is there, the wheel everywhere else."""

from functools import cache
from typing import Literal

from render.faults import ToolError
from render.files.rubberband import Rubberband, find_rubberband
from render.sound.signalsmith import Signalsmith
from render.sound.stretch import Engine

EngineChoice = Literal["auto", "rubberband", "signalsmith"]


@cache
def engine_of(choice: EngineChoice) -> Engine:
    """The engine asked for; `auto` takes the `rubberband` executable if there is one.

    Raises ToolError where `rubberband` is asked for and missing.
    """
    program = find_rubberband() if choice != "signalsmith" else None
    if program:
        return Rubberband(program)
    if choice == "rubberband":
        wrong = "no `rubberband` with the fine engine (version 3 or newer) is on PATH"
        raise ToolError("rubberband", wrong, "install it, or let `--engine auto` choose")
    return Signalsmith()


def engines_here() -> list[Engine]:
    """Every engine that can serve on this machine, the finest first."""
    best = engine_of("auto")
    return [best] if isinstance(best, Signalsmith) else [best, Signalsmith()]
