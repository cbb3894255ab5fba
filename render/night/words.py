"""How long, how big and how many, as a person reads it, and the table of the morning."""

from collections.abc import Iterator

from render.night.report import Report


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


def table(report: Report, path: str) -> Iterator[str]:
    """What a person wants to know in the morning, a line each; `path` is where the whole report lies."""
    counts = ", ".join(f"{count} {word}" for word, count in report.counts.items() if count)
    yield f"night     {counts or 'nothing to make'}, in {lasting(report.wall_s)}"
    for name, entry in report.told:
        if entry.reason is not None:
            yield f"{entry.word:<9} {name}  {entry.reason}" + (f"  ({entry.log})" if entry.log else "")
    if report.faults:
        yield f"in error  {plural(len({fault.file for fault in report.faults}), 'recipe')}"
    if report.warnings:
        yield "warnings  " + ", ".join(f"{code} {count}" for code, count in report.warnings.items())
    if report.loudest:
        yield f"loudest   {report.loudest[0]}, needs {report.loudest[1]:.1f} dB of headroom"
    if report.slowest:
        yield "slowest   " + ", ".join(f"{name} {lasting(wall_s)}" for name, wall_s in report.slowest)
    yield f"report    {path}"
