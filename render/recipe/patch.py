"""Variants: JSON Merge Patch (RFC 7396) over the recipe, keeping the place where each value was written."""

from typing import Any

from render.recipe.nodes import Path, Tree


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

    A value that the patch sets is placed where the patch writes it; everything else stays where it was.
    """
    patch = base.data
    for step in patch_at:
        patch = patch[step]
    tree = Tree(merge_patch(base.data, patch), dict(base.values), dict(base.keys))
    depth = len(patch_at)
    for places, source in ((tree.values, base.values), (tree.keys, base.keys)):
        for path, place in source.items():
            if len(path) > depth and path[:depth] == patch_at:
                places[path[depth:]] = place
    return tree
