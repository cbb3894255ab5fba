"""What is written into a clip, other programs read: FFmpeg, and mutagen from the file again.

Yardstick: FFmpeg's `ffmetadata` output. What the formats' standards ask for byte by byte is tested beside them, in
`tests/standards`.
"""

import re
import shutil
import subprocess
from pathlib import Path

import mutagen
import numpy as np
import pytest
from made_records import record

from render.faults import OutputError
from render.files.audio_files import open_recording
from render.files.ffmpeg import decode_clip, encode, find_ffmpeg
from render.files.tags import MOST_CHAPTERS, ClipTags, write_tags
from render.plan.marks import Mark
from render.plan.model import ClipFormat

FORMATS: list[ClipFormat] = ["mp3", "opus", "flac", "wav"]
RATE_HZ = 48_000
SECONDS = 6.0

TITLES = [
    "Lanterns over Ironworks",
    "\"Half\" & 'whole'; a=b # c \\ d",
    "🎛️ Ночь 夜",
    "פנסים מעל المصابيح",
    "Ironworks " * 30,
]

CHAPTERS = (
    Mark(0.0, 2.0687, "lead"),
    Mark(2.0687, 4.1374, 'landing; "both" = 🎛️'),
    Mark(4.1374, 6.0, "עברית"),
)
TAGS = ClipTags("Lanterns over Ironworks", ("lanterns", "ironworks"), "a double drop", 171.5, CHAPTERS)


