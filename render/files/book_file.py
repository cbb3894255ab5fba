"""The book on the disk: changed by one program at a time, whole, and never over what somebody has just written.

Beside `book.yaml` lie `book.yaml.before`, the version before the last change, and a hidden lock. Editors know no lock;
so what is on the disk is compared once more before it is replaced.
"""

from collections.abc import Callable
from pathlib import Path

from filelock import FileLock, Timeout

from render.faults import OutputError, UsageError
from render.files.whole_file import output_error, write_whole

BOOK = "book.yaml"
BEFORE = ".before"
MAX_BOOK_BYTES = 16 * 1024 * 1024
"""Some hundred thousand ratings."""
WAIT_S = 120.0
"""Another change takes seconds, in a large book half a minute."""
_TRIES = 3


def read_book_file(path: Path) -> str:
    """The book's text; empty where there is none yet. Raises UsageError where it cannot be read."""
    return _decoded(path, _content(path))


def change_book(path: Path, change: Callable[[str], str]) -> bool:
    """Replace the book's text by `change` of it; whether anything changed.

    `change` may be called again where somebody else has written meanwhile, and what it raises leaves everything as it
    was. Raises UsageError and OutputError.
    """
    path = path.resolve()  # the file a link leads to, not the link
    if not path.parent.is_dir():
        raise output_error(path, NotADirectoryError(20, "not a folder"))
    lock = FileLock(path.with_name(f".{path.name}.lock"))
    try:
        lock.acquire(timeout=WAIT_S)
    except Timeout:
        wrong = f"another program has been writing it for {WAIT_S:.0f} s"
        raise OutputError(str(path), wrong, "wait until it has ended, and try again") from None
    except OSError as error:
        raise output_error(path, error) from error
    try:
        for _ in range(_TRIES):
            old = _content(path)
            text = _decoded(path, old)
            new = change(text)
            if new == text:
                return False
            if _content(path) == old:
                if old is not None:
                    write_whole(path.with_name(path.name + BEFORE), old)
                write_whole(path, new)
                return True
    finally:
        lock.release()
    raise OutputError(str(path), "it is being changed all the time", "save it in your editor, and try again")


def _content(path: Path) -> bytes | None:
    try:
        if path.exists() and not path.is_file():
            raise UsageError(str(path), "this is no file", f"name a book, such as recipes/{BOOK}")
        with path.open("rb") as file:
            content = file.read(MAX_BOOK_BYTES + 1)
    except FileNotFoundError:
        return None
    except OSError as error:
        wrong = f"it cannot be read ({error.strerror})"
        raise UsageError(str(path), wrong, "check its name and allow reading it") from error
    if len(content) > MAX_BOOK_BYTES:
        raise UsageError(str(path), "it is larger than 16 MiB", "no book is: name another file")
    return content


def _decoded(path: Path, content: bytes | None) -> str:
    try:
        return (content or b"").decode("utf-8")
    except UnicodeDecodeError as error:
        data = content or b""
        line = data.count(b"\n", 0, error.start) + 1
        column = error.start - data.rfind(b"\n", 0, error.start)
        raise UsageError(
            f"{path}:{line}:{column}", "this is not UTF-8 text", "save the book as UTF-8"
        ) from error
