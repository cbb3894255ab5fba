"""The command `dropkiln`: its commands by name, and the one place where errors become exit statuses.

Heavy imports wait until a command needs them, so that `--help` answers at once.
"""

import sys

import typer

from render.cli import check, demo, doctor, render, schema
from render.faults import EXIT_IN_ERROR, EXIT_SOME_FAILED, DropkilnError

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
app.command()(demo.demo)
app.command()(schema.schema)
app.command()(doctor.doctor)


def main() -> None:
    """Run the command line and exit with its status."""
    try:
        status = app(sys.argv[1:] or ["--help"], standalone_mode=False)
    except typer.TyperException as error:
        wrong = error.format_message().replace("Value error, ", "").removesuffix(".")
        typer.echo(f"dropkiln: {wrong}; `dropkiln --help` tells how it is called", err=True)
        status = EXIT_IN_ERROR
    except DropkilnError as error:
        typer.echo(str(error), err=True)
        status = error.exit_status
    except (KeyboardInterrupt, typer.Abort):
        typer.echo("stopped; what is finished stays", err=True)
        status = EXIT_SOME_FAILED
    sys.exit(status or 0)
