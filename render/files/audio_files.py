"""Recordings on the disk: what they are, and any span of them, exact to the sample.

Positions are frames at the recording's own rate, counted from the first one a listener hears, whatever the
format puts before it. The same record as WAV, AIFF, FLAC, Ogg Vorbis, Opus, MP3 and M4A therefore has its drop
at the same time. Only what a span needs is decoded.

Who reads what: libsndfile (soundfile) the formats it seeks in exactly, PyAV the ones in packets
(`render.files.packets`). No outside program is asked: PyAV carries the same decoders, while a converter writes
the whole record out as 16 bits and forgets where it began. What neither reads is refused.

Files are opened for reading only.
"""

from collections.abc import Iterator
from pathlib import Path

import av
import numpy as np
import soundfile

from render.facts import Recording
from render.faults import SourceError
from render.files import headers, mp3_frames, ogg_pages, packets
from render.files.sound_file import size_of
from render.values import Audio, clock

SLOWEST_RATE_HZ = 8_000
FASTEST_RATE_HZ = 192_000
MOST_CHANNELS = 2

_BLOCK_FRAMES = 65_536
"""How much is decoded at once while reading up to a position: half a megabyte of stereo."""

_UNSURE_BEFORE_A_GAP_FRAMES = 4 * 1152
"""How long before a gap in an MP3 file its sound may not be trusted: the run-in, and the frame that the gap cuts off,
each taken a frame longer."""

_READ_AT_ONCE_S = 30
"""Of a whole recording; every read seeks anew, which some formats do slowly."""

_READABLE = "WAV, AIFF, FLAC, Ogg Vorbis, Opus, MP3 and M4A can be read"


def open_recording(path: Path) -> Recording:
    """What a sound file is, with its length as heard. Decodes one packet at most.

    `frames` is what the file promises; whether it keeps that shows when a span is read. What a file says of its own
    soundness is asked here, as most decoders pass over it: Ogg and MP3 are read through once.
    Raises SourceError.
    """
    size_bytes = size_of(path)
    try:
        kind = packets.kind_of(path)
        if kind is None:
            raise SourceError(str(path), "it holds sound of a kind that cannot be placed exactly", _READABLE)
        shape = packets.shape_of(path) if kind in packets.IN_PACKETS else _shape_of_samples(path, kind)
    except packets.NoSoundError as error:
        raise SourceError(str(path), "it holds no sound", _READABLE) from error
    except av.error.FFmpegError as error:
        raise SourceError(str(path), "it is not a sound file that can be read", _READABLE) from error
    except soundfile.LibsndfileError as error:
        wrong = f"its kind of {kind} file cannot be read ({error.error_string.strip(' .')})"
        raise SourceError(str(path), wrong, "save it with 16 or 24 bits a sample") from error
    if shape.frames == 0:
        raise SourceError(str(path), "it holds no sound", "export it again")
    if shape.channels > MOST_CHANNELS:
        raise SourceError(str(path), f"it has {shape.channels} channels", "mix it down to mono or stereo")
    if not SLOWEST_RATE_HZ <= shape.rate_hz <= FASTEST_RATE_HZ:
        wrong = f"its sample rate is {shape.rate_hz} Hz"
        raise SourceError(str(path), wrong, f"{SLOWEST_RATE_HZ} to {FASTEST_RATE_HZ} Hz can be read")
    sound_frames, notes = _soundness(path, kind, shape)
    if sound_frames == 0:
        raise SourceError(str(path), "it is damaged at its beginning", "get a whole copy of it")
    return Recording(
        path=str(path),
        format=kind,
        rate_hz=shape.rate_hz,
        channels=shape.channels,
        frames=shape.frames,
        size_bytes=size_bytes,
        delay_frames=shape.run_in_frames,
        note="; ".join(notes),
        sound_frames=sound_frames,
    )


