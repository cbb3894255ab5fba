"""Which stretch engine serves: the executable where it is there, the wheel everywhere else."""

from typing import Literal, get_args

from render.files.rubberband import Rubberband, find_rubberband
from render.sound.signalsmith import Signalsmith
from render.sound.stretch import Engine

EngineChoice = Literal["auto", "rubberband", "signalsmith"]
CHOICES: tuple[str, ...] = get_args(EngineChoice)


def engine_of(choice: EngineChoice) -> Engine:
    """The engine asked for; `auto` takes the `rubberband` executable if there is one.

    Raises ToolError where `rubberband` is asked for and missing.
    """
    if choice == "rubberband" or (choice == "auto" and find_rubberband()):
        return Rubberband()
    return Signalsmith()
