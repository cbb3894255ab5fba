"""MP3 and M4A/AAC: the formats that come in packets and begin before the record does, read through PyAV.

An encoder of these formats puts a run-in before the record, and a decoder adds its own. Most files state how
long it is, and then the decoder takes it off:
- MP3 in the LAME tag of its first frame (LAME's documentation, "MP3 Info Tag revision 1", delays),
- M4A in its edit list, or in the `iTunSMPB` comment.
Some do not, and then the usual run-in is taken off here and said in a note:
- MP3 without that tag: 576 frames of the encoder and 529 of the decoder (LAME's technical FAQ, "Why does LAME
  add silence?"), 25.06 ms at 44.1 kHz;
- bare AAC (ADTS) and M4A without either statement: one packet of 1024 frames, the least an encoder can use,
  23.2 ms at 44.1 kHz.

A seek goes by time stamp to a place well before the wanted one, because the first packets after it lack what
earlier packets left them (MP3's bit reservoir, AAC's overlap); from there on frames are counted. The one thing
that is not the same after a seek is the noise that AAC asks its decoder to make up.
"""

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import av
import av.container
import av.packet
import numpy as np
import numpy.typing as npt

from render.files import mp4_index
from render.files.mp4_index import Packet
from render.values import Audio

USUAL_RUN_IN_FRAMES = {"mp3": 576 + 529, "aac": 1024, "alac": 0}

_RUN_UP_FRAMES = 16_384
"""How far before the wanted frame decoding starts. 8,192 were enough for each MP3 that was tried, from 11 to
48 kHz, to come out bit for bit as without seeking; twice that costs half a millisecond."""

_STAMP_TOLERANCE_FRAMES = 256
"""Time stamps may be as coarse as a millisecond (192 frames at 192 kHz); a lost packet is 576 frames or more."""

_CONTAINERS = "wav,aiff,flac,ogg,mp3,mov,aac"
"""Nothing else is even looked into: among the rest are playlists that would make it fetch other files."""

_KINDS = {
    ("wav", ""): "wav",
    ("aiff", ""): "aiff",
    ("flac", "flac"): "flac",
    ("ogg", "vorbis"): "vorbis",
    ("ogg", "opus"): "opus",
    ("mp3", "mp3"): "mp3",
    ("mov", "aac"): "aac",
    ("mov", "alac"): "alac",
    ("aac", "aac"): "aac",
}
"""What a file is called here, by its container and codec; "" stands for any codec."""

IN_PACKETS = frozenset({"mp3", "aac", "alac"})
"""The kinds that this module reads."""


@dataclass(frozen=True)
class Shape:
    """The sound in a file of packets. `frames` counts what is heard: the run-in is off."""

    rate_hz: int
    channels: int
    frames: int
    run_in_frames: int
    """The run-in that the file does not state and that was taken off here, else 0."""
    notes: tuple[str, ...] = ()
    """What speaks against what the file says of itself."""


class NoSoundError(Exception):
    """The file is of a known kind but holds no stream of sound, or none that decodes."""


class DamagedError(Exception):
    """Packets are missing in the middle, so that positions after the gap cannot be trusted."""


def kind_of(path: Path) -> str | None:
    """What kind of recording a file is; None where it is none of `_KINDS`.

    Raises NoSoundError, and av.FFmpegError where no known container is found.
    """
    with _opened(path) as (container, stream):
        family = container.format.name.split(",")[0]
        codec = _codec(stream) if stream.codec_context else None
        if codec is None:  # no decoder is known for it
            return None
        return _KINDS.get((family, codec)) or _KINDS.get((family, ""))


