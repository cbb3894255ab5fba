"""The book on the disk: nothing is lost, whoever else writes."""

import os
import subprocess
import sys
import threading
from pathlib import Path

import pytest
from filelock import FileLock

from render.faults import OutputError, UsageError
from render.files import book_file
from render.files.book_file import change_book, read_book_file


def names(folder: Path) -> list[str]:
    return sorted(path.name for path in folder.iterdir())


def test_a_book_that_is_not_there_yet_is_empty(tmp_path: Path) -> None:
    assert read_book_file(tmp_path / "book.yaml") == ""
    assert names(tmp_path) == []


def test_a_change_is_written_and_the_version_before_it_is_kept(tmp_path: Path) -> None:
    book = tmp_path / "book.yaml"
    for line in ("one\n", "two\n", "thrée\n"):
        assert change_book(book, lambda text, line=line: text + line)  # type: ignore[misc]
    assert read_book_file(book) == "one\ntwo\nthrée\n"
    assert (tmp_path / "book.yaml.before").read_text(encoding="utf-8") == "one\ntwo\n"


def test_where_nothing_changes_nothing_is_written(tmp_path: Path) -> None:
    book = tmp_path / "book.yaml"
    book.write_bytes(b"\xef\xbb\xbfas it is\r\n")
    before = book.stat()
    assert not change_book(book, lambda text: text)
    assert (book.stat().st_ino, book.stat().st_mtime_ns) == (before.st_ino, before.st_mtime_ns)
    assert not (tmp_path / "book.yaml.before").exists()


def test_line_ends_are_left_alone(tmp_path: Path) -> None:
    book = tmp_path / "book.yaml"
    book.write_bytes(b"one\r\n")
    change_book(book, lambda text: text + "two\r\n")
    assert book.read_bytes() == b"one\r\ntwo\r\n"


def test_what_a_change_raises_leaves_the_book_as_it_was(tmp_path: Path) -> None:
    book = tmp_path / "book.yaml"
    book.write_text("mine\n")

    def refusing(text: str) -> str:
        raise LookupError(text)

    with pytest.raises(LookupError):
        change_book(book, refusing)
    assert book.read_text() == "mine\n"
    assert change_book(book, lambda text: text + "more\n")


ADDER = """
import sys
from pathlib import Path
from render.files.book_file import change_book
for number in range(20):
    change_book(Path(sys.argv[1]), lambda text: text + f"{sys.argv[2]} {number}\\n")
"""


def test_two_processes_that_write_at_once_lose_nothing(tmp_path: Path) -> None:
    book = tmp_path / "book.yaml"
    started = [subprocess.Popen([sys.executable, "-c", ADDER, book, name]) for name in ("one", "other")]
    assert [process.wait(timeout=100) for process in started] == [0, 0]
    lines = read_book_file(book).splitlines()
    for name in ("one", "other"):
        assert [line for line in lines if line.startswith(name)] == [f"{name} {n}" for n in range(20)]
    assert len(lines) == 40


def test_what_an_editor_saves_meanwhile_is_not_overwritten(tmp_path: Path) -> None:
    """An editor knows no lock: it may save between reading and writing."""
    book = tmp_path / "book.yaml"
    book.write_text("old\n")
    seen = []

    def change(text: str) -> str:
        seen.append(text)
        if len(seen) == 1:
            book.write_text("edited\n")
        return text + "rating\n"

    assert change_book(book, change)
    assert seen == ["old\n", "edited\n"]
    assert book.read_text() == "edited\nrating\n"
    assert (tmp_path / "book.yaml.before").read_text() == "edited\n"


def test_a_book_that_never_keeps_still_is_left_alone(tmp_path: Path) -> None:
    book = tmp_path / "book.yaml"

    def change(text: str) -> str:
        book.write_text(text + "edited\n")
        return text + "rating\n"

    with pytest.raises(OutputError, match="being changed all the time"):
        change_book(book, change)
    assert set(book.read_text().splitlines()) == {"edited"}


def test_who_writes_is_waited_for_and_named_after_a_while(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    book = tmp_path / "book.yaml"
    lock = FileLock(tmp_path / ".book.yaml.lock", thread_local=False)
    lock.acquire()
    monkeypatch.setattr(book_file, "WAIT_S", 0.1)
    with pytest.raises(OutputError, match="another program has been writing it"):
        change_book(book, lambda text: text + "x")
    assert not book.exists()
    monkeypatch.setattr(book_file, "WAIT_S", 30.0)
    threading.Timer(0.2, lock.release).start()
    assert change_book(book, lambda text: text + "x")


@pytest.mark.skipif(os.name != "posix", reason="links need no permission on POSIX alone")
def test_a_link_to_a_book_elsewhere_stays_a_link(tmp_path: Path) -> None:
    (tmp_path / "elsewhere").mkdir()
    book = tmp_path / "book.yaml"
    book.symlink_to(tmp_path / "elsewhere" / "mine.yaml")
    change_book(book, lambda text: text + "x")
    assert book.is_symlink()
    assert (tmp_path / "elsewhere" / "mine.yaml").read_text() == "x"


def test_what_is_no_text_is_told_with_its_place(tmp_path: Path) -> None:
    book = tmp_path / "book.yaml"
    book.write_bytes(b"book: 1\nab\xff\n")
    for read in (read_book_file, lambda path: change_book(path, str.upper)):
        with pytest.raises(UsageError, match=r"book\.yaml:2:3: this is not UTF-8 text"):
            read(book)
    assert book.read_bytes() == b"book: 1\nab\xff\n"


def test_a_folder_and_a_missing_folder_are_told(tmp_path: Path) -> None:
    with pytest.raises(UsageError, match="this is no file"):
        read_book_file(tmp_path)
    with pytest.raises(OutputError, match="is not a folder"):
        change_book(tmp_path / "recipes" / "book.yaml", str.upper)


def test_a_huge_file_is_no_book(tmp_path: Path) -> None:
    book = tmp_path / "book.yaml"
    with book.open("wb") as file:
        file.truncate(17 * 1024 * 1024)
    with pytest.raises(UsageError, match="larger than 16 MiB"):
        read_book_file(book)


def test_on_a_full_disk_the_book_stays_whole(small_disk: Path) -> None:
    book = small_disk / "book.yaml"
    book.write_text("mine\n")
    with pytest.raises(OutputError, match="the disk is full"):
        change_book(book, lambda text: text + "x" * 3_000_000)
    assert book.read_text() == "mine\n"
