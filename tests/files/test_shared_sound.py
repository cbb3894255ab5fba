"""A clip's sound for others: the same sound, without a word."""

import io
from pathlib import Path

import mutagen
import numpy as np
import pytest
import soundfile

from render.faults import SourceError
from render.files.ffmpeg import decode_clip, encode
from render.files.shared_sound import sound_to_share
from render.files.tags import ClipTags, write_tags
from render.plan.marks import Mark
from render.plan.model import ClipFormat

SECRET = "Cellar of Quillfeather"
FORMS: list[ClipFormat] = ["mp3", "opus", "flac", "wav"]


@pytest.fixture(params=FORMS)
def clip(request: pytest.FixtureRequest, tmp_path: Path) -> tuple[Path, ClipFormat]:
    """Two seconds of noise under a tone, with tags and chapters."""
    form: ClipFormat = request.param
    rng = np.random.default_rng(5)
    time_s = np.arange(2 * 44_100) / 44_100
    sound = 0.3 * np.sin(2 * np.pi * 330 * time_s) + 0.01 * rng.standard_normal(len(time_s))
    path = tmp_path / f"clip.{form}"
    encode(np.stack([sound, -sound], axis=1).astype(np.float32), 44_100, form, path)
    write_tags(path, form, ClipTags(SECRET, (SECRET,), SECRET, 171.5, (Mark(0.0, 2.0, SECRET),)))
    return path, form


def words_in(content: bytes) -> bool:
    return any(SECRET.encode(encoding) in content for encoding in ("utf-8", "utf-16-le", "utf-16-be"))


def test_no_tag_is_left(clip: tuple[Path, ClipFormat]) -> None:
    """Read by mutagen; and the words are nowhere in the bytes, in any encoding that tags have."""
    path, form = clip
    assert words_in(path.read_bytes())
    content, media_type = sound_to_share(path, form)
    assert media_type == ("audio/ogg" if form == "opus" else "audio/mpeg")
    assert not mutagen.File(io.BytesIO(content)).tags
    assert not words_in(content)
    assert str(path).encode() not in content


def test_it_sounds_as_before(clip: tuple[Path, ClipFormat], tmp_path: Path) -> None:
    """MP3 and Opus are the same to the bit, the others become MP3: then the error lies 30 dB below the sound."""
    path, form = clip
    shared = tmp_path / ("shared.opus" if form == "opus" else "shared.mp3")
    shared.write_bytes(sound_to_share(path, form)[0])
    before, rate_hz = decode_clip(path)
    after, shared_rate_hz = decode_clip(shared)
    assert shared_rate_hz == rate_hz
    assert after.shape == before.shape
    if form in ("mp3", "opus"):
        assert np.array_equal(after, before)
    else:
        assert np.std(after - before) < np.std(before) * 10 ** (-30 / 20)


def test_a_clip_that_is_gone_is_told(tmp_path: Path) -> None:
    with pytest.raises(SourceError, match=r"gone\.mp3: the clip cannot be read"):
        sound_to_share(tmp_path / "gone.mp3", "mp3")


def test_a_clip_that_is_shorter_by_tags_alone(clip: tuple[Path, ClipFormat]) -> None:
    """A shared MP3 or Opus is not encoded anew: what is missing are its tags."""
    path, form = clip
    if form in ("mp3", "opus"):
        assert 0 < path.stat().st_size - len(sound_to_share(path, form)[0]) < 3_000
        assert soundfile.info(path).frames == soundfile.info(io.BytesIO(sound_to_share(path, form)[0])).frames
