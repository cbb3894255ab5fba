"""`dropkiln doctor`: what is here, which engine serves, and whether it keeps time."""

import json
import math
import platform

import typer

from render.cli.options import Json
from render.faults import EXIT_SOME_FAILED, ToolError


def doctor(as_json: Json = False) -> None:
    """Say what is installed, and test the engines.

    Clicks are stretched by every engine that is here; none may come out more than a millisecond off.

    Example: dropkiln doctor
    """
    from render.checks.clicks import LIMIT_MS, click_test_ms
    from render.files.engines import engine_of, engines_here
    from render.files.ffmpeg import find_ffmpeg

    chosen = engine_of("auto").name
    engines, lines = [], []
    serving = False
    for engine in engines_here():
        worst_ms = math.inf
        try:
            worst_ms = click_test_ms(engine)
            verdict = "keeps time" if worst_ms < LIMIT_MS else f"is off by more than {LIMIT_MS:g} ms"
            verdict += (
                f" (worst click {worst_ms:.2f} ms)" if math.isfinite(worst_ms) else " (clicks are lost)"
            )
        except ToolError as error:
            verdict = f"fails: it {error.wrong}"
        if engine.name == chosen:
            serving = worst_ms < LIMIT_MS
        told_ms = worst_ms if math.isfinite(worst_ms) else None
        engines.append({"name": engine.name, "version": engine.version, "worst_click_ms": told_ms})
        serves = ", serves" if engine.name == chosen else ""
        lines.append(f"engine       {engine.name} {engine.version}{serves}: {verdict}")
    if as_json:
        facts = {
            "python": platform.python_version(),
            "ffmpeg": str(find_ffmpeg()),
            "engines": engines,
            "serves": chosen,
            "keeps_time": serving,
        }
        typer.echo(json.dumps(facts, indent=2))
    else:
        typer.echo(f"python       {platform.python_version()}")
        typer.echo(f"encoder      {find_ffmpeg()}")
        typer.echo("\n".join(lines))
        if len(engines) == 1:
            typer.echo("             no `rubberband` of version 3 or newer on PATH; it is the finer engine")
    if not serving:
        raise typer.Exit(EXIT_SOME_FAILED)
