"""Songs over which somebody speaks: recorded prompts of a Debian package, laid into bars that are known.

The synthetic songs' own singers are synthesised; these are a person's voice. Pauses in the prompts are shortened, so
that every bar said to have a voice has one. The prompts come as ITU-T G.722, 16 kHz, and are decoded by the
executable of the wheel imageio-ffmpeg.
"""

import subprocess
from dataclasses import replace
from functools import cache, partial

import imageio_ffmpeg
import numpy as np
import soxr

from render.values import Audio, nearest_frame
from tests.ground_truth.debian import unpacked
from tests.ground_truth.instruments import RATE_HZ, Mono
from tests.ground_truth.songs import BEATS_PER_BAR, GROOVES, Song, draw_song, singing
from tests.ground_truth.sounding import sound_of, truth_of
from tests.ground_truth.truth import Record

PACKAGE = "asterisk-core-sounds-en-g722"
"""CC BY-SA 3.0."""
SHORTEST_BYTES = 60_000
"""G.722 has 8,000 bytes a second: prompts of 7.5 s and more, whole sentences."""
PROMPTS = 16
"""Some three minutes of speech."""
SPEECH_RATE_HZ = 16_000
PAUSE_FRAME_S = 0.02
PAUSE_FRAMES_KEPT = 6
SILENT_DB = -40.0
"""Below the prompts' mean level: between words."""
SPEECH_LEVEL = 0.16
FADE_S = 0.02
FIRST_SEED = 7_400
SPOKEN = 12
DECODE_LIMIT_S = 60


def spoken_records() -> list[Record]:
    unpacked(PACKAGE)
    records = []
    for number in range(SPOKEN):
        style = tuple(GROOVES)[number % len(GROOVES)]
        song = draw_song(FIRST_SEED + number, style, voice_bars=frozenset())
        bars = singing(song.sections, np.random.default_rng([song.seed, 6]))
        name = f"{number:02d} {style}, spoken over"
        truth = truth_of(song, name, "spoken", held_out=number % 3 == 2)
        records.append(Record(replace(truth, voice_bars=bars), partial(_spoken_over, song, bars)))
    return records


def _spoken_over(song: Song, bars: frozenset[int]) -> tuple[Audio, int]:
    sound, speech = sound_of(song), _speech()
    bar_frames = BEATS_PER_BAR * song.beat_s * RATE_HZ
    at = int(np.random.default_rng([song.seed, 7]).integers(len(speech)))
    speech = np.roll(speech, -at)
    said = 0
    for bar in sorted(bars):
        start = nearest_frame(song.first_beat_s * RATE_HZ + (bar - 1) * bar_frames)
        part = speech[(said + np.arange(nearest_frame(bar_frames))) % len(speech)].copy()
        said += len(part)
        fade = np.linspace(0, 1, round(FADE_S * RATE_HZ), dtype=np.float32)
        if bar - 1 not in bars:
            part[: fade.size] *= fade
        if bar + 1 not in bars:
            part[-fade.size :] *= fade[::-1]
        sound[start : start + part.size] += part[: len(sound) - start, None]
    return np.clip(sound, -1, 1), RATE_HZ


@cache
def _speech() -> Mono:
    """Longer prompts one after another, pauses shortened, at one level; `(frames,)`."""
    prompts = sorted((unpacked(PACKAGE) / "usr/share/asterisk/sounds").glob("*/*.g722"))
    prompts = [path for path in prompts if path.stat().st_size >= SHORTEST_BYTES][:PROMPTS]
    decoded = []
    for path in prompts:
        command = [imageio_ffmpeg.get_ffmpeg_exe(), "-v", "error", "-f", "g722", "-i", str(path)]
        command += ["-f", "f32le", "-ac", "1", "-ar", str(SPEECH_RATE_HZ), "-"]
        said = subprocess.run(command, check=True, capture_output=True, timeout=DECODE_LIMIT_S).stdout
        decoded.append(_without_pauses(np.frombuffer(said, dtype=np.float32)))
    speech = soxr.resample(np.concatenate(decoded), SPEECH_RATE_HZ, RATE_HZ)
    return np.asarray(speech * (SPEECH_LEVEL / np.sqrt(np.mean(np.square(speech)))), dtype=np.float32)


def _without_pauses(speech: Mono) -> Mono:
    """Of each run of silent frames only the first few stay."""
    size = round(PAUSE_FRAME_S * SPEECH_RATE_HZ)
    frames = speech[: len(speech) // size * size].reshape(-1, size)
    power = np.mean(np.square(frames), axis=1)
    silent = power < np.mean(power) * 10 ** (SILENT_DB / 10)
    run, keep = 0, np.ones(len(frames), dtype=bool)
    for place, quiet in enumerate(silent):
        run = run + 1 if quiet else 0
        keep[place] = run <= PAUSE_FRAMES_KEPT
    return np.asarray(frames[keep].reshape(-1), dtype=np.float32)
