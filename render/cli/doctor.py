"""`dropkiln doctor`: what is here, which engine serves, and whether it keeps time."""

import json
import platform

import typer

from render.cli.options import Json
from render.faults import EXIT_SOME_FAILED


def doctor(as_json: Json = False) -> None:
    """Say what is installed, and test the engines.

    Clicks are stretched by every engine that is here; none may come out more than a millisecond off.

    Example: dropkiln doctor
    """
    from render.checks.clicks import LIMIT_MS, click_test_ms
    from render.files.engines import engine_of, engines_here
    from render.files.ffmpeg import find_ffmpeg

    chosen = engine_of("auto").name
    tests = {engine.name: (engine.version, click_test_ms(engine)) for engine in engines_here()}
    keeps_time = tests[chosen][1] < LIMIT_MS
    if as_json:
        engines = [{"name": n, "version": v, "worst_click_ms": ms} for n, (v, ms) in tests.items()]
        facts = {
            "python": platform.python_version(),
            "ffmpeg": str(find_ffmpeg()),
            "engines": engines,
            "serves": chosen,
            "keeps_time": keeps_time,
        }
        typer.echo(json.dumps(facts, indent=2))
    else:
        typer.echo(f"python       {platform.python_version()}")
        typer.echo(f"encoder      {find_ffmpeg()}")
        for name, (version, worst_ms) in tests.items():
            verdict = "keeps time" if worst_ms < LIMIT_MS else f"is off by more than {LIMIT_MS:g} ms"
            serves = ", serves" if name == chosen else ""
            typer.echo(f"engine       {name} {version}{serves}: {verdict} (worst click {worst_ms:.2f} ms)")
        if "rubberband" not in tests:
            typer.echo(
                "             no `rubberband` executable on PATH; installing it gives the finer engine"
            )
    if not keeps_time:
        raise typer.Exit(EXIT_SOME_FAILED)
