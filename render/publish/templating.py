"""The templates of this folder, and pages that run and load nothing but what they bring along."""

import base64
from collections.abc import Sequence
from hashlib import sha256

from jinja2 import Environment, PackageLoader, StrictUndefined

_loader = PackageLoader("render.publish")


def environment() -> Environment:
    """Templates in which text is text, whatever it holds, and a name that is not given is an error."""
    return Environment(
        loader=_loader,
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
    )


def asset(*names: str) -> str:
    """A style sheet or a script, of these files as they stand."""
    return "\n".join(_loader.get_source(environment(), name)[0] for name in names)


def policy(style: str, scripts: Sequence[str], **sources: str) -> str:
    """A Content Security Policy (W3C, level 3) that allows this style and these scripts by their hashes.

    `sources` adds what else may be loaded, as in `media_src="data:"`; everything else is refused.
    """
    allowed = [f"{name.replace('_', '-')} {source}" for name, source in sources.items()]
    return "; ".join(
        [
            "default-src 'none'",
            *allowed,
            f"style-src {_hashed(style)}",
            f"script-src {' '.join(map(_hashed, scripts))}",
            "base-uri 'none'",
            "form-action 'none'",
        ]
    )


def _hashed(text: str) -> str:
    return f"'sha256-{base64.b64encode(sha256(text.encode()).digest()).decode()}'"
