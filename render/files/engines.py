"""Which stretch engine serves: the executable where it is there, the wheel everywhere else."""

from dataclasses import dataclass
from functools import cache
from importlib import metadata
from pathlib import Path
from typing import Literal

from render.faults import ToolError
from render.files.rubberband_program import PROGRAM, find_rubberband, rubberband_version
from render.sound.engine import Engine

EngineChoice = Literal["auto", "rubberband", "signalsmith"]


@dataclass(frozen=True)
class Serving:
    """The engine that serves, by its name: an engine itself loads libraries for a second or two."""

    name: str
    version: str


def serving(choice: EngineChoice) -> Serving:
    """Which engine `engine_of` gives. Raises ToolError as that does."""
    if program := _program(choice):
        return Serving(PROGRAM, rubberband_version(program))
    return Serving("signalsmith", metadata.version("python-stretch"))


@cache
def engine_of(choice: EngineChoice) -> Engine:
    """The engine asked for; `auto` takes the `rubberband` executable if there is one.

    Raises ToolError where `rubberband` is asked for and missing.
    """
    if program := _program(choice):
        from render.files.rubberband import Rubberband

        return Rubberband(program)
    from render.sound.signalsmith import Signalsmith

    return Signalsmith()


def engines_here() -> list[Engine]:
    """Every engine that can serve on this machine, the finest first."""
    best = engine_of("auto")
    return [best] if best.name == "signalsmith" else [best, engine_of("signalsmith")]


def _program(choice: EngineChoice) -> Path | None:
    """The executable, where it is to serve and is there. Raises ToolError where it is asked for and missing."""
    program = find_rubberband() if choice != "signalsmith" else None
    if program is None and choice == "rubberband":
        wrong = "no `rubberband` with the fine engine (version 3 or newer) is on PATH"
        raise ToolError("rubberband", wrong, "install it, or let `--engine auto` choose")
    return program
