"""A clip's sound for others: small, playable everywhere, and without tags."""

# mypy: disable-error-code="no-untyped-call"
# (mutagen marks itself as typed, but most of its calls are not)

import io
import tempfile
from pathlib import Path

from mutagen.id3 import ID3
from mutagen.oggopus import OggOpus

from render.faults import SourceError
from render.files.ffmpeg import decode_clip, encode
from render.files.temporary import TEMPORARY_FOLDER_PREFIX
from render.plan.model import ClipFormat

MEDIA_TYPES = {"mp3": "audio/mpeg", "opus": "audio/ogg"}
"""RFC 3003 and RFC 7845, section 9."""


def sound_to_share(clip: Path, form: ClipFormat) -> tuple[bytes, str]:
    """A clip's encoded sound and its media type: MP3 or Opus as it is, everything else as MP3, which every phone plays.

    Raises SourceError, and what `encode` raises.
    """
    if form in MEDIA_TYPES:
        try:
            content = clip.read_bytes()
        except OSError as error:
            raise SourceError(str(clip), "the clip cannot be read", "render its recipe again") from error
        return _without_tags(content, form), MEDIA_TYPES[form]
    audio, rate_hz = decode_clip(clip)
    with tempfile.TemporaryDirectory(prefix=TEMPORARY_FOLDER_PREFIX) as folder:
        path = Path(folder) / "clip.mp3"
        encode(audio, rate_hz, "mp3", path)
        return _without_tags(path.read_bytes(), "mp3"), MEDIA_TYPES["mp3"]


def _without_tags(content: bytes, form: ClipFormat) -> bytes:
    file = io.BytesIO(content)
    if form == "opus":
        tags = OggOpus(file)
        file.seek(0)
        tags.delete(file)
    else:
        ID3().delete(file)
    return file.getvalue()
