"""`dropkiln page`: the listening page once more."""

from pathlib import Path

import typer

from render.cli.options import Out
from render.faults import UsageError


def page(out: Out = Path("out")) -> None:
    """Make the listening page of the clips in OUT/clips again: OUT/index.html.

    Every render makes it; this is for a folder in which clips were removed or brought from elsewhere.

    Example: dropkiln page --out out
    """
    from render.night.listening import PAGE, write_page
    from render.night.paths import CLIPS
    from render.night.words import plural, say

    if not (out / CLIPS).is_dir():
        raise UsageError(
            str(out), f"there is no folder '{CLIPS}' in it", "name the folder that a render has filled"
        )
    count = write_page(out, out / CLIPS, say)
    typer.echo(f"{plural(count, 'clip')} on {out / PAGE}")
