"""Inputs that have broken readers elsewhere, and good ones for a fuzzer to begin from."""

import json
from collections.abc import Iterator
from pathlib import Path

from render.publish.ballots import ballot_text

ROOT = Path(__file__).parents[2]
ONE_MEGABYTE = 1_000_000

RECIPE = """\
recipe: 1
title: Two records
tempo: two
lead: 32 beats
tail: 8 bars
tracks:
  one: {file: one.wav, bpm: 170, first_beat: 0 s, markers: {drop: 1:00, drums: drop - 32 beats}, gain: -1 dB}
  two: {file: two.wav, bpm: 175, first_beat: 0.1, markers: {drop: bar 45.2}, enter: landing - 8 beats, fade_in: 1 bar}
low_cut: {below: 150 Hz, keep: [{from: start, track: one}, {from: landing, track: [two]}]}
jump_back: [{track: one, at: landing, to: drums, loop: 8 beats}]
try: {both: {jump_back: null}, short: {lead: 4 beats, tracks: {two: {pitch: follow, enter: null}}}}
clip: {format: opus, ceiling: -1.5 dBTP}
"""
BALLOT = json.dumps(
    {
        "ballot": 1,
        "listener": "Mara",
        "made": "2031-05-04T21:29:00.123Z",
        "ratings": [{"clip": "lanterns", "verdict": "almost", "note": "two voices", "pcm": "0a1b2c3d4e5f"}],
    }
)
BOOK = """\
# what works
book: 1
clips:
  lanterns:   # the first
    title: Lanterns
    tracks: [lanterns, "ironworks"]
    verdict: works
    notes: |
      of two lines
      # no comment
    ratings:
      - {when: 2031-05-04 21:30:00 UTC, who: Mara, verdict: works, pcm: 0a1b2c3d4e5f, note: "goosebumps: yes"}
      - when: 2029-01-02
        verdict: no
  slate: {tags: x}
  ember:
"""
_TIMES_S = [0.25 + 0.375 * count for count in range(12)]
TABLE = "time,beat\n" + "".join(f"{time_s},{count % 4 + 1}\n" for count, time_s in enumerate(_TIMES_S))
JAMS = json.dumps(
    {
        "annotations": [
            {
                "namespace": "beat",
                "data": [
                    {"time": time_s, "duration": 0, "value": count % 4 + 1, "confidence": None}
                    for count, time_s in enumerate(_TIMES_S)
                ],
            }
        ]
    }
)
JAMS_OF_LISTS = json.dumps(
    {
        "annotations": [
            {
                "namespace": "beat_position",
                "data": {
                    "time": _TIMES_S,
                    "value": [{"position": count % 3 + 1, "num_beats": 3} for count in range(12)],
                },
            }
        ]
    }
)
POSITIONS = (
    "1:29.614",
    "29.6 s",
    "bar 65.3",
    "drop - 64 beats",
    "drums + 8 bars",
    "landing - 32 beats",
    "bars 9 to 24",
    "-1.5 dB",
    "+1 semitone",
    "F# minor",
    "172.5",
    "25 ms",
)
SHARES = ("lanterns\0Lanterns over Ironworks\0short\0lanterns and ironworks", "<b>\0\"'>\0&amp;\0{{ 7*7 }}")

GOOD: dict[str, tuple[str, ...]] = {
    "recipe": (RECIPE,),
    "plan": (RECIPE,),
    "position": POSITIONS,
    "ballot": (BALLOT, ballot_text(BALLOT), f"here it is: {ballot_text(BALLOT)} bye"),
    "share": SHARES,
    "jams": (JAMS, JAMS_OF_LISTS),
    "table": (TABLE, "0.5\n1.0\n1.5\n2.0\n2.5\n3.0\n3.5\n4.0\n4.5\n"),
    "book": (BOOK,),
    "bookkeeping": (BOOK, BOOK + '\0a note: [it\'s] "fine" #1', BOOK + f"\0{60 * 'a'}!"),
}
"""By target, texts that it accepts."""

_WORDS = (
    "recipe: title: tempo: lead: tail: tracks: file: bpm: first_beat: beats_per_bar: key: offset: "
    "markers: gain: pitch: enter: leave: fade_in: fade_out: count: nudge: shift: phrase: tonal_weight: "
    "voice: low_cut: below: keep: from: track: jump_back: at: to: loop: try: clip: format: ceiling: drop "
    "start landing end all none follow half double beats bars bar semitone dB dBTP Hz ms null true ~ .nan "
    ".inf 1e999 0x1F 1:32 - ? : # & * ! | > %YAML --- ... << !!python/object !!set !!binary *a &a {{ }} [ "
    "] { } ' \" ballot listener made ratings clip verdict note pcm works almost no book: clips: tags: "
    "notes: when: who: annotations namespace beat beat_position data time value position num_beats NaN "
    "Infinity dropkiln-ballot-1: "
)
WORDS = _WORDS.split()
"""What a fuzzer may put together."""


