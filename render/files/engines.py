"""Which stretch engine serves: the executable where it is there, the wheel everywhere else."""

from functools import cache
from typing import Literal

from render.files.rubberband import Rubberband, find_rubberband
from render.sound.signalsmith import Signalsmith
from render.sound.stretch import Engine

EngineChoice = Literal["auto", "rubberband", "signalsmith"]


@cache
def engine_of(choice: EngineChoice) -> Engine:
    """The engine asked for; `auto` takes the `rubberband` executable if there is one.

    Raises ToolError where `rubberband` is asked for and missing.
    """
    if choice == "rubberband" or (choice == "auto" and find_rubberband()):
        return Rubberband()
    return Signalsmith()


def engines_here() -> list[Engine]:
    """Every engine that can serve on this machine, the finest first."""
    return [Rubberband(), Signalsmith()] if find_rubberband() else [Signalsmith()]
