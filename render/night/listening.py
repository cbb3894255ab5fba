"""The listening page of a folder: what its receipts say, written beside the folder of the clips."""

from collections.abc import Callable
from pathlib import Path

from render.files.whole_file import inside, write_whole
from render.night.paths import RECEIPT_SUFFIX, unfit_for_a_name
from render.night.receipts import receipt_at
from render.publish.page import PageClip, page_clip, page_html
from render.publish.receipt import BadReceipt

PAGE = "index.html"
"""The page within the output folder."""


def write_page(out: Path, clips: Path, say: Callable[[str], None]) -> int:
    """Write the page of the clips that lie in the folder `clips`, in `out`; how many it shows.

    A clip that was thrown away is left out, and so is one whose receipt cannot be read, which is told. Raises
    OutputError.
    """
    shown: list[PageClip] = []
    for path in sorted(clips.glob(f"*{RECEIPT_SUFFIX}")):
        if path.name.startswith("."):
            continue
        try:
            clip = _clip(path)
            shown += [clip] if path.with_name(clip.file).is_file() else []
        except BadReceipt as error:
            say(f"{path}: not on the page, for {error}; render its recipe again")
    write_whole(inside(out, PAGE), page_html(shown))
    return len(shown)


def _clip(path: Path) -> PageClip:
    """The clip of a receipt. Raises BadReceipt."""
    clip = page_clip(receipt_at(path))
    if clip.name != path.stem or unfit_for_a_name(clip.name):
        raise BadReceipt("it is the receipt of another clip")
    return clip