def shape_of(path: Path) -> Shape:
    """The shape of a recording of `IN_PACKETS`. Looks at every packet, and decodes one.

    Raises NoSoundError, and av.FFmpegError where its first packet cannot be decoded.
    """
    with _opened(path) as (container, stream):
        packets = container.demux(stream)
        first_stamp, frame = None, None
        seen: list[Packet] = []
        for packet in packets:
            first_stamp = packet.pts if first_stamp is None else first_stamp
            seen.append(Packet(packet.pos, packet.size, packet.duration))
            frame = next(iter(packet.decode()), None)
            if frame is not None:
                break
        if frame is None or first_stamp is None or stream.time_base is None:
            raise NoSoundError
        rate_hz, channels = frame.sample_rate, frame.layout.nb_channels
        unit_frames = stream.time_base * rate_hz
        start = stream.start_time or 0
        seen += [Packet(packet.pos, packet.size, packet.duration) for packet in packets if packet.size]
        in_mov = container.format.name.startswith("mov")
        stated = start > 0 or first_stamp < 0
        run_in_frames = 0 if stated else USUAL_RUN_IN_FRAMES[_codec(stream)]
        if in_mov:
            length = (stream.duration or 0) - start
        elif stated:
            length = stream.duration or 0
        else:  # the length that such a file gives is an estimate from its bit rate
            length = sum(packet.duration or 0 for packet in seen)
        frames = max(0, round(length * unit_frames) - run_in_frames)
        doubts: list[str] = []
        if in_mov:
            doubts = mp4_index.doubts(path, seen, float(frame.samples / unit_frames), float(unit_frames))
        return Shape(rate_hz, channels, frames, run_in_frames, tuple(doubts))


def read_packets(path: Path, start_frame: int, audio: Audio) -> int:
    """Fill `audio`, (frames, channels), from the frame `start_frame` on, counted with the unstated run-in.

    Returns how many frames there were. Raises DamagedError.
    """
    with _opened(path) as (container, stream):
        target = start_frame - _RUN_UP_FRAMES
        if target > _RUN_UP_FRAMES and stream.time_base is not None:  # else it is as quick from the start
            stamp = int(target / (stream.time_base * stream.rate)) + (stream.start_time or 0)
            container.seek(stamp, stream=stream)
        return _fill(container, stream, start_frame, audio)


def _fill(
    container: av.container.InputContainer, stream: av.AudioStream, start_frame: int, audio: Audio
) -> int:
    end_frame = start_frame + len(audio)
    at: int | None = None
    try:
        for frame in container.decode(stream):
            stamped = _position_of(frame, stream)
            if at is None and stamped <= start_frame:
                at = stamped
            if at is None or abs(stamped - at) > _STAMP_TOLERANCE_FRAMES:
                raise DamagedError
            if at + frame.samples > start_frame:
                first, last = max(at, start_frame), min(at + frame.samples, end_frame)
                audio[first - start_frame : last - start_frame] = _floats(frame)[first - at : last - at]
            at += frame.samples
            if at >= end_frame:
                return len(audio)
    except av.error.InvalidDataError:
        pass  # where a file breaks off, its last packet does not decode: what came before it counts
    return max(0, (at or 0) - start_frame)


def _codec(stream: av.AudioStream) -> str:
    """The codec's own name; FFmpeg calls its decoder of MP3 into floats `mp3float`."""
    return stream.codec_context.name.removesuffix("float")


def _position_of(frame: av.AudioFrame, stream: av.AudioStream) -> int:
    """Where a decoded frame says that it belongs, counted from where the stream says that it starts."""
    unit_s = frame.time_base  # asked once, and taken apart: fractions are slow, and there are 40 a second
    if frame.pts is None or unit_s is None:
        raise DamagedError
    return round(
        (frame.pts - (stream.start_time or 0)) * unit_s.numerator * frame.sample_rate / unit_s.denominator
    )


def _floats(frame: av.AudioFrame) -> Audio:
    """One decoded frame as (frames, channels) float32, full scale at 1.0."""
    samples: npt.NDArray[Any] = frame.to_ndarray()
    if not frame.format.is_planar:
        samples = samples.reshape(-1, frame.layout.nb_channels).T
    if samples.dtype.kind == "i":
        samples = samples / -float(np.iinfo(samples.dtype).min)
    return samples.T.astype(np.float32, copy=False)


@contextmanager
def _opened(path: Path) -> Iterator[tuple[av.container.InputContainer, av.AudioStream]]:
    """The file and its first stream of sound. An absolute path is never taken for an address.

    What its tags say is not asked, so they may be in any writing.
    """
    options = {"format_whitelist": _CONTAINERS}
    with av.open(str(path.absolute()), options=options, metadata_errors="replace") as container:
        if not container.streams.audio:
            raise NoSoundError
        yield container, container.streams.audio[0]