def seeds(target: str) -> list[bytes]:
    """Good inputs to begin from, the project's own recipes among them."""
    own = sorted(ROOT.glob("recipes/*.yaml")) if target in ("recipe", "plan") else []
    return [*(text.encode() for text in GOOD[target]), *(path.read_bytes() for path in own)]


def nasty(target: str) -> Iterator[tuple[str, bytes]]:
    """Bad inputs, each with a name for it: some that are bad for everybody, and each good one damaged."""
    large = (
        ONE_MEGABYTE if target != "bookkeeping" else 100_000
    )  # which reads a book four times, and `book` once
    yield from ((name, content) for name, content in _ANYWHERE.items() if len(content) <= large)
    for number, good in enumerate(text.encode() for text in GOOD[target]):
        for name, damaged in _damaged(good):
            yield f"good {number} {name}", damaged


def _bomb(levels: int, width: int) -> bytes:
    """Each level names the one before it `width` times (the "billion laughs")."""
    lines = ["a0: &a0 x"]
    lines += [
        f"a{n}: &a{n} [{', '.join([f'*a{n - 1}'] * width)}]"  # an alias for each
        for n in range(1, levels)
    ]
    return "\n".join(lines).encode()


_CLIPS_BY_ALIAS = (
    "book: 1\nclips:\n a0: &a {ratings: [" + "{verdict: no}, " * 100 + "]}\n"
    + "".join(f" a{n}: *a\n" for n in range(1, 100))
).encode()  # fmt: skip

