"""The command `dropkiln`: its commands by name, and the one place where errors become exit statuses.

Heavy imports wait until a command needs them, so that `--help` answers at once.
"""

import errno
import io
import os
import sys

import typer

from render.cli import (
    ballots,
    book,
    card,
    check,
    clean,
    demo,
    doctor,
    draft,
    look,
    page,
    playlist,
    render,
    schema,
    share,
)
from render.cli.start import STOPPED
from render.faults import EXIT_IN_ERROR, EXIT_SOME_FAILED, DropkilnError

STATUS_OF_CTRL_C = 130
"""What typer turns a KeyboardInterrupt into."""

app = typer.Typer(
    name="dropkiln",
    help="Renders previews of double drops overnight, from short recipes.",
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
    add_completion=False,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100},
)
app.command()(render.render)
app.command()(check.check)
app.command()(look.look)
app.command()(draft.draft)
app.command()(ballots.ballots)
app.command()(book.book)
app.command()(share.share)
app.command()(card.card)
app.command()(playlist.playlist)
app.command()(demo.demo)
app.command()(page.page)
app.command()(clean.clean)
app.command()(schema.schema)
app.command()(doctor.doctor)


def main() -> None:
    """Run the command line and exit with its status."""
    if isinstance(sys.stdout, io.TextIOWrapper):  # a title may hold what the terminal's encoding does not
        sys.stdout.reconfigure(errors="backslashreplace")
    try:
        status = app(sys.argv[1:] or ["--help"], standalone_mode=False)
    except typer.TyperException as error:
        status = _told(_misuse(error), EXIT_IN_ERROR)
    except DropkilnError as error:
        status = _told(str(error), error.exit_status)
    except OSError as error:
        if error.errno != errno.ENOSPC or error.filename is not None:
            raise
        # What could not be written is still buffered, and would fail once more at the interpreter's end.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        status = _told("standard output: the disk is full; make room there", EXIT_SOME_FAILED)
    if status == STATUS_OF_CTRL_C:
        status = _told(STOPPED, EXIT_SOME_FAILED)
    sys.exit(status or 0)


def _told(line: str, status: int) -> int:
    typer.echo(line, err=True)
    return status


def _misuse(error: typer.TyperException) -> str:
    """What is wrong with a call, in one line that says where to look."""
    context = getattr(error, "ctx", None)
    command = context.command_path if context else "dropkiln"
    wrong = error.format_message().replace("Value error, ", "").removesuffix(".")
    return f"{command}: {wrong}; `{command} --help` tells how it is called"
