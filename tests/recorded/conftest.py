"""Recorded material nobody here made: fetched from Debian's archive, never kept in the repository.

Packages are downloaded with `apt-get download` and unpacked with `dpkg-deb -x`; nothing is installed. They stay in
`$DROPKILN_TEST_CACHE`, or else in `dropkiln-tests` in the user's cache folder (XDG Base Directory Specification 0.8:
`$XDG_CACHE_HOME`, or `~/.cache`). A package appears there whole or not at all: it is unpacked beside its place and
then renamed, so workers that fetch the same one at the same time do not disturb each other.
"""

import errno
import os
import shutil
import subprocess
import tempfile
import zipfile
from pathlib import Path

import pytest

TOOLS = ("apt-get", "dpkg-deb")
FETCH_LIMIT_S = 300
"""The larger package has 84 MB; a line that needs longer than this for it is not one to test over."""


def cache_folder() -> Path:
    """Where fetched packages stay between runs."""
    chosen = os.environ.get("DROPKILN_TEST_CACHE")
    return Path(chosen) if chosen else _user_cache() / "dropkiln-tests"


def _user_cache() -> Path:
    stated = os.environ.get("XDG_CACHE_HOME", "")
    # The specification says that a relative path is to be ignored.
    return Path(stated) if Path(stated).is_absolute() else Path.home() / ".cache"


def package(name: str) -> Path:
    """The unpacked files of a Debian package; skips the test where it cannot be had."""
    place = cache_folder() / name
    if not place.is_dir():
        missing = [tool for tool in TOOLS if not shutil.which(tool)]
        if missing:
            pytest.skip(f"needs {' and '.join(missing)} to fetch the Debian package {name}")
        _fetch(name, place)
    return place


def _fetch(name: str, place: Path) -> None:
    place.parent.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory(prefix=f".{name}-", dir=place.parent) as beside:
        _run(name, ["apt-get", "download", "-q", name], Path(beside))
        (archive,) = Path(beside).glob("*.deb")
        _run(name, ["dpkg-deb", "-x", str(archive), "unpacked"], Path(beside))
        try:
            (Path(beside) / "unpacked").rename(place)
        except OSError as error:
            if error.errno not in (errno.ENOTEMPTY, errno.EEXIST):  # another worker was there first
                raise


def _run(name: str, command: list[str], folder: Path) -> None:
    try:
        subprocess.run(command, cwd=folder, check=True, capture_output=True, text=True, timeout=FETCH_LIMIT_S)
    except subprocess.CalledProcessError as error:
        said = [line for line in error.stderr.splitlines() if line.startswith("E:")] or [error.stderr.strip()]
        pytest.skip(f"the Debian package {name} cannot be fetched: {said[0]}")
    except subprocess.TimeoutExpired:
        pytest.skip(f"the Debian package {name} cannot be fetched within {FETCH_LIMIT_S} s")


@pytest.fixture(scope="session")
def loop_folder() -> Path:
    """The folder of `sonic-pi-samples` (its samples are CC0): recorded loops of whole bars as FLAC."""
    return package("sonic-pi-samples") / "usr/share/sonic-pi/samples"


@pytest.fixture(scope="session")
def piece_folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The music of `nexuiz-music` (GPL) as Ogg Vorbis, taken out of the game's zip archive."""
    archive = package("nexuiz-music") / "usr/share/games/nexuiz/data/music.pk3"
    folder = tmp_path_factory.mktemp("pieces")
    with zipfile.ZipFile(archive) as packed:
        packed.extractall(folder)
    return folder / "sound/cdtracks"
