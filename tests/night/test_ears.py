"""Records are listened to once, many at a time, and what happens to one is its own.

Yardstick: what is heard of a record by itself in this process; counters at the one function that decodes sound.
"""

import io
import os
import re
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
import soundfile
from rich.console import Console

from render.cli.app import main
from render.facts import Given, RecordFacts, Recording
from render.faults import SourceError
from render.files import audio_files
from render.files.audio_files import open_recording
from render.files.store import CACHE_VARIABLE
from render.night import ears
from render.night.ears import facts_of_records, listened
from tests.processes import children, is_running

RATE_HZ = 22_050
TEMPO_BPM = 140.0
NOTHING = Given()

linux = pytest.mark.skipif(sys.platform != "linux", reason="looks at /proc, which only Linux has")


@pytest.fixture(autouse=True)
def cache(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A cache of this test's own."""
    monkeypatch.setenv(CACHE_VARIABLE, str(tmp_path / "cache"))
    return tmp_path / "cache" / "facts"


@pytest.fixture
def decoded(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """The names of the records that were decoded in this process, one for each span."""
    names: list[str] = []
    real = audio_files.read_span

    def read_span(recording: Recording, start_frame: int, frames: int) -> np.ndarray:
        names.append(Path(recording.path).name)
        return real(recording, start_frame, frames)

    monkeypatch.setattr(audio_files, "read_span", read_span)
    return names


@pytest.fixture
def record(tmp_path: Path) -> Callable[..., Recording]:
    """Writes a record: a click and a thump on each beat over a bass; another one for each number."""

    def written(number: int, seconds: float = 10.0) -> Recording:
        rng = np.random.default_rng(number)
        time_s = np.arange(round(seconds * RATE_HZ)) / RATE_HZ
        beat_s = time_s % (60 / TEMPO_BPM)
        sound = 0.1 * np.sin(2 * np.pi * (50 + number) * time_s) + 1e-4 * rng.standard_normal(len(time_s))
        sound += 0.5 * np.exp(-beat_s / 0.03) * np.sin(2 * np.pi * 190 * beat_s)
        path = tmp_path / f"record-{number}.wav"
        soundfile.write(path, sound, RATE_HZ)
        return open_recording(path)

    return written


@pytest.fixture
def broken(tmp_path: Path) -> Recording:
    """A record that opens and holds less than it promises."""
    path = tmp_path / "broken.wav"
    soundfile.write(path, np.zeros(10 * RATE_HZ), RATE_HZ)
    whole = path.read_bytes()
    path.write_bytes(whole[: len(whole) // 2])
    return open_recording(path)


# --- once ---


def test_each_record_is_listened_to_once_and_told_in_the_order_wanted(record, decoded) -> None:
    one, two = record(1), record(2)
    wanted = [(two, NOTHING), (one, NOTHING), (two, NOTHING)]
    heard = facts_of_records(wanted, jobs=1)
    assert sorted(decoded) == ["record-1.wav", "record-2.wav"]
    assert heard[0] == heard[2] == listened(Path(two.path))[1]
    assert heard[1] == listened(Path(one.path))[1]
    assert heard[0] != heard[1]


def test_what_was_heard_before_is_not_decoded_again(record, decoded) -> None:
    wanted = [(record(1), NOTHING), (record(2), NOTHING)]
    before = facts_of_records(wanted, jobs=1)
    decoded.clear()
    assert facts_of_records(wanted, jobs=2) == before
    assert decoded == []


def test_looking_twice_decodes_once_and_tells_the_same(record, decoded, monkeypatch, capsys) -> None:
    path = record(1).path
    told = []
    for _ in range(2):
        monkeypatch.setattr(sys, "argv", ["dropkiln", "look", path])
        with pytest.raises(SystemExit) as left:
            main()
        assert not left.value.code
        told.append(capsys.readouterr())
    assert decoded == ["record-1.wav"]
    assert told[0] == told[1]
    assert told[0].out.startswith(path)
    assert told[0].err == ""


def test_what_else_was_given_is_heard_anew(record, decoded) -> None:
    one = record(1)
    heard = facts_of_records([(one, NOTHING), (one, Given(first_beat_s=60 / TEMPO_BPM))], jobs=1)
    assert len(decoded) == 2
    firsts_s = [facts.by_bars.grid.grid.first_beat_s for facts in heard]
    assert firsts_s[1] == 60 / TEMPO_BPM != firsts_s[0]


def test_a_changed_record_is_heard_anew(record, decoded) -> None:
    before = facts_of_records([(record(1), NOTHING)], jobs=1)
    assert facts_of_records([(record(1, seconds=11.0), NOTHING)], jobs=1) != before
    assert len(decoded) == 2


@pytest.mark.parametrize("content", [b"", b"rubbish", None])
def test_a_damaged_entry_is_heard_anew(record, decoded, cache, content) -> None:
    wanted = [(record(1), NOTHING)]
    before = facts_of_records(wanted, jobs=1)
    for path in cache.iterdir():
        path.write_bytes(path.read_bytes()[:-1] if content is None else content)
    assert facts_of_records(wanted, jobs=1) == before
    assert len(decoded) == 2


def test_without_a_cache_everything_is_heard_and_it_is_said_once(tmp_path, record, capsys, monkeypatch):
    (tmp_path / "file").write_bytes(b"")
    monkeypatch.setenv(CACHE_VARIABLE, str(tmp_path / "file"))
    for number in (1, 2):
        assert isinstance(listened(Path(record(number).path))[1], RecordFacts)
    out, err = capsys.readouterr()
    assert out == ""
    assert err.count("\n") == err.count("nothing is kept for the next time") == 1


# --- each for itself ---


def test_a_broken_record_fails_alone_and_is_tried_again(record, broken, decoded, tmp_path) -> None:
    gone = Recording(str(tmp_path / "gone.wav"), "wav", RATE_HZ, 1, RATE_HZ, 1000)
    wanted = [(gone, NOTHING), (broken, NOTHING), (record(1), NOTHING)]
    for _ in range(2):
        missing, cut_short, heard = facts_of_records(wanted, jobs=1)
        assert isinstance(missing, SourceError)
        assert "there is no such file" in str(missing)
        assert isinstance(cut_short, SourceError)
        assert "it promises 0:10.000 of sound but holds none from" in str(cut_short)
        assert isinstance(heard, RecordFacts)
    assert decoded.count("broken.wav") == 2
    assert decoded.count("record-1.wav") == 1
    with pytest.raises(SourceError, match="it promises"):
        listened(Path(broken.path))


def test_a_fault_of_our_own_fails_its_record_and_keeps_the_trace(record, monkeypatch, capsys) -> None:
    class Deaf:
        def __init__(self, *_: object) -> None:
            raise ZeroDivisionError("no ears")

    monkeypatch.setattr("render.analysis.record.RecordListener", Deaf)
    (heard,) = facts_of_records([(record(1), NOTHING)], jobs=1)
    assert isinstance(heard, SourceError)
    assert "listening to it failed (ZeroDivisionError: no ears); please report this" in str(heard)
    assert "in __init__" in capsys.readouterr().err


@pytest.mark.slow
def test_several_processes_hear_what_one_hears(record, broken, decoded) -> None:
    wanted = [*((record(number), NOTHING) for number in range(3)), (broken, NOTHING)]
    *heard, cut_short = facts_of_records(wanted, jobs=2)
    assert decoded == []  # not here
    assert isinstance(cut_short, SourceError)
    for (recording, _), facts in zip(wanted, heard, strict=False):
        assert ears.listen((recording, NOTHING)) == facts
    decoded.clear()
    assert facts_of_records(wanted[:3], jobs=1) == heard
    assert decoded == []


def deadly(one: tuple[Recording, Given]) -> RecordFacts | SourceError:
    """Listens, but to record 1 like a system that is short of memory (in the worker: this module is imported there)."""
    if one[0].path.endswith("record-1.wav"):
        os.kill(os.getpid(), signal.SIGKILL)
    return ears.listen(one)


@pytest.mark.slow
@pytest.mark.skipif(os.name != "posix", reason="SIGKILL is POSIX's")
def test_a_worker_that_is_killed_fails_its_record_alone(record, monkeypatch) -> None:
    wanted = [(record(number), NOTHING) for number in range(3)]
    listen = ears.listen
    monkeypatch.setattr(ears, "listen", deadly)
    heard = facts_of_records(wanted, jobs=2)
    monkeypatch.setattr(ears, "listen", listen)
    assert [type(one) for one in heard] == [RecordFacts, SourceError, RecordFacts]
    assert str(heard[1]) == (
        f"{wanted[1][0].path}: while it was listened to, its worker was killed twice, perhaps for want of memory; "
        "close other programs"
    )


# --- what is seen ---


def test_what_is_soon_heard_is_heard_in_silence(record, capsys) -> None:
    facts_of_records([(record(1), NOTHING)], jobs=1)
    assert capsys.readouterr() == ("", "")


def test_what_takes_long_is_told_line_by_line_on_standard_error(record, broken, monkeypatch, capsys) -> None:
    monkeypatch.setattr(ears, "LONG_S", 20.0)
    wanted = [(record(1), NOTHING), (broken, NOTHING), (record(2), NOTHING)]
    facts_of_records(wanted, jobs=1)
    out, err = capsys.readouterr()
    assert out == ""
    assert err.splitlines() == [
        "listening to 3 records, 0.5 minutes of sound",
        "listened  1 of 3  record-1.wav",
        "listened  2 of 3  broken.wav",
        "listened  3 of 3  record-2.wav",
    ]


@pytest.mark.parametrize("plain", [False, True])
def test_on_a_screen_a_bar_shows_how_far_it_is(record, monkeypatch, capsys, plain) -> None:
    screen = io.StringIO()
    monkeypatch.setattr(ears, "LONG_S", 0.0)
    monkeypatch.setattr(
        "rich.console.Console", lambda **_: Console(file=screen, force_terminal=True, width=80)
    )
    facts_of_records([(record(1), NOTHING), (record(2), NOTHING)], jobs=1, plain=plain)
    lines = capsys.readouterr().err.splitlines()
    shown = re.sub(r"\x1b\[[0-9;?]*[a-zA-Z]", "", screen.getvalue())
    if plain:
        assert (len(lines), shown) == (3, "")
    else:
        assert lines == []
        assert "listening" in shown
        assert "2/2" in shown


# --- a run that is stopped ---

LISTENING = """
import sys
from pathlib import Path
from render.facts import Given
from render.files.audio_files import open_recording
from render.night.ears import facts_of_records
if __name__ == "__main__":
    jobs, *paths = sys.argv[1:]
    try:
        facts_of_records([(open_recording(Path(path)), Given()) for path in paths], int(jobs))
    except KeyboardInterrupt:
        print("stopped")
"""


def kept_facts(cache: Path) -> int:
    """How many entries there are that are longer than a hash."""
    return sum(path.stat().st_size > 200 for path in cache.glob("[0-9a-f]*")) if cache.exists() else 0


@linux
@pytest.mark.parametrize("jobs", [1, 2])
@pytest.mark.slow
def test_ctrl_c_ends_the_listening_and_keeps_what_was_heard(tmp_path, record, cache, jobs) -> None:
    short, *long = record(0), record(1, seconds=600.0), record(2, seconds=600.0)
    script = tmp_path / "listening.py"
    script.write_text(LISTENING)
    command = [sys.executable, script, str(jobs), *(one.path for one in (short, *long))]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True, process_group=0) as process:
        ends_s = time.monotonic() + 60
        while not kept_facts(cache):
            assert process.poll() is None
            assert time.monotonic() < ends_s
            time.sleep(0.05)
        workers = children(process.pid)
        assert len(workers) >= (jobs if jobs > 1 else 0)
        os.killpg(process.pid, signal.SIGINT)
        out, _ = process.communicate(timeout=30)
    assert (process.returncode, out) == (0, "stopped\n")
    while time.monotonic() < ends_s and any(map(is_running, workers)):
        time.sleep(0.05)
    assert not any(map(is_running, workers))
    assert kept_facts(cache) == 1
