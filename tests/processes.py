"""The processes of this machine, by /proc (proc(5)), which only Linux has."""

from pathlib import Path


def is_running(pid: int) -> bool:
    """Whether there is such a process and it has not ended; one that nobody has asked about yet has."""
    try:
        return Path(f"/proc/{pid}/stat").read_text().rsplit(")", 1)[1].split()[0] != "Z"
    except (FileNotFoundError, ProcessLookupError):
        return False


def children(pid: int) -> list[int]:
    """The running processes that a process has started."""
    found = []
    for path in Path("/proc").glob("[0-9]*/stat"):
        try:
            state, parent = path.read_text().rsplit(")", 1)[1].split()[:2]
        except (FileNotFoundError, ProcessLookupError):  # it has just ended
            continue
        if int(parent) == pid and state != "Z":
            found.append(int(path.parent.name))
    return found


def workers_of(pid: int) -> list[int]:
    """Those of its children that compute for it, by their command lines."""
    found = []
    for child in children(pid):
        try:
            spawned = b"spawn_main" in Path(f"/proc/{child}/cmdline").read_bytes()
        except (FileNotFoundError, ProcessLookupError):
            continue
        if spawned:
            found.append(child)
    return found
