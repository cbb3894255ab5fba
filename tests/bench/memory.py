"""How much memory a process has come to need."""

from pathlib import Path


def peak_mib_of(process: str = "self") -> float:
    """A process's own peak, `VmHWM` of proc(5); what `resource` tells begins with that of whoever started it."""
    for line in Path(f"/proc/{process}/status").read_text(encoding="ascii").splitlines():
        if line.startswith("VmHWM:"):
            return int(line.split()[1]) / 1024
    raise AssertionError(process)
