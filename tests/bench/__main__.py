"""Everything that is measured, as one table: `python -m tests.bench [--quick] [--to FILE] [PART…]`.

A part that cannot run here, or fails, gets a row that says so, and the others go on.
"""

import argparse
import sys
import traceback
from dataclasses import dataclass, field
from importlib import import_module
from pathlib import Path

from tests.bench.rows import HEAD, CannotRun, Load, Row, without

PARTS = {
    "start-up": ("tests.bench.start_up", "how long `dropkiln --help` takes"),
    "clip": (
        "tests.bench.clip_cost",
        "what one clip costs over decoding, stretching and encoding, and its memory",
    ),
    "plain": ("tests.bench.plain_pipeline", "the same preview by one FFmpeg command beside ours"),
    "ears": ("tests.bench.ears_cost", "how fast a record is heard, and in how much memory"),
    "page": ("tests.bench.page_load", "how fast a page of many clips loads and changes variants"),
    "night": (
        "tests.bench.night",
        "a second variant, two workers over one, a long night, an unchanged one",
    ),
}


def main() -> int:
    parser = argparse.ArgumentParser(
        prog="python -m tests.bench",
        description="Measure everything and print one table in Markdown.",
        epilog="parts:\n" + "\n".join(f"  {part:9} {what}" for part, (_, what) in PARTS.items()),
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument(
        "parts", nargs="*", metavar="PART", help="only these, in this order; else all of them"
    )
    parser.add_argument("--quick", action="store_true", help="fewer rounds and shorter nights")
    parser.add_argument("--to", type=Path, metavar="FILE", help="write the table there as well")
    asked = parser.parse_args()
    for part in asked.parts:
        if part not in PARTS:
            parser.error(f"there is no part '{part}'; there are {', '.join(PARTS)}")
    table = Table(asked.to)
    for part in asked.parts or PARTS:
        measure(part, asked.quick, table)
    return int(table.failed)


@dataclass
class Table:
    """What is printed row by row, and written to a file, so that a run that is stopped leaves what it measured."""

    to: Path | None
    failed: bool = False
    lines: list[str] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.add(HEAD)

    def add(self, line: object) -> None:
        print(line, flush=True)
        self.lines.append(str(line))
        if self.to:
            self.to.write_text("\n".join(self.lines) + "\n", encoding="utf-8")


def measure(part: str, quick: bool, table: Table) -> None:
    try:
        for row in import_module(PARTS[part][0]).rows(quick):
            table.add(row)
    except CannotRun as missing:
        table.add(without(part, str(missing)))
    except Exception as error:  # noqa: BLE001 - the border of a part: the others have still to be measured
        traceback.print_exc()
        table.failed = True
        table.add(Row(part, f"failed: {type(error).__name__}: {error}", "", Load()))


if __name__ == "__main__":
    sys.exit(main())