_ANYWHERE: dict[str, bytes] = {
    "nothing": b"",
    "a byte order mark": b"\xef\xbb\xbf",
    "two byte order marks": b"\xef\xbb\xbf\xef\xbb\xbf",
    "UTF-16": "recipe: 1".encode("utf-16"),
    "a NUL": b"\x00",
    "NULs": b"\x00" * 4096,
    "all bytes": bytes(range(256)),
    "half a character": b"recipe: \xc3",
    "an overlong slash": b"title: \xc0\xaf",
    "a lone surrogate": b"title: \xed\xa0\x80",
    "escaped surrogates": b'title: "\\ud800 \\udfff"\nbook: "\\ud800"',
    "an escape out of range": b'title: "\\Uffffffff"',
    "turned writing": "title: \u202egpj.exe\u202c \u2066x\u2069\nbook: \u202e1".encode(),
    "line separators": "recipe: 1\u2028title: x\u2029y\x85z".encode(),
    "a terminal's escapes": b"title: \x1b[2J\x1b]0;x\x07\n\x9b31m",
    "heaps of marks": ("title: a" + "\u0301" * 2000).encode(),
    "deep lists": b"[" * 20_000,
    "deep mappings": b'{"a":' * 20_000,
    "deep lists by lines": b"- " * 20_000,
    "deep questions": b"? " * 5_000,
    "deep and closed": b"[" * 5_000 + b"]" * 5_000,
    "deep inside annotations": b'{"annotations": ' + b"[" * 5_000 + b"]" * 5_000 + b"}",
    "a bomb of aliases": _bomb(12, 10),
    "a bomb in a book": b"book: 1\nclips:\n" + b"\n".join(b"  " + line for line in _bomb(9, 9).splitlines()),
    "clips by aliases": _CLIPS_BY_ALIAS,
    "an alias of itself": b"book: 1\nclips: &a\n  b: *a\n",
    "a list in itself": b"&a [*a]",
    "tracks in themselves": b"book: 1\nclips: {a: {tracks: &t [*t]}}",
    "an unknown alias": b"book: *x",
    "a merge key": b"book: 1\nclips:\n  a: &a {title: x}\n  b: {<<: *a, notes: y}\n",
    "a merge key in a recipe": b"recipe: 1\n<<: {title: x}\ntracks: {}\n",
    "merging itself": b"a: &a\n  <<: *a\n",
    "a call by tag": b'!!python/object/apply:os.system ["touch x"]',
    "an object by tag": b"book: !!python/object:render.faults.Fault {file: x}",
    "a name by tag": b"title: !!python/name:os.system",
    "a set by tag": b"book: 1\nclips: !!set {a, b}",
    "binary by tag": b"book: 1\nclips: {a: {title: !!binary aGVsbG8=}}",
    "a tag of one's own": b"%TAG ! tag:example.org,2031:\n---\nrecipe: !x 1",
    "a version of YAML": b"%YAML 9999999999999999999999.1\n---\nrecipe: 1",
    "a huge version of YAML": b"%YAML 1." + b"1" * 5000 + b"\n---\nrecipe: 1",
    "two documents": b"book: 1\n---\nbook: 1\n",
    "a key twice": b'{"ballot": 1, "ballot": 1, "book": 1, "book": 1, "recipe": 1, "recipe": 1}',
    "a list for a key": b"? [a, b]\n: c\n",
    "a mapping for a key": b"{{a: b}: c}",
    "no key": b": x\n",
    "NaN": b'{"annotations": [{"namespace": "beat", "data": [{"time": NaN, "value": NaN}]}]}',
    "infinity": b'{"annotations": [{"namespace": "beat", "data": [{"time": Infinity, "value": 1e999}]}]}',
    "lines of no numbers": b"nan\ninf\n-inf\n1e999\n-0\n" * 10,
    "a tempo of no number": b"recipe: 1\ntempo: .nan\nlead: .inf\ntail: -.inf\n",
    "a number of 400 digits": b"1" * 400,
    "a number of 5000 digits": b"1" * 5000,
    "a clock of 400 digits": b"1" * 400 + b":00",
    "a clock of 5000 digits": b"1" * 5000 + b":00",
    "an exponent of 5000 digits": b"1e" + b"9" * 5000,
    "a version of 5000 digits": b'{"ballot": ' + b"1" * 5000 + b"}",
    "digits of another script": "bar ٣.٣ - ٤ beats".encode(),
    "one long line": b"a" * ONE_MEGABYTE,
    "one long line of signs": b"- " * (ONE_MEGABYTE // 2),
    "one long line of brackets": b"{" * ONE_MEGABYTE,
    "one long comment": b"#" * ONE_MEGABYTE,
    "one long quote": b'"' + b"a" * (ONE_MEGABYTE - 1),
    "one long number": b"1" * ONE_MEGABYTE,
    "one long gap": b" " * (ONE_MEGABYTE - 1) + b"x",
    "a gap before no unit": b"1" + b" " * 20_000 + b"-" + b" " * 20_000 + b"1",
    "many signs": b"drop " + b"- 1 " * 5_000,
    "many lines": b"\n" * 100_000,
    "many carriage returns": b"\r" * 100_000,
    "many words": b"a b c " * 2_000,
    "many keys": "".join(f"k{n}: {n}\n" for n in range(3_000)).encode(),
    "many short texts": b"dropkiln-ballot-1:" * 10_000,
    "a compressed file": b"PK\x03\x04" + bytes(range(256)) * 8,
    "a record": b"RIFF\x24\x00\x00\x00WAVEfmt " + b"\x00" * 64,
}  # fmt: skip


def _damaged(good: bytes) -> Iterator[tuple[str, bytes]]:
    yield "as it is", good
    yield "after a byte order mark", b"\xef\xbb\xbf" + good
    yield "with Windows lines", good.replace(b"\n", b"\r\n")
    yield "with old lines", good.replace(b"\n", b"\r")
    yield "with tabs", good.replace(b"  ", b"\t")
    yield "with NULs", good.replace(b" ", b"\x00")
    yield "twice", good + good
    yield "in Latin-1", good.replace(b"o", b"\xf6")
    yield "with a lone surrogate", good.replace(b"o", b"\xed\xa0\x80")
    yield "with turned writing", good.replace(b"o", "\u202e".encode())
    yield "with a mark on every letter", good.replace(b"a", "a\u0301\u0301\u0301".encode())
    for number in (b"1" * 400, b"1" * 400 + b":00", b"1" * 5000, b"1e999", b".nan", b"-1", b"0", b"99999999"):
        yield f"with {number[:8].decode()}… of {len(number)} for 1", good.replace(b"1", number, 40)
        yield f"with {number[:8].decode()}… of {len(number)} for 0", good.replace(b"0", number, 40)
        yield f"with {number[:8].decode()}… of {len(number)} for 1:00", good.replace(b"1:00", number)
    for sign in b":-{}[],\"'\n#&*!|>%@`":
        yield f"without {chr(sign)!r}", good.replace(bytes([sign]), b"")
        yield f"with {chr(sign)!r} doubled", good.replace(bytes([sign]), bytes([sign]) * 2)
    for eighth in range(1, 8):
        yield f"cut after {eighth} eighths", good[: len(good) * eighth // 8]
    for name, word in (
        ("null", b"null"),
        ("an alias", b"*a"),
        ("an anchor", b"&a x"),
        ("a tag", b"!!python/object:os.x 1"),
        ("a merge key", b"<<: {a: 1}"),
        ("a list", b"[1, [2]]"),
        ("a mapping", b"{a: {b: 1}}"),
    ):
        for key in (b"one", b"lanterns", b"1", b"works", b"landing", b"0.25"):
            if key in good:
                yield f"with {name} for {key.decode()}", good.replace(key, word, 1)
