"""The door of `dropkiln`: Ctrl-C while the program is still being loaded is told as it is later on.

It loads nothing itself, so that there is no earlier moment but Python's own start.
"""

import sys

STOPPED = "stopped; what is finished stays"


def main() -> None:
    """Run the command line and exit with its status."""
    try:
        from render.cli.app import main as run

        run()
    except KeyboardInterrupt:
        from render.faults import EXIT_SOME_FAILED

        print(STOPPED, file=sys.stderr)  # noqa: T201 - what prints elsewhere may not be there yet
        sys.exit(EXIT_SOME_FAILED)
