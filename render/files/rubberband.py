"""The reference engine: the outside program `rubberband`, its fine engine, through the library pyrubberband.

The library hands sound over in temporary files and leaves several things open, which are settled here:

- it writes 16 bit and the program answers in kind, 80 dB below full scale the sound is gone: the files are float;
- the program starts again more quietly, without a word, where its output clips: it is told not to;
- it leaves its files behind when the program is killed: they lie in a folder that is removed;
- it waits for ever: a program that takes too long is killed;
- it writes into the dictionary of options it is given: every call gets a new one.
"""

import contextlib
import subprocess
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
import soundfile
from pyrubberband import pyrb

from render.faults import ToolError, ToolStopped
from render.files.rubberband_program import PROGRAM, rubberband_version
from render.files.temporary import TEMPORARY_FOLDER_PREFIX, require_room, temporary_folder_full
from render.files.time_limit import time_limit
from render.files.whole_file import NO_SPACE
from render.values import Audio

LIMIT_S = 60.0
LIMIT_PER_SECOND = 4.0
"""The program needs a tenth of the sound's duration. These limits are for one that hangs, not for a busy machine."""

MAKE_ROOM = "make room for temporary files"


@dataclass(frozen=True)
class Rubberband:
    """The engine of one installed program, as found by `find_rubberband`."""

    program: Path
    name: str = field(default=PROGRAM, init=False)

    @property
    def version(self) -> str:
        return rubberband_version(self.program)

    def stretch(self, audio: Audio, rate_hz: int, speed: float, semitones: float) -> Audio:
        """About `frames / speed` frames. `audio` is not empty and peaks well below full scale.

        Raises ToolError where the program is missing, fails, or does not end in time; DiskFull.
        """
        limit_s = LIMIT_S + LIMIT_PER_SECOND * len(audio) / rate_hz
        require_room(2 * round(audio.nbytes * (1.0 + 1.0 / speed)))  # for what goes in and what comes out
        options = {"--fine": "", "--ignore-clipping": ""}
        with _told_as_tool_error(limit_s), time_limit(pyrb, limit_s), _own_folder(), _float_files():
            if speed == 1.0:  # the library's stretch would do nothing at all then
                out = pyrb.pitch_shift(audio, rate_hz, semitones, rbargs=options)
            else:
                if semitones:
                    options["--pitch"] = str(semitones)
                out = pyrb.time_stretch(audio, rate_hz, speed, rbargs=options)
        return np.asarray(out, dtype=np.float32)


@contextlib.contextmanager
def _told_as_tool_error(limit_s: float) -> Iterator[None]:
    try:
        yield
    except subprocess.TimeoutExpired:
        raise ToolStopped(PROGRAM, f"did not end within {limit_s:.0f} s", "was killed; try again") from None
    except subprocess.CalledProcessError as error:
        met = ToolStopped if error.returncode < 0 else ToolError  # below zero: by a signal (subprocess)
        wrong = f"ended with status {error.returncode}"
        raise met(PROGRAM, wrong, "try it with `dropkiln doctor`") from error
    except soundfile.SoundFileError as error:
        raise ToolError(PROGRAM, f"wrote no sound ({error})", f"{MAKE_ROOM} and try again") from error
    except OSError as error:
        if error.errno in NO_SPACE:
            raise temporary_folder_full() from error
        raise ToolError(PROGRAM, f"could not be handed the sound ({error})", MAKE_ROOM) from error
    except RuntimeError as error:  # what the library makes of a program that does not start
        right = "install rubberband 3, or use `--engine signalsmith`"
        raise ToolError(PROGRAM, "cannot be started", right) from error


@contextlib.contextmanager
def _own_folder() -> Iterator[None]:
    """Put the library's temporary files into a folder that goes away with whatever is left in it."""
    with tempfile.TemporaryDirectory(prefix=TEMPORARY_FOLDER_PREFIX) as folder:
        before = tempfile.tempdir
        tempfile.tempdir = folder
        try:
            yield
        finally:
            tempfile.tempdir = before


@contextlib.contextmanager
def _float_files() -> Iterator[None]:
    """Lend the library a `soundfile` that writes float samples; the program answers in the format it is given."""
    own = pyrb.sf
    pyrb.sf = _FloatFiles
    try:
        yield
    finally:
        pyrb.sf = own


class _FloatFiles:
    read = staticmethod(soundfile.read)

    @staticmethod
    def write(path: str, audio: Any, rate_hz: int) -> None:
        soundfile.write(path, audio, rate_hz, subtype="FLOAT")
