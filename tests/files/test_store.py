"""A store gives back what was put in, or nothing; it keeps within its limit, and never stands in the way.

Yardstick: a dict that forgets in the order of use (Python's own OrderedDict), and the file system itself. Full and
read-only disks are real ones where the system lets them be mounted; other users of a store are real processes.
"""

import os
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from collections import OrderedDict
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from render.faults import OutputError
from render.files import store as store_module
from render.files.store import CACHE_VARIABLE, LOCK, Store, cache_folder
from render.files.whole_file import TEMPORARY_PREFIX

MIB = 1024 * 1024
HEAD_BYTES = 48
"""What an entry has before its content: 16 bytes that say what it is, and the 32 of a SHA-256 (FIPS 180-4)."""
NOBODY = 65_534
"""The user without rights (common practice on Linux)."""


def key(number: int) -> str:
    return f"{number:064x}"


def files(folder: Path) -> list[str]:
    return sorted(path.name for path in folder.iterdir() if path.name != LOCK)


def aged(folder: Path, number: int, seconds: float) -> None:
    """Let an entry look as if it was last used so long ago."""
    then_s = time.time() - seconds
    os.utime(folder / key(number), (then_s, then_s))


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return tmp_path / "cache" / "things"


# --- what is kept ---


@given(content=st.binary(max_size=5000), number=st.integers(0, 2**256 - 1))
def test_what_is_put_is_got(content: bytes, number: int) -> None:
    with tempfile.TemporaryDirectory() as name:
        store = Store(Path(name), MIB)
        assert store.get(key(number)) is None
        store.put(key(number), content)
        assert store.get(key(number)) == Store(Path(name), MIB).get(key(number)) == content
        assert store.trouble() is None


def test_sound_is_kept_to_the_bit_without_a_copy_before_it_is_written(folder: Path) -> None:
    sound = np.random.default_rng(3).standard_normal((2_000_000, 2)).astype(np.float32)
    store = Store(folder, 64 * MIB)
    store.put(key(1), memoryview(sound))
    content = store.get(key(1))
    assert content is not None
    assert np.array_equal(np.frombuffer(content, np.float32).reshape(-1, 2), sound)


def test_the_latest_content_of_a_key_is_got(folder: Path) -> None:
    store = Store(folder, MIB)
    store.put(key(1), b"first")
    store.put(key(1), b"second")
    assert store.get(key(1)) == b"second"
    assert files(folder) == [key(1)]


@pytest.mark.parametrize("bad", ["", "../" * 21 + "x", "A" * 64, "0" * 63, "0" * 64 + "\n"])
def test_a_key_is_a_hash_and_leads_nowhere_else(folder: Path, bad: str) -> None:
    store = Store(folder, MIB)
    with pytest.raises(ValueError, match="is not a key"):
        store.put(bad, b"")
    with pytest.raises(ValueError, match="is not a key"):
        store.get(bad)


def test_what_is_kept_is_listed_and_cleared_and_nothing_else_is_touched(folder: Path) -> None:
    store = Store(folder, MIB)
    for number in range(3):
        store.put(key(number), bytes(100 * number))
        aged(folder, number, 100 - number)
    (folder / "somebody's notes.txt").write_text("mine")
    (folder / key(9)).mkdir()
    (folder / f"{TEMPORARY_PREFIX}12").write_bytes(b"half")
    assert [(entry.key, entry.size_bytes) for entry in store.entries()] == [
        (key(number), HEAD_BYTES + 100 * number) for number in range(3)
    ]
    assert store.size_bytes == 3 * HEAD_BYTES + 300
    store.clear()
    assert store.entries() == []
    assert files(folder) == sorted([key(9), "somebody's notes.txt"])


def test_a_store_that_was_never_used_is_empty_and_leaves_no_folder(folder: Path) -> None:
    store = Store(folder, MIB)
    store.clear()
    assert (store.get(key(1)), store.entries(), store.size_bytes) == (None, [], 0)
    assert not folder.exists()


