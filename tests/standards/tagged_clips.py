"""A short clip of each format, with its title, tracks, comment, tempo and three chapters in it."""

from pathlib import Path

import numpy as np

from render.files.ffmpeg import encode
from render.files.tags import ClipTags, write_tags
from render.plan.marks import Mark
from render.plan.model import ClipFormat
from render.values import Audio

RATE_HZ = 48_000
SECONDS = 6.0

CHAPTERS = (
    Mark(0.0, 2.0687, "lead"),
    Mark(2.0687, 4.1374, 'landing; "both" = 🎛️'),
    Mark(4.1374, 6.0, "עברית"),
)
TAGS = ClipTags("Lanterns = Ironworks", ("lanterns", "ironworks"), "a double drop 夜", 171.5, CHAPTERS)


def sound() -> Audio:
    noise = np.random.default_rng(3).standard_normal((round(SECONDS * RATE_HZ), 2))
    return (0.05 * noise).astype(np.float32)


def tagged_clip(folder: Path, form: ClipFormat, tags: ClipTags = TAGS) -> Path:
    path = folder / f"clip.{form}"
    encode(sound(), RATE_HZ, form, path)
    write_tags(path, form, tags)
    return path
