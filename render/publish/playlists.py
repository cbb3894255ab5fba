"""Playlists of the records that are layered, for the programs and players that records are got from.

- XSPF 1 (Xiph, "XSPF Version 1", https://xspf.org/spec): XML in the namespace http://xspf.org/ns/0/; durations in whole
  milliseconds; locations are URIs (RFC 3986), relative to the playlist.
- M3U8: the extended M3U of common practice in UTF-8 without a byte order mark. No standard says how a path is written,
  so it is plain, as most readers want it; what cannot stand on a line is refused.
"""

import math
import os
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import PurePath, PureWindowsPath
from urllib.parse import quote, quote_from_bytes
from xml.etree import ElementTree

from render.publish.lettering import cleaned

XSPF_NAMESPACE = "http://xspf.org/ns/0/"
UNKNOWN_S = -1
"""What M3U writes where a length is not known."""


@dataclass(frozen=True)
class Record:
    """One record. `path` is relative to the playlist, or absolute where it lies on another drive."""

    path: str
    title: str
    duration_s: float
    remark: str = ""


@dataclass(frozen=True)
class Playlist:
    title: str
    records: tuple[Record, ...]
    remark: str = ""


class UnfitPath(Exception):
    """A path that cannot stand in an M3U8 file; the message is why."""


def together(title: str, playlists: Iterable[Playlist]) -> Playlist:
    """One playlist of all, each record once, where it comes first; without what is only said of it in one of them."""
    records: dict[str, Record] = {}
    for playlist in playlists:
        for record in playlist.records:
            records.setdefault(record.path, Record(record.path, record.title, record.duration_s))
    return Playlist(title, tuple(records.values()))


def m3u8(playlist: Playlist) -> str:
    """Raises UnfitPath."""
    lines = ["#EXTM3U", f"#PLAYLIST:{cleaned(playlist.title)}"]
    for record in playlist.records:
        length_s = math.floor(record.duration_s + 0.5) if record.duration_s > 0 else UNKNOWN_S
        lines += [f"#EXTINF:{length_s},{cleaned(record.title)}", _line(record.path)]
    return "\n".join([*lines, ""])


def xspf(playlist: Playlist) -> str:
    root = ElementTree.Element("playlist", {"version": "1", "xmlns": XSPF_NAMESPACE})
    _said(root, "title", playlist.title)
    _said(root, "annotation", playlist.remark)
    tracks = ElementTree.SubElement(root, "trackList")
    for record in playlist.records:
        track = ElementTree.SubElement(tracks, "track")
        _said(track, "location", uri(record.path))
        _said(track, "title", record.title)
        _said(track, "annotation", record.remark)
        if record.duration_s > 0:
            _said(track, "duration", str(math.floor(record.duration_s * 1000 + 0.5)))
    ElementTree.indent(root)
    return f'<?xml version="1.0" encoding="UTF-8"?>\n{ElementTree.tostring(root, encoding="unicode")}\n'


def uri(path: str) -> str:
    """A path as a URI reference: everything but RFC 3986's unreserved characters is percent-encoded.

    A colon is too, so that no name is taken for a scheme.
    """
    drive = PureWindowsPath(path).drive if os.name == "nt" else ""
    if drive or PurePath(path).is_absolute():
        return PurePath(path).as_uri()
    return quote_from_bytes(os.fsencode(path), safe="/") if os.name != "nt" else quote(path, safe="/")


def remarks(facts: Sequence[str | None]) -> str:
    """What is known of a record, in one line."""
    return ", ".join(fact for fact in facts if fact)


def _said(parent: ElementTree.Element, name: str, text: str) -> None:
    if line := cleaned(text):
        ElementTree.SubElement(parent, name).text = line


def _line(path: str) -> str:
    try:
        path.encode()
    except UnicodeEncodeError as error:
        raise UnfitPath("its name is not UTF-8 text") from error
    if path.splitlines() != [path] or path != path.rstrip():
        raise UnfitPath("its name holds a line break or ends in a space")
    return f"./{path}" if path.startswith(("#", " ")) else path
