"""Variants: JSON Merge Patch (RFC 7396) over the recipe, keeping the place where each value was written."""

from collections.abc import Iterator
from typing import Any

from render.recipe.nodes import Path, Place, Tree


def merge_patch(target: Any, patch: Any) -> Any:
    """The result of applying `patch` to `target`, neither of which is changed (RFC 7396, section 2)."""
    if not isinstance(patch, dict):
        return patch
    merged = dict(target) if isinstance(target, dict) else {}
    for key, value in patch.items():
        if value is None:
            merged.pop(key, None)
        else:
            merged[key] = merge_patch(merged.get(key), value)
    return merged


def patched(base: Tree, patch_at: Path) -> Tree:
    """The recipe with the patch that stands at `patch_at` in it applied.

    A value that the patch sets is placed where the patch writes it; everything else stays where it was. The
    places of all patches are left out.
    """
    patch = base.data
    for step in patch_at:
        patch = patch[step]
    gone = set(_replaced(patch))
    return Tree(
        merge_patch(base.data, patch),
        _placed(base.values, patch_at, gone),
        _placed(base.keys, patch_at, gone),
    )


def _replaced(patch: dict[str, Any], path: Path = ()) -> Iterator[Path]:
    """The paths of everything that a patch puts in the place of what was there, or removes."""
    for key, value in patch.items():
        if isinstance(value, dict):
            yield from _replaced(value, (*path, key))
        else:
            yield (*path, key)


def _placed(places: dict[Path, Place], patch_at: Path, gone: set[Path]) -> dict[Path, Place]:
    depth = len(patch_at)
    kept = {
        path: place
        for path, place in places.items()
        if path[:1] != patch_at[:1] and not any(path[:length] in gone for length in range(1, len(path)))
    }
    patched_in = {path[depth:]: place for path, place in places.items() if path[:depth] == patch_at}
    patched_in.pop((), None)
    return kept | patched_in
