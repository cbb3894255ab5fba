"""What killed runs leave behind goes away, and nothing else does."""

import os
import tempfile
import time
from pathlib import Path

import pytest

from render.files.left_behind import OLD_S, remove_left_behind, remove_old_temporary_folders
from render.files.whole_file import TEMPORARY_PREFIX


def test_unfinished_files_and_folders_go_and_the_rest_stays(tmp_path: Path) -> None:
    (tmp_path / f"{TEMPORARY_PREFIX}1234.flac").write_bytes(b"half")
    (tmp_path / f"{TEMPORARY_PREFIX}mixes").mkdir()
    (tmp_path / f"{TEMPORARY_PREFIX}mixes" / "a").write_bytes(b"half")
    stays = ["a.flac", "a.json", ".lock", "dropkiln-notes.txt", ".dropkiln"]
    for name in stays:
        (tmp_path / name).write_bytes(b"whole")
    remove_left_behind(tmp_path)
    assert sorted(path.name for path in tmp_path.iterdir()) == sorted(stays)


@pytest.mark.skipif(os.name != "posix", reason="links as POSIX has them")
def test_a_link_of_such_a_name_goes_and_what_it_leads_to_stays(tmp_path: Path) -> None:
    records, out = tmp_path / "records", tmp_path / "out"
    records.mkdir()
    out.mkdir()
    (records / "a.wav").write_bytes(b"record")
    (out / f"{TEMPORARY_PREFIX}1").symlink_to(records)
    remove_left_behind(out)
    assert list(out.iterdir()) == []
    assert (records / "a.wav").exists()


def test_of_the_system_s_temporary_folder_only_old_folders_of_ours_go(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path))
    old_s = time.time() - OLD_S - 60
    for name in ("dropkiln-old", "dropkiln-new", "other-old"):
        (tmp_path / name).mkdir()
        (tmp_path / name / "sound.wav").write_bytes(b"half")
    (tmp_path / "dropkiln-notes.txt").write_bytes(b"somebody's")
    for name in ("dropkiln-old", "other-old", "dropkiln-notes.txt"):
        os.utime(tmp_path / name, (old_s, old_s))
    remove_old_temporary_folders()
    assert sorted(path.name for path in tmp_path.iterdir()) == [
        "dropkiln-new",
        "dropkiln-notes.txt",
        "other-old",
    ]