@pytest.fixture(scope="module")
def plain_clips(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    folder = tmp_path_factory.mktemp("plain")
    mix = record(RATE_HZ, seconds=SECONDS)
    for form in FORMATS:
        encode(mix, RATE_HZ, form, folder / f"clip.{form}")
    return {form: folder / f"clip.{form}" for form in FORMATS}


def tagged(plain_clips: dict[str, Path], folder: Path, form: ClipFormat, tags: ClipTags = TAGS) -> Path:
    path = shutil.copy(plain_clips[form], folder / f"clip.{form}")
    write_tags(path, form, tags)
    return path


def ffmetadata(path: Path) -> tuple[dict[str, str], list[dict[str, str]]]:
    """FFmpeg's reading of a file's tags and of its chapters, in order of time.

    Ogg has its tags on the stream. `-copyts` because FFmpeg would else move the chapters of a file whose sound
    starts with a run-in.
    """
    stream = ["-map_metadata", "0:s:0"] if path.suffix == ".opus" else []
    command = [find_ffmpeg(), "-v", "error", "-copyts", "-i", path, *stream, "-f", "ffmetadata", "-"]
    done = subprocess.run(command, capture_output=True, check=True)
    text = done.stdout.decode()
    head, *chapters = re.split(r"^\[CHAPTER\]$", text, flags=re.MULTILINE)

    def fields(block: str) -> dict[str, str]:
        pairs = re.findall(r"^(\w+)=((?:\\.|[^\\\n])*)$", block, flags=re.MULTILINE | re.DOTALL)
        return {name.lower(): re.sub(r"\\(.)", r"\1", value, flags=re.DOTALL) for name, value in pairs}

    return fields(head), sorted(map(fields, chapters), key=lambda chapter: int(chapter["start"]))


@pytest.mark.parametrize("form", FORMATS)
@pytest.mark.parametrize("title", TITLES)
def test_a_title_in_any_writing_survives(
    plain_clips: dict[str, Path], tmp_path: Path, form: ClipFormat, title: str
) -> None:
    path = tagged(
        plain_clips, tmp_path, form, ClipTags(title, (title, "b"), title, 174.0, (Mark(0, 1, title),))
    )
    told, chapters = ffmetadata(path)
    assert told["title"] == title
    assert told["comment"] == title
    assert title in told["artist"]
    assert [chapter["title"] for chapter in chapters] == [title]


@pytest.mark.parametrize("form", FORMATS)
def test_chapters_are_where_they_were_put(
    plain_clips: dict[str, Path], tmp_path: Path, form: ClipFormat
) -> None:
    _, chapters = ffmetadata(tagged(plain_clips, tmp_path, form))
    assert [chapter["title"] for chapter in chapters] == [chapter.title for chapter in CHAPTERS]
    for read, written in zip(chapters, CHAPTERS, strict=True):
        assert read["timebase"] == "1/1000"
        assert int(read["start"]) == pytest.approx(1000 * written.start_s, abs=0.5)  # they are kept in ms
        # an Opus file ends with its last packet of 20 ms, and its last chapter with the file
        assert int(read["end"]) == pytest.approx(1000 * written.end_s, abs=20.5 if form == "opus" else 0.5)


def test_chapters_after_an_hour_are_written_with_it(plain_clips: dict[str, Path], tmp_path: Path) -> None:
    tags = ClipTags("", (), "", 174.0, (Mark(3725.25, 3730.0, "late"),))
    assert mutagen.File(tagged(plain_clips, tmp_path, "flac", tags))["chapter001"] == ["01:02:05.250"]


@pytest.mark.parametrize("form", FORMATS)
def test_tags_do_not_touch_the_sound(plain_clips: dict[str, Path], tmp_path: Path, form: ClipFormat) -> None:
    before, rate_hz = decode_clip(plain_clips[form])
    path = tagged(plain_clips, tmp_path, form)
    after, rate_after_hz = decode_clip(path)
    assert np.array_equal(before, after)
    assert rate_hz == rate_after_hz
    assert open_recording(path).note == ""


@pytest.mark.parametrize("form", FORMATS)
def test_the_same_tags_give_the_same_bytes(
    plain_clips: dict[str, Path], tmp_path: Path, form: ClipFormat
) -> None:
    (tmp_path / "one").mkdir()
    (tmp_path / "two").mkdir()
    one, two = (tagged(plain_clips, tmp_path / name, form) for name in ("one", "two"))
    assert one.read_bytes() == two.read_bytes()


@pytest.mark.parametrize("form", FORMATS)
def test_a_clip_without_chapters_is_tagged_too(
    plain_clips: dict[str, Path], tmp_path: Path, form: ClipFormat
) -> None:
    told, chapters = ffmetadata(tagged(plain_clips, tmp_path, form, ClipTags("t", ("a",), "c", 174.0, ())))
    assert (told["title"], chapters) == ("t", [])


@pytest.mark.parametrize("form", ["mp3", "flac"])
def test_as_many_chapters_as_a_contents_frame_counts(
    plain_clips: dict[str, Path], tmp_path: Path, form: ClipFormat
) -> None:
    many = tuple(Mark(n / 100, (n + 1) / 100, f"part {n}") for n in range(MOST_CHAPTERS))
    _, chapters = ffmetadata(tagged(plain_clips, tmp_path, form, ClipTags("t", ("a",), "c", 174.0, many)))
    assert [chapter["title"] for chapter in chapters] == [chapter.title for chapter in many]
    with pytest.raises(ValueError, match="256 chapters"):
        write_tags(
            tmp_path / f"clip.{form}", form, ClipTags("t", ("a",), "c", 174.0, (*many, Mark(3, 4, "x")))
        )


@pytest.mark.parametrize("form", FORMATS)
def test_a_clip_that_is_gone_is_an_error_of_the_output(tmp_path: Path, form: ClipFormat) -> None:
    with pytest.raises(OutputError):
        write_tags(tmp_path / "out" / f"clip.{form}", form, TAGS)


@pytest.mark.parametrize("form", FORMATS)
def test_a_full_disk_is_told_as_what_it_is(small_disk: Path, form: ClipFormat) -> None:
    encode(record(RATE_HZ, 1, 0.5), RATE_HZ, form, small_disk / f"clip.{form}")
    filler = small_disk / "filler"
    with pytest.raises(OSError, match="No space"), filler.open("wb", buffering=0) as file:
        while True:
            file.write(bytes(4_096))
    long = ClipTags("t" * 20_000, ("a",), "c", 174.0, ())
    with pytest.raises(OutputError, match="the disk is full"):
        write_tags(small_disk / f"clip.{form}", form, long)
