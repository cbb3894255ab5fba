"""Titles and chapters inside a clip, in each format's own open standard.

- MP3 and WAV: ID3v2.3 frames (id3.org, ID3 tag version 2.3.0), with chapters after the ID3v2 Chapter Frame
  Addendum 1.0 (2005): one CHAP a chapter, and one CTOC, top-level and ordered, that lists them. In WAV they
  lie in a chunk named `id3 `. TBPM holds whole numbers only (ID3v2.3.0, 4.2.1), so the exact tempo stands
  beside it in a TXXX frame called `tempo`.
- Opus and FLAC: Vorbis comments (Vorbis I specification, section 5), with chapters after Xiph's chapter
  extension: `CHAPTER001=00:00:22.069` and `CHAPTER001NAME=landing`. It knows no ends: a chapter goes on until
  the next one.
"""

# mypy: disable-error-code="no-untyped-call"
# (mutagen marks itself as typed, but most of its calls are not)

from dataclasses import dataclass
from pathlib import Path
from typing import Any

from mutagen import MutagenError
from mutagen.flac import FLAC
from mutagen.id3 import CHAP, COMM, CTOC, ID3, TBPM, TIT2, TPE1, TXXX, CTOCFlags, Encoding
from mutagen.oggopus import OggOpus
from mutagen.wave import WAVE

from render.files.whole_file import output_error
from render.plan.marks import Mark
from render.plan.model import ClipFormat

_ID3_VERSION = 3
"""ID3v2.3: every player reads it, and Windows nothing newer."""
_NO_OFFSET = 0xFFFF_FFFF
"""In CHAP: no position in bytes is given, only the one in milliseconds."""
MOST_CHAPTERS = 255
"""CTOC counts its entries in one byte."""


@dataclass(frozen=True)
class ClipTags:
    """What a clip says of itself. `chapters` are in order of time."""

    title: str
    tracks: tuple[str, ...]
    comment: str
    tempo_bpm: float
    chapters: tuple[Mark, ...]


def write_tags(path: Path, form: ClipFormat, tags: ClipTags) -> None:
    """Put tags into a clip that has none, in place: to be used on the temporary path of `whole_file`.

    Raises OutputError; ValueError for more chapters than a clip can list.
    """
    if len(tags.chapters) > MOST_CHAPTERS:
        raise ValueError(f"{len(tags.chapters)} chapters: at most {MOST_CHAPTERS} can be listed")
    try:
        match form:
            case "mp3":
                id3 = ID3()
                _fill_id3(id3, tags)
                id3.save(path, v1=0, v2_version=_ID3_VERSION)
            case "wav":
                wave: Any = WAVE(path)
                wave.add_tags()
                _fill_id3(wave.tags, tags)
                wave.save(v2_version=_ID3_VERSION)
            case "opus" | "flac":
                file = FLAC(path) if form == "flac" else OggOpus(path)
                file.update(_vorbis_comments(tags))
                file.save()
    except MutagenError as error:
        cause = error.args[0] if error.args else None
        if isinstance(cause, OSError):
            raise output_error(path, cause) from error
        raise


def _fill_id3(id3: ID3, tags: ClipTags) -> None:
    text = {"encoding": Encoding.UTF16}  # the only one of ID3v2.3 that holds every writing system
    names = [f"chapter{number}" for number in range(1, len(tags.chapters) + 1)]
    id3.add(TIT2(text=tags.title, **text))
    id3.add(TPE1(text=", ".join(tags.tracks), **text))
    id3.add(COMM(lang="eng", desc="", text=tags.comment, **text))
    id3.add(TBPM(text=str(round(tags.tempo_bpm)), **text))
    id3.add(TXXX(desc="tempo", text=_plain(tags.tempo_bpm), **text))
    for name, chapter in zip(names, tags.chapters, strict=True):
        id3.add(
            CHAP(
                element_id=name,
                start_time=_ms(chapter.start_s),
                end_time=_ms(chapter.end_s),
                start_offset=_NO_OFFSET,
                end_offset=_NO_OFFSET,
                sub_frames=[TIT2(text=chapter.title, **text)],
            )
        )
    if names:
        flags = CTOCFlags.TOP_LEVEL | CTOCFlags.ORDERED
        id3.add(CTOC(element_id="chapters", flags=flags, child_element_ids=names, sub_frames=[]))


def _vorbis_comments(tags: ClipTags) -> dict[str, list[str]]:
    comments = {
        "TITLE": [tags.title],
        "ARTIST": list(tags.tracks),
        "COMMENT": [tags.comment],
        "BPM": [_plain(tags.tempo_bpm)],
    }
    for number, chapter in enumerate(tags.chapters, start=1):
        comments[f"CHAPTER{number:03d}"] = [_clock_of_day(chapter.start_s)]
        comments[f"CHAPTER{number:03d}NAME"] = [chapter.title]
    return comments


def _ms(time_s: float) -> int:
    return round(time_s * 1000)


def _clock_of_day(time_s: float) -> str:
    """`hh:mm:ss.mmm`, as the chapter extension writes times."""
    minutes, rest_ms = divmod(_ms(time_s), 60_000)
    return f"{minutes // 60:02d}:{minutes % 60:02d}:{rest_ms // 1000:02d}.{rest_ms % 1000:03d}"


def _plain(tempo_bpm: float) -> str:
    """A tempo with all its digits and no more: `174`, `171.5`."""
    return repr(float(tempo_bpm)).removesuffix(".0")
