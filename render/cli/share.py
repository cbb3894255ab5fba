"""`dropkiln share`: clips for friends, as one file."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Literal

import typer

from render.cli.options import BookFile, Out
from render.faults import EXIT_SOME_FAILED, SourceError, UsageError

if TYPE_CHECKING:
    from render.night.made_clips import MadeClip
    from render.publish.share import SharedClip

FILE = "share.html"


def share(
    clips: Annotated[
        list[str] | None,
        typer.Argument(help="Clips in OUT, by name or by file.", show_default=False),
    ] = None,
    rated: Annotated[
        Literal["works", "almost", "no"] | None,
        typer.Option(help="All clips with this verdict in the book.", show_default=False),
    ] = None,
    to: Annotated[
        Path | None,
        typer.Option(
            metavar="<file>", help="The .html file to write; left out: OUT/share.html.", show_default=False
        ),
    ] = None,
    out: Out = Path("out"),
    book: BookFile = None,
) -> None:
    """Put clips into one HTML file for friends to hear and rate.

    The sound is inside, and nothing of your machine: no path, no name of a user, no hash of a record. Your friends
    send a ballot back, which `dropkiln ballots` puts into the book.

    Example: dropkiln share --rated works --to for-mara.html
    """
    from render.files.whole_file import make_folder, write_whole
    from render.night.words import plural, sized
    from render.publish.share import LARGE_BYTES, share_html

    path = _html_file(to or out / FILE)
    chosen, told = _chosen(clips or [], rated, out, book)
    shared = []
    for clip in chosen:
        try:
            shared.append(_shared(clip))
        except SourceError as error:
            told.append(str(error))
    for line in told:
        typer.echo(line, err=True)
    if not shared:
        raise UsageError("share", "there is no clip to share", "name clips, or a verdict with --rated")
    if to is None:
        make_folder(out)
    html = share_html(shared).encode()
    write_whole(path, html)
    typer.echo(f"share     {path}: {plural(len(shared), 'clip')}, {sized(len(html))}")
    if len(html) > LARGE_BYTES:
        many = f"more than {sized(LARGE_BYTES)}, which mail and messengers may refuse; share fewer clips at a time"
        typer.echo(f"beware    {many}", err=True)
    typer.echo("send      only as far as the records' licences and your local law allow", err=True)
    if told:
        raise typer.Exit(EXIT_SOME_FAILED)


def _html_file(path: Path) -> Path:
    if path.suffix.lower() not in (".html", ".htm"):
        raise UsageError(str(path), "not a page by its name", "name it .html")
    return path


def _chosen(
    names: list[str], rated: str | None, out: Path, book: Path | None
) -> "tuple[list[MadeClip], list[str]]":
    """The clips that are asked for, each once, and why others of them are missing. Raises UsageError."""
    from render.night.keepers import kept_clips_of
    from render.publish.share import MOST_CLIPS

    if not names and rated is None:
        raise UsageError("share", "no clip is named", "name clips, or a verdict with --rated")
    chosen = {}
    for name in names:
        clip = _named(name, out)
        chosen[clip.name] = clip
    told: list[str] = []
    if rated is not None:
        kept = kept_clips_of(book, out, lambda entries: tuple(one for one in entries if one.verdict == rated))
        told += kept.told
        chosen |= {clip.name: clip for clip in kept.clips}
    if len(chosen) > MOST_CLIPS:
        raise UsageError("share", f"{len(chosen)} clips", f"a ballot holds {MOST_CLIPS} ratings at the most")
    return list(chosen.values()), told


def _named(name: str, out: Path) -> "MadeClip":
    """Raises UsageError."""
    from render.night.made_clips import Unreadable, made_clip
    from render.night.paths import CLIPS, RECEIPT_SUFFIX, unfit_for_a_name

    path = Path(name)
    if unfit_for_a_name(name) or path.suffix:
        receipt = path.with_suffix(RECEIPT_SUFFIX)
    else:
        receipt = out / CLIPS / f"{name}{RECEIPT_SUFFIX}"
    if not receipt.is_file():
        raise UsageError(ascii(name)[1:-1], "no such clip", f"name a clip in {out / CLIPS}")
    clip = made_clip(receipt)
    if isinstance(clip, Unreadable):
        raise UsageError(
            str(clip.path), f"no receipt that can be read: {clip.wrong}", "render its recipe again"
        )
    return clip


def _shared(clip: "MadeClip") -> "SharedClip":
    """Raises SourceError where a clip is gone, or is not the one its receipt tells of."""
    from render.files.shared_sound import sound_to_share
    from render.files.sound_file import sha256_of
    from render.publish.share import Sound, shared_clip

    if sha256_of(clip.path) != clip.receipt.get("file_sha256"):
        raise SourceError(str(clip.path), "it is not as it was made", "render its recipe again")
    sound = Sound(*sound_to_share(clip.path, clip.plan.format))
    return shared_clip(clip.plan, clip.receipt["pcm_sha256"], sound)
