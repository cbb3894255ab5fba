"""Whatever happens, a result is whole or not there, and lies in the folder it belongs to.

Yardstick: the file system itself. Full and read-only disks are real ones, mounted for the test where the system
lets it.
"""

import os
import signal
import stat
import subprocess
import sys
import tempfile
from pathlib import Path

import numpy as np
import pytest

from render.faults import OutputError
from render.files.ffmpeg import encode
from render.files.whole_file import TEMPORARY_PREFIX, inside, whole_file, write_whole

MANY_BYTES = 3_000_000
NOBODY = 65_534
"""The user without rights (common practice on Linux)."""


def names(folder: Path) -> list[str]:
    return sorted(path.name for path in folder.iterdir())


def test_text_and_bytes_are_written_as_they_are(tmp_path: Path) -> None:
    write_whole(tmp_path / "page.html", "naïve\r\nline\n")
    write_whole(tmp_path / "clip.mp3", b"\x00\r\n\xff")
    assert (tmp_path / "page.html").read_bytes() == "naïve\r\nline\n".encode()
    assert (tmp_path / "clip.mp3").read_bytes() == b"\x00\r\n\xff"
    assert names(tmp_path) == ["clip.mp3", "page.html"]


def test_the_temporary_file_is_hidden_beside_the_result_and_has_its_suffix(tmp_path: Path) -> None:
    with whole_file(tmp_path / "clip.mp3") as temporary:
        temporary.write_bytes(b"half")
        assert temporary.parent == tmp_path
        assert temporary.name.startswith(TEMPORARY_PREFIX)
        assert TEMPORARY_PREFIX.startswith(".")
        assert temporary.suffix == ".mp3"
        assert not (tmp_path / "clip.mp3").exists()
    assert names(tmp_path) == ["clip.mp3"]


def test_the_old_file_stays_until_the_new_one_is_whole(tmp_path: Path) -> None:
    path = tmp_path / "clip.mp3"
    path.write_bytes(b"old")
    with whole_file(path) as temporary:
        temporary.write_bytes(b"new")
        assert path.read_bytes() == b"old"
    assert path.read_bytes() == b"new"