def read_span(recording: Recording, start_frame: int, frames: int) -> Audio:
    """A span of a recording, (frames, channels) float32 at its own rate; silence before and after it.

    Raises SourceError where the file does not hold what it promised, or holds samples that are no numbers.
    """
    path = Path(recording.path)
    audio = np.zeros((max(0, frames), recording.channels), np.float32)
    first, last = max(0, start_frame), min(start_frame + frames, recording.frames)
    if first >= last:
        return audio
    if recording.sound_frames is not None and last > recording.sound_frames:
        wrong = f"it is damaged near {clock(recording.sound_frames / recording.rate_hz)}"
        raise SourceError(str(path), wrong, "get a whole copy of it")
    size_of(path)
    wanted = audio[first - start_frame : last - start_frame]
    at = first + recording.delay_frames
    try:
        in_packets = recording.format in packets.IN_PACKETS
        read = packets.read_packets(path, at, wanted) if in_packets else _read_samples(recording, at, wanted)
    except (av.error.FFmpegError, soundfile.LibsndfileError, packets.DamagedError) as error:
        wrong = f"it is damaged or cut short near {clock(first / recording.rate_hz)}"
        raise SourceError(str(path), wrong, "get a whole copy of it") from error
    if len(wanted) - read > _last_packet_frames(recording):
        end, promised = (clock(at / recording.rate_hz) for at in (first + read, recording.frames))
        wrong = f"it promises {promised} of sound but holds none from {end} on"
        raise SourceError(str(path), wrong, "get a whole copy of it")
    if not np.isfinite(wanted).all():
        bad_frame = first + int(np.argmin(np.isfinite(wanted).all(axis=1)))
        wrong = f"it holds a sample that is no number at {clock(bad_frame / recording.rate_hz)}"
        raise SourceError(str(path), wrong, "export it again")
    return audio


def blocks_of(recording: Recording) -> Iterator[Audio]:
    """A whole recording from its start, block by block, so that a long one needs no more memory than a short one.

    Raises SourceError as `read_span` does.
    """
    long = _READ_AT_ONCE_S * recording.rate_hz
    for start in range(0, recording.frames, long):
        span = read_span(recording, start, min(long, recording.frames - start))
        for first in range(0, len(span), _BLOCK_FRAMES):
            yield span[first : first + _BLOCK_FRAMES]


def _shape_of_samples(path: Path, kind: str) -> packets.Shape:
    with soundfile.SoundFile(str(path)) as file:
        frames = file.frames
        if kind in ("wav", "aiff") and file.subtype.startswith(("PCM", "FLOAT", "DOUBLE")):
            frames = max(frames, headers.frames_promised(path) or 0)
        return packets.Shape(file.samplerate, file.channels, frames, run_in_frames=0)


def _read_samples(recording: Recording, start_frame: int, audio: Audio) -> int:
    """Fill `audio` from `start_frame` on by libsndfile; how many frames there were."""
    path = Path(recording.path)
    with soundfile.SoundFile(str(path)) as file:
        if start_frame >= file.frames:
            return 0
        at = start_frame
        if recording.format == "vorbis":
            at = min(at, max(0, ogg_pages.ogg_end(path).last_page_start_frames - 1))
        file.seek(at)
        while at < start_frame:
            at += len(file.read(min(_BLOCK_FRAMES, start_frame - at), dtype="float32"))
        return len(file.read(out=audio))


def _last_packet_frames(recording: Recording) -> int:
    """How many frames may be missing at the end: where the length was counted in packets, the last may be cut."""
    return packets.USUAL_RUN_IN_FRAMES[recording.format] if recording.delay_frames else 0


def _soundness(path: Path, kind: str, shape: packets.Shape) -> tuple[int | None, list[str]]:
    """Up to which frame the sound is in its place, None where nothing speaks against it; and what there is to say."""
    damaged_at, notes = None, [*shape.notes, *headers.doubts(path, kind, shape.rate_hz)]
    if kind in ("vorbis", "opus"):
        damaged_at = ogg_pages.first_damage(path)
        if damaged_at is not None and kind == "opus":
            damaged_at = damaged_at * shape.rate_hz // ogg_pages.OPUS_CLOCK_HZ
        elif damaged_at is None and not ogg_pages.ogg_end(path).marked:
            notes.append("this file has no end mark: it may be cut short")
    elif kind == "mp3":
        found = mp3_frames.examined(path)
        notes += found.notes
        if found.lost_at_frame is not None:
            damaged_at = max(0, found.lost_at_frame - _UNSURE_BEFORE_A_GAP_FRAMES)
    if shape.run_in_frames:
        run_in_ms = 1000 * shape.run_in_frames / shape.rate_hz
        notes.append(
            f"this {kind.upper()} file does not say how long its encoder's run-in is: "
            f"the usual {shape.run_in_frames} samples ({run_in_ms:.2f} ms) were taken off"
        )
    if damaged_at is not None:
        notes.append(f"it is damaged from {clock(damaged_at / shape.rate_hz)} on")
    return damaged_at, notes