def test_nothing_waits_for_the_disk(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(os, "fsync", lambda _: pytest.fail("a cache is not worth waiting for"))
    Store(folder, MIB).put(key(1), b"content")


# --- what is not trusted ---


def cut(content: bytes) -> bytes:
    return content[:-1]


def grown(content: bytes) -> bytes:
    return content + b"\0"


def flipped(at: int) -> Callable[[bytes], bytes]:
    def damaged(content: bytes) -> bytes:
        return content[:at] + bytes([content[at] ^ 1]) + content[at + 1 :]

    return damaged


@pytest.mark.parametrize(
    "damage",
    [
        cut,
        grown,
        lambda content: content[:20],
        lambda _: b"",
        lambda _: b"rubbish",
        lambda content: bytes(len(content)),
        lambda _: bytes(2 * MIB),
        *map(flipped, (0, 15, 16, 47, 48, 147)),
    ],
)
def test_a_damaged_entry_is_removed_and_can_be_put_again(
    folder: Path, damage: Callable[[bytes], bytes]
) -> None:
    store = Store(folder, MIB)
    store.put(key(1), b"content" * 15)
    path = folder / key(1)
    path.write_bytes(damage(path.read_bytes()))
    assert store.get(key(1)) is None
    assert files(folder) == []
    store.put(key(1), b"content")
    assert store.get(key(1)) == b"content"


def test_an_entry_under_another_ones_name_is_not_trusted(folder: Path) -> None:
    store = Store(folder, MIB)
    store.put(key(1), b"content")
    (folder / key(1)).rename(folder / key(2))
    assert store.get(key(2)) is None
    assert files(folder) == []


# --- what is forgotten ---


@given(
    steps=st.lists(
        st.tuples(st.sampled_from(["put", "get"]), st.integers(0, 7), st.integers(0, 300)), max_size=25
    )
)
def test_the_longest_unused_is_forgotten_first(steps: list[tuple[str, int, int]]) -> None:
    """Held beside an OrderedDict to which each use moves its key to the end."""
    limit_bytes = 1000
    known: OrderedDict[int, bytes] = OrderedDict()
    with tempfile.TemporaryDirectory() as name:
        store = Store(Path(name), limit_bytes)
        for step, number, size in steps:
            if step == "put":
                known[number] = bytes([number]) * size
                store.put(key(number), known[number])
            else:
                assert store.get(key(number)) == known.get(number)
            if number in known:
                known.move_to_end(number)
                # A file system's clock ticks every few milliseconds; here each use is a second after the last.
                for age, other in enumerate(reversed(known)):
                    if (Path(name) / key(other)).exists():
                        aged(Path(name), other, age)
            while sum(HEAD_BYTES + len(content) for content in known.values()) > limit_bytes:
                known.popitem(last=False)
        assert {entry.key for entry in store.entries()} == set(map(key, known))


def test_to_get_an_entry_is_to_use_it(folder: Path) -> None:
    store = Store(folder, 350)
    for number in (1, 2):
        store.put(key(number), bytes(100))
        aged(folder, number, 100 - number)
    assert store.get(key(1)) == bytes(100)
    store.put(key(3), bytes(100))
    assert files(folder) == [key(1), key(3)]


def test_to_ask_whether_an_entry_is_there_is_not_to_use_it(folder: Path) -> None:
    store = Store(folder, MIB)
    assert (store.has(key(1)), Store(None, MIB).has(key(1))) == (False, False)
    store.put(key(1), b"something")
    aged(folder, 1, 100.0)
    used_s = store.entries()[0].used_s
    assert (store.has(key(1)), store.has(key(2))) == (True, False)
    assert store.entries()[0].used_s == used_s


def test_the_room_that_is_left_is_the_limit_less_what_is_kept(folder: Path) -> None:
    store = Store(folder, MIB)
    assert store.room_bytes == MIB
    store.put(key(1), bytes(MIB // 4))
    assert store.room_bytes == MIB - (folder / key(1)).stat().st_size
    assert Store(folder, MIB // 8).room_bytes == 0


def test_what_is_larger_than_the_limit_is_not_kept_and_drives_nothing_out(folder: Path) -> None:
    store = Store(folder, 1000)
    store.put(key(1), b"content")
    store.put(key(2), bytes(1000))
    assert store.get(key(2)) is None
    assert store.get(key(1)) == b"content"


@pytest.mark.slow
def test_a_large_store_goes_beyond_its_limit_by_a_64th_at_most(folder: Path) -> None:
    store, entry_bytes = Store(folder, 64 * 10_000), 2_000
    for number in range(400):
        store.put(key(number), bytes(entry_bytes - HEAD_BYTES))
        assert store.size_bytes <= 65 * 10_000
    assert store.size_bytes > 63 * 10_000
    assert store.get(key(0)) is None
    assert store.get(key(399)) is not None


def test_what_killed_runs_left_behind_goes_and_what_is_being_written_stays(folder: Path) -> None:
    folder.mkdir(parents=True)
    old, new = (folder / f"{TEMPORARY_PREFIX}{name}" for name in ("old", "new"))
    old.write_bytes(bytes(100))
    new.write_bytes(bytes(100))
    hours_ago_s = time.time() - 2 * 3600
    os.utime(old, (hours_ago_s, hours_ago_s))
    Store(folder, MIB).put(key(1), b"content")
    assert not old.exists()
    assert new.exists()


def test_while_another_process_forgets_too_long_nothing_is_held_up(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(store_module, "_LOCK_WAIT_S", 0.05)
    store = Store(folder, 200)
    store.put(key(1), bytes(100))
    with store_module.FileLock(folder / LOCK):
        store.put(key(2), bytes(100))
        assert store.get(key(2)) == bytes(100)
    assert store.trouble() is None
    aged(folder, 1, 10)
    aged(folder, 2, 5)
    store.put(key(3), bytes(100))
    assert files(folder) == [key(3)]


# --- where nothing can be written ---


@pytest.mark.skipif(os.name != "posix", reason="permissions are POSIX's")
def test_a_read_only_folder_is_read_and_its_trouble_told_once() -> None:
    """The superuser may write anywhere, so it steps down for the moment of the attempt."""
    with tempfile.TemporaryDirectory() as name:
        folder, user = Path(name), os.geteuid()
        Store(folder, MIB).put(key(1), b"content")
        aged(folder, 1, 10)
        folder.chmod(0o555)
        try:
            if user == 0:
                os.seteuid(NOBODY)
            store = Store(folder, MIB)
            assert store.get(key(1)) == b"content"
            store.put(key(2), b"more")
            assert store.get(key(2)) is None
            told = store.trouble()
            store.put(key(3), b"more")
            again = store.trouble()
            with pytest.raises(OutputError, match="may not be written"):
                store.clear()
        finally:
            os.seteuid(user)
            folder.chmod(0o755)
        assert told is not None
        assert told.startswith(f"{folder}: {folder} may not be written; nothing is kept")
        assert CACHE_VARIABLE in told
        assert again is None


def test_a_damaged_entry_that_may_not_be_removed_is_still_not_trusted(small_disk: Path) -> None:
    Store(small_disk, MIB).put(key(1), b"content")
    (small_disk / key(1)).write_bytes(b"rubbish")
    subprocess.run(["mount", "-o", "remount,ro", small_disk], check=True)
    store = Store(small_disk, MIB)
    assert store.get(key(1)) is None
    store.put(key(1), b"content")
    assert "the disk is read-only" in (store.trouble() or "")


def test_a_full_disk_keeps_what_is_there_and_goes_on_without(small_disk: Path) -> None:
    store = Store(small_disk, 100 * MIB)
    store.put(key(1), b"content")
    store.put(key(2), bytes(3 * MIB))
    assert "the disk is full" in (store.trouble() or "")
    store.put(key(3), b"would fit, but nothing more is tried")
    assert store.get(key(1)) == b"content"
    assert files(small_disk) == [key(1)]


@pytest.mark.parametrize("below", [False, True])
def test_a_file_where_the_folder_should_be(tmp_path: Path, below: bool) -> None:
    (tmp_path / "cache").write_bytes(b"mine")
    store = Store(tmp_path / "cache" / "things" if below else tmp_path / "cache", MIB)
    store.put(key(1), b"content")
    assert store.get(key(1)) is None
    assert store.trouble() is not None
    assert store.entries() == []
    assert (tmp_path / "cache").read_bytes() == b"mine"


def test_without_a_folder_nothing_is_kept_and_nothing_fails() -> None:
    store = Store(None, MIB)
    store.put(key(1), b"content")
    store.clear()
    assert (store.get(key(1)), store.entries()) == (None, [])
    assert "no folder to keep things in" in (store.trouble() or "")


# --- several at once ---

OTHER_PROCESS = """
import pathlib, random, sys
from render.files.store import Store
folder, seed, steps, size, limit = pathlib.Path(sys.argv[1]), *map(int, sys.argv[2:])
store, random_ = Store(folder, limit), random.Random(seed)
hits = 0
for _ in range(steps):
    number = random_.randrange(12)
    content = bytes([number]) * size
    got = store.get(f"{number:064x}")
    assert got in (None, content), "a part, or another one's"
    hits += got is not None
    if got is None or random_.random() < 0.2:
        store.put(f"{number:064x}", content)
assert (trouble := store.trouble()) is None, trouble
print(hits)
"""


def others(folder: Path, count: int, steps: int, size: int, limit: int) -> "list[subprocess.Popen[str]]":
    return [
        subprocess.Popen(
            [sys.executable, "-c", OTHER_PROCESS, folder, *map(str, (seed, steps, size, limit))],
            stdout=subprocess.PIPE,
            text=True,
        )
        for seed in range(count)
    ]


def hits_of(processes: "list[subprocess.Popen[str]]") -> int:
    hits = 0
    for process in processes:
        out, _ = process.communicate(timeout=100)
        assert process.returncode == 0
        hits += int(out)
    return hits


@pytest.mark.slow
def test_eight_processes_share_one_small_store_and_keep_within_its_limit(folder: Path) -> None:
    limit_bytes = 5 * 20_048
    assert hits_of(others(folder, 8, 150, 20_000, limit_bytes)) > 0
    assert 0 < Store(folder, limit_bytes).size_bytes <= limit_bytes
    assert all(len(name) == 64 for name in files(folder))


def test_two_processes_that_put_the_same_entry_leave_it_whole(folder: Path) -> None:
    writing = (
        "import pathlib, sys\n"
        "from render.files.store import Store\n"
        "for _ in range(30):\n"
        "    Store(pathlib.Path(sys.argv[1]), 10**8).put('0' * 64, b'content' * 500_000)\n"
    )
    both = [subprocess.Popen([sys.executable, "-c", writing, folder]) for _ in range(2)]
    store, got = Store(folder, 10**8), 0
    while any(process.poll() is None for process in both):
        content = store.get(key(0))
        assert content in (None, b"content" * 500_000)
        got += content is not None
    assert [process.returncode for process in both] == [0, 0]
    assert got > 0
    assert files(folder) == [key(0)]


def test_the_folder_may_be_deleted_time_and_again_while_it_is_used(folder: Path) -> None:
    processes = others(folder, 3, 400, 20_000, 5 * 20_048)
    deleted = 0
    while any(process.poll() is None for process in processes):
        deleted += folder.exists()
        shutil.rmtree(folder, ignore_errors=True)
        time.sleep(0.002)
    hits_of(processes)
    assert deleted > 3


@pytest.mark.skipif(os.name != "posix", reason="SIGKILL is POSIX's")
def test_processes_that_are_killed_leave_nothing_that_is_trusted_and_no_lock(folder: Path) -> None:
    processes = others(folder, 3, 100_000, 20_000, 5 * 20_048)
    ends_s = time.monotonic() + 30
    while not (folder.exists() and len(files(folder)) > 3):
        assert time.monotonic() < ends_s
        time.sleep(0.01)
    time.sleep(0.3)
    for process in processes:
        process.send_signal(signal.SIGKILL)
        process.communicate()
    store = Store(folder, 5 * 20_048)
    for number in range(12):
        assert store.get(key(number)) in (None, bytes([number]) * 20_000)
    began_s = time.monotonic()
    store.put(key(99), bytes(20_000))
    assert (
        time.monotonic() - began_s < 5
    )  # the system gives back the lock of a process that is gone (flock(2))
    assert store.size_bytes <= 5 * 20_048


# --- where it lies ---


def test_the_variable_names_the_folder_and_else_the_system_does(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv(CACHE_VARIABLE, str(tmp_path / "mine"))
    assert cache_folder() == tmp_path / "mine"
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv(CACHE_VARIABLE, "mine")
    assert cache_folder() == tmp_path / "mine"


@pytest.mark.skipif(sys.platform != "linux", reason="where Linux desktops keep caches")
def test_on_linux_it_lies_where_the_xdg_base_directory_specification_says(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """XDG Base Directory Specification 0.8: $XDG_CACHE_HOME, or $HOME/.cache."""
    monkeypatch.delenv(CACHE_VARIABLE)
    monkeypatch.setenv("HOME", str(tmp_path))
    monkeypatch.delenv("XDG_CACHE_HOME", raising=False)
    assert cache_folder() == tmp_path / ".cache" / "dropkiln"
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "elsewhere"))
    assert cache_folder() == tmp_path / "elsewhere" / "dropkiln"


@pytest.mark.skipif(os.name != "posix", reason="users as POSIX has them")
def test_a_user_whom_the_system_gives_no_home_has_no_folder(monkeypatch: pytest.MonkeyPatch) -> None:
    import pwd

    def nobody(number: int) -> pwd.struct_passwd:
        raise KeyError(f"getpwuid(): uid not found: {number}")  # as for a user of a container who has no name

    monkeypatch.setattr(pwd, "getpwuid", nobody)
    for name in ("HOME", "XDG_CACHE_HOME", CACHE_VARIABLE):
        monkeypatch.delenv(name, raising=False)
    assert cache_folder() is None
