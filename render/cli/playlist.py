"""`dropkiln playlist`: the records of what works, as playlists."""

import contextlib
import os
from pathlib import Path, PurePath
from typing import TYPE_CHECKING, Annotated

import typer

from render.cli.options import BookFile, Out
from render.faults import EXIT_SOME_FAILED, OutputError

if TYPE_CHECKING:
    from render.night.made_clips import MadeClip
    from render.publish.playlists import Playlist, Record

FOLDER = "playlists"
ALL = "keepers"


def playlist(
    out: Out = Path("out"),
    book: BookFile = None,
    to: Annotated[
        Path | None,
        typer.Option(metavar="<folder>", help="Where to write; left out: OUT/playlists.", show_default=False),
    ] = None,
) -> None:
    """Write playlists of the records whose clips work.

    One for each combination, and `keepers` with the records of all, as M3U8 and as XSPF. What works is in the book,
    which records that are is in the clips' receipts.

    Example: dropkiln playlist --out out
    """
    from render.night.keepers import kept_clips_of
    from render.publish.playlists import together

    kept = kept_clips_of(book, out)
    for line in kept.told:
        typer.echo(line, err=True)
    folder = to or out / FOLDER
    by_recipe: dict[str, list[MadeClip]] = {}
    for clip in kept.clips:
        by_recipe.setdefault(clip.plan.recipe, []).append(clip)
    missing: dict[str, None] = {}
    playlists = {name: _of(clips, folder, missing) for name, clips in by_recipe.items()}
    for line in missing:
        typer.echo(line, err=True)
    if not playlists:
        typer.echo("nothing   no clip works yet; rate some, and hand the ballot to `dropkiln ballots`")
    else:
        names = _write(folder, playlists, together("Keepers", playlists.values()))
        if to is None:
            _tell_earlier(folder, names)
    if kept.told or missing:
        raise typer.Exit(EXIT_SOME_FAILED)


def _of(clips: "list[MadeClip]", folder: Path, missing: dict[str, None]) -> "Playlist":
    """The records of one recipe's clips, each once; a record that is gone is added to `missing`."""
    from render.publish.playlists import Playlist

    records: dict[str, Record] = {}
    for clip in clips:
        for name, known in clip.facts.items():
            path = Path(known.recording.path)
            if path.is_file():
                records.setdefault(os.path.abspath(path), _record(clip, name, folder))  # noqa: PTH100
            else:
                missing[
                    f"{path}: this record is not there; bring it back, or render {clip.plan.recipe} again"
                ] = None
    tempo = f"{clips[0].plan.clock.tempo_bpm:.6g} BPM together"
    return Playlist(clips[0].plan.title, tuple(records.values()), tempo)


def _record(clip: "MadeClip", name: str, folder: Path) -> "Record":
    from render.publish.playlists import Record, remarks

    known = clip.facts[name]
    path, start = os.path.abspath(known.recording.path), os.path.abspath(folder)  # noqa: PTH100
    with contextlib.suppress(ValueError):  # on Windows, from one drive to another: it stays absolute
        path = PurePath(os.path.relpath(path, start)).as_posix()
    said = remarks([f"{known.tempo_bpm.value:.6g} BPM", known.key.value if known.key else None])
    return Record(path, name, known.recording.duration_s, said)


def _write(folder: Path, playlists: "dict[str, Playlist]", every: "Playlist") -> set[str]:
    """Write each, and one of all; their names. Raises OutputError."""
    from render.files.whole_file import inside, make_folder, write_whole
    from render.night.words import plural
    from render.publish.playlists import UnfitPath, m3u8, xspf

    make_folder(folder)
    taken = {name.casefold() for name in playlists}
    all_name = ALL if ALL not in taken else f"all-{ALL}"
    for name, one in {**playlists, all_name: every}.items():
        try:
            texts = {".m3u8": m3u8(one), ".xspf": xspf(one)}
        except UnfitPath as error:
            path = folder / f"{name}.m3u8"
            raise OutputError(str(path), f"a record cannot stand in it: {error}", "rename it") from error
        for ending, text in texts.items():
            write_whole(inside(folder, name + ending), text)
        typer.echo(f"playlist  {folder / name}.m3u8 and .xspf, {plural(len(one.records), 'record')}")
    return {*playlists, all_name}


def _tell_earlier(folder: Path, names: set[str]) -> None:
    """Say what an earlier run has written and this one has not."""
    for path in sorted(folder.glob("*.m3u8")):
        if path.stem not in names and path.with_suffix(".xspf").exists():
            unneeded = "and .xspf are of no keeper now; remove them if nobody needs them"
            typer.echo(f"earlier   {path} {unneeded}", err=True)
