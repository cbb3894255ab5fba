"""`dropkiln card`: what to set and what to press, on one printed page."""

from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from render.cli.options import BookFile, Out, tell_faults
from render.faults import EXIT_IN_ERROR, EXIT_SOME_FAILED, UsageError

if TYPE_CHECKING:
    from render.night.job import Planned
    from render.publish.card.contents import Card


def card(
    paths: Annotated[
        list[Path] | None,
        typer.Argument(help="Recipes, folders of recipes, or receipts of clips.", show_default=False),
    ] = None,
    keepers: Annotated[
        bool, typer.Option("--keepers", help="Make a card for every clip that works, by the book.")
    ] = False,
    variant: Annotated[
        str | None,
        typer.Option(
            metavar="<name>", help="Of this variant; left out: the recipe as written.", show_default=False
        ),
    ] = None,
    out: Out = Path("out"),
    book: BookFile = None,
    to: Annotated[
        Path | None,
        typer.Option(metavar="<file>", help="The page to write; left out: in OUT/cards.", show_default=False),
    ] = None,
    as_text: Annotated[
        bool, typer.Option("--text", help="Print plain text on standard output, and write nothing.")
    ] = False,
) -> None:
    """Write the stage card of a recipe: a page to print.

    It says where to set which marks, at which tempo each record runs, and what happens at which beat. How much headroom
    to leave is known once the clip is rendered, so its receipt is looked for in OUT/clips.

    Example: dropkiln card recipes/lanterns-over-ironworks.yaml
    """
    if bool(paths) == keepers:
        raise UsageError(
            "card", "name recipes, or ask for --keepers, one of the two", "see `dropkiln card --help`"
        )
    if keepers and variant is not None:
        raise UsageError("card", "--variant and --keepers", "the book says which variants work")
    if to is not None and as_text:
        raise UsageError("card", "--to and --text", "--text prints; send it to a file with `> FILE`")
    from render.publish.card.sheet import card_html, card_text

    cards, failed = _kept(book, out) if keepers else _asked(paths or [], variant, out)
    if as_text:
        if cards:
            typer.echo("\n\n\n".join(map(card_text, cards)))
    else:
        for path, one in _places(cards, to, out):
            _write(path, card_html(one))
    if failed:
        raise typer.Exit(failed)


def _kept(book: Path | None, out: Path) -> "tuple[list[Card], int]":
    """The cards of what works, and the exit status."""
    from render.night.keepers import kept_clips_of
    from render.publish.card.contents import card_of, levels_of

    kept = kept_clips_of(book, out)
    for line in kept.told:
        typer.echo(line, err=True)
    if not kept.clips:
        typer.echo(
            "nothing   no clip works yet; rate some, and hand the ballot to `dropkiln ballots`", err=True
        )
    cards = [card_of(clip.plan, clip.facts, levels_of(clip.receipt, clip.plan)) for clip in kept.clips]
    return cards, EXIT_SOME_FAILED if kept.told else 0


def _asked(paths: Sequence[Path], variant: str | None, out: Path) -> "tuple[list[Card], int]":
    """The cards of recipes, those in error left out and told of, and the exit status."""
    from render.night.job import read_work
    from render.night.paths import RECEIPT_SUFFIX

    work = read_work(paths, jobs=0)
    chosen, others = list["Planned"](), dict[Path, list[str]]()
    for one in work.planned:
        if one.plan.variant == (variant or "") or (one.source.suffix == RECEIPT_SUFFIX and variant is None):
            chosen.append(one)
        else:
            others.setdefault(one.source, []).append(one.plan.variant)
    for source in others.keys() - {one.source for one in chosen}:
        there = ", ".join(name for name in others[source] if name) or "none"
        raise UsageError(str(source), f"it has no variant '{variant}'", f"it has {there}")
    tell_faults(work.faults)
    return [_card(one, out) for one in chosen], EXIT_IN_ERROR if work.faults else 0


def _card(one: "Planned", out: Path) -> "Card":
    """The card of a plan, with the levels of its clip where there is one that does the same."""
    from render.night.made_clips import MadeClip, made_clip
    from render.night.paths import CLIPS, RECEIPT_SUFFIX
    from render.publish.card.contents import card_of, levels_of

    there = one.source
    if there.suffix != RECEIPT_SUFFIX:
        there = out / CLIPS / f"{one.plan.name}{RECEIPT_SUFFIX}"
    bare = card_of(one.plan, one.facts)
    if not there.is_file():
        return bare
    clip = made_clip(there)
    if not isinstance(clip, MadeClip) or card_of(clip.plan, clip.facts) != bare:
        typer.echo(
            f"{there}: this is not of a clip that does what the card says; render the recipe again", err=True
        )
        return bare
    return card_of(one.plan, one.facts, levels_of(clip.receipt, clip.plan))


def _places(cards: "Sequence[Card]", to: Path | None, out: Path) -> "Iterator[tuple[Path, Card]]":
    from render.files.whole_file import inside
    from render.night.paths import CARDS

    if to is not None and len(cards) > 1:
        raise UsageError(
            str(to), f"{len(cards)} cards do not go into one file", "leave --to out, or name one recipe"
        )
    for one in cards:
        yield to or inside(out / CARDS, f"{one.name}.html"), one


def _write(path: Path, page: str) -> None:
    from render.files.whole_file import make_folder, write_whole

    make_folder(path.parent)
    write_whole(path, page)
    typer.echo(f"card      {path}")
