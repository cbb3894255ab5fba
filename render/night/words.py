"""How long, how big and how many, as a person reads it."""

import sys


def plural(count: int, noun: str) -> str:
    return f"{count} {noun}{'s' if count != 1 else ''}"


def lasting(time_s: float) -> str:
    """A length of time in the two units that matter: `8 s`, `3 min 20 s`, `2 h 05 min`."""
    whole_s = round(time_s)
    minutes, seconds = divmod(whole_s, 60)
    hours, minutes = divmod(minutes, 60)
    if hours:
        return f"{hours} h {minutes:02d} min"
    return f"{minutes} min {seconds:02d} s" if minutes else f"{seconds} s"


def sized(size_bytes: float) -> str:
    """A size in megabytes or gigabytes of a thousand, as disks are sold."""
    return f"{size_bytes / 1e9:.1f} GB" if size_bytes >= 1e9 else f"{size_bytes / 1e6:.1f} MB"


def say(line: str) -> None:
    """A line on standard error, at once."""
    print(line, file=sys.stderr, flush=True)  # noqa: T201 - the log is the point