@pytest.mark.skipif(os.name != "posix", reason="a folder can be opened as POSIX has it")
def test_what_is_written_is_on_the_disk_before_it_gets_its_name_and_then_its_folder_is(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What has been forced to the disk is known by its number (IEEE Std 1003.1, stat(): st_ino)."""
    done: list[tuple[str, int]] = []
    fsync, replace = os.fsync, Path.replace

    def noted_fsync(descriptor: int) -> None:
        fsync(descriptor)
        done.append(("forced", os.fstat(descriptor).st_ino))

    def noted_replace(temporary: Path, path: Path) -> Path:
        done.append(("named", temporary.stat().st_ino))
        return replace(temporary, path)

    monkeypatch.setattr(os, "fsync", noted_fsync)
    monkeypatch.setattr(Path, "replace", noted_replace)
    write_whole(tmp_path / "clip.mp3", b"sound")
    file, folder = (tmp_path / "clip.mp3").stat().st_ino, tmp_path.stat().st_ino
    assert done == [("forced", file), ("named", file), ("forced", folder)]


@pytest.mark.parametrize("error", [ValueError, KeyboardInterrupt, OSError])
def test_a_failure_leaves_the_old_file_and_nothing_else(tmp_path: Path, error: type[BaseException]) -> None:
    path = tmp_path / "clip.mp3"
    path.write_bytes(b"old")
    with pytest.raises(error), whole_file(path) as temporary:
        temporary.write_bytes(b"half of the new")
        raise error
    assert names(tmp_path) == ["clip.mp3"]
    assert path.read_bytes() == b"old"


def test_an_error_about_something_else_is_not_taken_for_ours(tmp_path: Path) -> None:
    with pytest.raises(FileNotFoundError), whole_file(tmp_path / "clip.mp3"):
        (tmp_path / "another").read_bytes()


@pytest.mark.skipif(os.name != "posix", reason="SIGKILL is POSIX's")
def test_a_killed_program_leaves_the_old_file_and_a_hidden_part(tmp_path: Path) -> None:
    path = tmp_path / "clip.mp3"
    path.write_bytes(b"old")
    program = (
        "import os, pathlib, signal, sys\n"
        "from render.files.whole_file import whole_file\n"
        "with whole_file(pathlib.Path(sys.argv[1])) as temporary:\n"
        "    temporary.write_bytes(b'half')\n"
        "    os.kill(os.getpid(), signal.SIGKILL)\n"
    )
    done = subprocess.run([sys.executable, "-c", program, path], check=False)
    assert done.returncode == -signal.SIGKILL
    assert path.read_bytes() == b"old"
    left = [name for name in names(tmp_path) if name != "clip.mp3"]
    assert all(name.startswith(TEMPORARY_PREFIX) for name in left)


@pytest.mark.skipif(os.name != "posix", reason="permissions are POSIX's")
def test_others_may_read_a_result_as_far_as_the_umask_lets_them(tmp_path: Path) -> None:
    before = os.umask(0o022)
    try:
        write_whole(tmp_path / "page.html", "")
    finally:
        os.umask(before)
    assert stat.S_IMODE((tmp_path / "page.html").stat().st_mode) == 0o644


def test_a_full_disk_keeps_the_old_file_and_says_how_much_was_needed(small_disk: Path) -> None:
    path = small_disk / "clip.flac"
    write_whole(path, b"old")
    with pytest.raises(OutputError) as told:
        write_whole(path, bytes(MANY_BYTES))
    assert told.value.subject == str(path)
    assert "the disk is full (3.0 MB needed, 1.0 MB free)" in told.value.wrong
    assert names(small_disk) == ["clip.flac"]
    assert path.read_bytes() == b"old"


@pytest.mark.parametrize("form", ["flac", "wav", "mp3", "opus"])
def test_an_encoder_on_a_full_disk_says_so_too(small_disk: Path, form: str) -> None:
    noise = np.random.default_rng(4).uniform(-0.5, 0.5, (60 * 44_100, 1)).astype(np.float32)
    path = small_disk / f"clip.{form}"
    with (
        pytest.raises(OutputError, match=r"the disk is full \(\d+\.\d MB needed") as told,
        whole_file(path) as temporary,
    ):
        encode(noise, 44_100, form, temporary)
    assert told.value.subject == str(path)
    assert names(small_disk) == []


def test_a_disk_that_runs_full_inside_the_block_says_so(small_disk: Path) -> None:
    with (
        pytest.raises(OutputError, match="the disk is full"),
        whole_file(small_disk / "clip.wav") as temporary,
        temporary.open("wb") as file,
    ):
        file.write(bytes(MANY_BYTES))
        file.flush()
    assert names(small_disk) == []


def test_a_read_only_disk(small_disk: Path) -> None:
    write_whole(small_disk / "clip.mp3", b"old")
    subprocess.run(["mount", "-o", "remount,ro", small_disk], check=True)
    with pytest.raises(OutputError, match="the disk is read-only"):
        write_whole(small_disk / "clip.mp3", b"new")
    assert (small_disk / "clip.mp3").read_bytes() == b"old"


@pytest.mark.skipif(os.name != "posix", reason="permissions are POSIX's")
def test_a_folder_that_may_not_be_written() -> None:
    """The superuser may write anywhere, so it steps down for the moment of the attempt."""
    with tempfile.TemporaryDirectory() as name:
        folder, user = Path(name), os.geteuid()
        folder.chmod(0o555)
        try:
            if user == 0:
                os.seteuid(NOBODY)
            with pytest.raises(OutputError, match="may not be written"):
                write_whole(folder / "clip.mp3", b"")
        finally:
            os.seteuid(user)
            folder.chmod(0o755)


def test_a_folder_that_is_not_there(tmp_path: Path) -> None:
    with pytest.raises(OutputError, match="is not a folder"):
        write_whole(tmp_path / "out" / "clip.mp3", b"")


def test_a_folder_in_the_way(tmp_path: Path) -> None:
    (tmp_path / "clip.mp3").mkdir()
    with pytest.raises(OutputError, match="in the way"):
        write_whole(tmp_path / "clip.mp3", b"")


def test_a_name_of_255_bytes_is_written_and_a_longer_one_is_refused_before_any_work(tmp_path: Path) -> None:
    """POSIX's NAME_MAX is 255 on ext4, XFS, Btrfs, tmpfs and APFS (common practice)."""
    longest = "ü" * 125 + "x.mp3"
    assert len(longest.encode()) == 255
    write_whole(inside(tmp_path, longest), b"")
    assert names(tmp_path) == [longest]
    with pytest.raises(OutputError, match="the name has 256 bytes"):
        inside(tmp_path, "x" + longest)
    worked = False
    with pytest.raises(OutputError, match="the name has 256 bytes"), whole_file(tmp_path / f"x{longest}"):
        worked = True
    assert not worked


@pytest.mark.parametrize(
    "name", ["clip.mp3", "a b--short.mp3", ".hidden", "ünïcode 🎛.json", "..dots", "CON fusion"]
)
def test_a_plain_name_lies_inside(tmp_path: Path, name: str) -> None:
    assert inside(tmp_path, name) == tmp_path / name


@pytest.mark.parametrize(
    "name",
    [
        "",
        ".",
        "..",
        "../clip.mp3",
        "a/b",
        "/etc/passwd",
        "a\\b",
        "..\\clip",
        "C:clip",
        "C:\\clip",
        "a\0b",
        "a/",
        "./a",
    ],
)
def test_a_name_that_leads_elsewhere_is_refused(tmp_path: Path, name: str) -> None:
    with pytest.raises(OutputError):
        inside(tmp_path, name)


def test_a_link_that_leads_out_of_the_folder_is_refused_and_its_target_left_alone(tmp_path: Path) -> None:
    outside, out = tmp_path / "outside", tmp_path / "out"
    outside.write_bytes(b"mine")
    out.mkdir()
    (out / "clip.mp3").symlink_to(outside)
    with pytest.raises(OutputError, match="it is a link"):
        inside(out, "clip.mp3")
    write_whole(out / "clip.mp3", b"new")  # replaces the link itself
    assert outside.read_bytes() == b"mine"
    assert not (out / "clip.mp3").is_symlink()


def test_an_output_folder_may_itself_be_a_link(tmp_path: Path) -> None:
    (tmp_path / "big disk").mkdir()
    (tmp_path / "out").symlink_to(tmp_path / "big disk")
    write_whole(inside(tmp_path / "out", "clip.mp3"), b"")
    assert names(tmp_path / "big disk") == ["clip.mp3"]
