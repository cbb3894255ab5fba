"""YAML is read as a performer means it, with the place of every word, and its traps are refused in plain words."""

import time

import pytest
from hypothesis import given
from hypothesis import strategies as st
from ruamel.yaml import YAML
from written import FULL, fault, faults, place, place_of

from render.recipe.nodes import MAX_DEPTH, MAX_TEXT_BYTES, plain_scalar, read_tree, shortened

SOON_S = 1.0
"""Reading a recipe takes milliseconds; whatever is quadratic in a file of this size takes minutes."""


@pytest.mark.parametrize(
    ("written", "value"),
    [
        # YAML 1.2.2, section 10.3.2 (core schema; from memory), where the 1.1 types of older readers differ.
        ("1:32", "1:32"),
        ("1:29.614", "1:29.614"),
        ("190:20:30", "190:20:30"),
        ("no", "no"),
        ("yes", "yes"),
        ("on", "on"),
        ("off", "off"),
        ("y", "y"),
        ("none", "none"),
        ("010", 10),
        ("-010", -10),
        ("+1", 1),
        ("1_000", "1_000"),
        ("0b11", "0b11"),
        ("2001-12-14", "2001-12-14"),
        ("=", "="),
        ("<<", "<<"),
        # The same section, as anybody would read it.
        ("174", 174),
        ("171.5", 171.5),
        (".5", 0.5),
        ("12.", 12.0),
        ("1e3", 1000.0),
        ("-1.5E-2", -0.015),
        ("true", True),
        ("False", False),
        ("TRUE", True),
        ("tRUE", "tRUE"),
        ("null", None),
        ("~", None),
        ("Null", None),
        ("", None),
        # Left out on purpose: no quantity of a recipe is infinite, octal or hexadecimal.
        (".inf", ".inf"),
        (".nan", ".nan"),
        ("1e400", "1e400"),
        ("0o17", "0o17"),
        ("0x1F", "0x1F"),
        # A number with more digits than anything that is counted stays text.
        ("1" + "0" * 400, "1" + "0" * 400),
    ],
)
def test_a_plain_word_means_what_it_looks_like(written, value):
    read = plain_scalar(written)
    assert read == value
    assert type(read) is type(value)


@pytest.mark.parametrize("quoted", ["'174'", '"174"', "'true'", '"null"', "'1:32'"])
def test_what_is_quoted_is_text(quoted):
    tree, problems = read_tree(f"a: {quoted}\n")
    assert (tree.data, problems) == ({"a": quoted[1:-1]}, [])


@pytest.mark.parametrize("scalar", ["|\n  a\n  b\n", ">\n  a\n  b\n"])
def test_block_text_is_text(scalar):
    tree, problems = read_tree(f"a: {scalar}")
    assert not problems
    assert tree.data["a"].split() == ["a", "b"]


def plain(data):
    """What the reference reader delivers, as builtin types."""
    if isinstance(data, dict):
        return {str(key): plain(value) for key, value in data.items()}
    return [plain(item) for item in data] if isinstance(data, list) else data


def test_the_whole_format_reads_as_a_reference_reader_reads_it():
    """Against ruamel.yaml's own YAML 1.2 loader."""
    tree, problems = read_tree(FULL)
    assert not problems
    assert tree.data == plain(YAML(typ="safe", pure=True).load(FULL))


def marks(data, path=()):
    """Path, place of the key and place of the value by the line and column marks of ruamel.yaml, from 1."""
    if isinstance(data, dict):
        for name, value in data.items():
            key, at = data.lc.key(name), data.lc.value(name)
            yield (*path, name), (key[0] + 1, key[1] + 1), (at[0] + 1, at[1] + 1)
            yield from marks(value, (*path, name))
    elif isinstance(data, list):
        for index, value in enumerate(data):
            at = data.lc.item(index)
            yield (*path, index), None, (at[0] + 1, at[1] + 1)
            yield from marks(value, (*path, index))


def test_every_key_and_value_stands_where_a_reference_reader_sees_it():
    """Against the line and column marks of ruamel.yaml's round-trip loader."""
    tree, _ = read_tree(FULL)
    seen = list(marks(YAML().load(FULL)))
    assert len(seen) > 50
    for path, key, value in seen:
        assert tree.values[path] == value, path
        assert key is None or tree.keys[path] == key, path


@pytest.mark.parametrize("lines", ["\n", "\r\n", "\r"], ids=["LF", "CRLF", "CR"])
def test_line_ends_of_every_system_read_the_same(lines):
    tree, problems = read_tree(FULL.replace("\n", lines))
    expected, _ = read_tree(FULL)
    assert not problems
    assert (tree.data, tree.keys, tree.values) == (expected.data, expected.keys, expected.values)


def test_a_byte_order_mark_is_no_part_of_the_recipe():
    assert faults("\N{ZERO WIDTH NO-BREAK SPACE}" + FULL) == []
    assert place_of(fault("\N{ZERO WIDTH NO-BREAK SPACE}" + FULL.replace("recipe: 1", "recipe: 2"))) == (1, 9)


@pytest.mark.parametrize("text", ["", "\n\n", "# nothing\n", "---\n", "---\n...\n", "~\n", "null", "\ufeff"])
def test_a_file_without_a_recipe_says_so(text):
    assert "holds no recipe" in fault(text).wrong


@pytest.mark.parametrize("text", ["- a\n- b\n", "174\n", "just words\n", "[]\n", '"quoted"\n'])
def test_a_file_with_something_else_says_so(text):
    only = fault(text)
    assert (only.code, only.line, only.column) == ("wrong-type", 1, 1)
    assert only.right.startswith("begin with `recipe: 1`")


def test_a_key_written_twice_is_told_at_the_second_and_names_the_first():
    text = FULL.replace("    key: F minor\n", "    key: F minor\n    bpm: 172\n")
    only = fault(text)
    assert place_of(only) == place(text, "bpm: 172", 2)
    assert only.wrong == "'bpm' is written twice, first in line 9"


def test_of_a_key_written_twice_the_first_counts_and_the_rest_is_still_checked():
    text = FULL.replace("lead: 64 beats\n", "lead: 64 beats\nlead: {a: [1, 2]}\nleed: 3\n")
    assert [(one.code, one.line) for one in faults(text)] == [("duplicate-key", 5), ("unknown-key", 6)]


EXTRAS = [
    ("tempo: &t 174\n", "&t", "an anchor, &t"),
    ("tempo: *t\n", "*t", "an alias, *t"),
    ("tempo: !!int 174\n", "!!int", "a tag, !!int"),
    ("tempo: !bpm 174\n", "!bpm", "a tag, !bpm"),
    ("tracks: &all\n  a: 1\n", "&all", "an anchor, &all"),
    ("tracks: !!omap\n  - a: 1\n", "!!omap", "a tag, !!omap"),
    ("&k tempo: 174\n", "&k", "an anchor, &k"),
    ("!!python/object:os.system x: 1\n", "!!python", "a tag, !!python/object:os.system"),
]


@pytest.mark.parametrize(("text", "word", "wrong"), EXTRAS)
def test_anchors_aliases_and_tags_are_refused_where_they_stand(text, word, wrong):
    only = fault("recipe: 1\n" + text)
    assert only.wrong == wrong
    assert place_of(only) == place("recipe: 1\n" + text, word)


def test_an_alias_bomb_is_refused_at_its_first_anchor():
    bomb = 'a: &a ["lol","lol"]\n' + "".join(
        f"{name}: &{name} [*{last},*{last},*{last},*{last},*{last},*{last},*{last},*{last},*{last}]\n"
        for last, name in zip("abcdefgh", "bcdefghi", strict=True)
    )
    began_s = time.process_time()
    assert place_of(fault(bomb)) == (1, 4)
    assert time.process_time() - began_s < SOON_S


def test_a_merge_key_is_an_unknown_key_and_merges_nothing():
    text = FULL.replace("    gain: -1.5 dB\n", "    <<: {gain: 3 dB}\n")
    only = fault(text)
    assert (only.code, place_of(only)) == ("unknown-key", place(text, "<<"))


NESTS = [
    "[",
    "{",
    "- ",
    "? ",
    ": ",
    "a: ",
    "{a: ",
    "[{",
    "- [",
    "&a ",
    "!",
    "*",
    "|\n",
    "---\n",
    "'",
    '"',
    "%",
    ",",
]


@pytest.mark.parametrize("opening", NESTS)
def test_a_megabyte_of_nesting_is_refused_at_once(opening):
    began_s = time.process_time()
    assert fault(opening * (1_000_000 // len(opening))).code == "too-large"
    assert time.process_time() - began_s < SOON_S


@pytest.mark.parametrize("opening", NESTS)
def test_as_much_nesting_as_a_file_may_hold_is_refused_soon(opening):
    text = (opening * MAX_TEXT_BYTES)[:MAX_TEXT_BYTES]
    began_s = time.process_time()
    assert faults(text)
    assert time.process_time() - began_s < SOON_S


def test_the_deepest_nesting_allowed_is_read_and_one_more_is_not():
    def nested(levels):
        return read_tree("a: " + "[" * levels + "]" * levels + "\n")

    assert not nested(MAX_DEPTH)[1]
    assert nested(MAX_DEPTH + 1)[1][0].code == "too-deep"


def test_a_file_at_the_size_limit_is_read_and_one_byte_more_is_not():
    room = MAX_TEXT_BYTES - len(FULL.encode()) - 2
    assert faults(FULL + "#" + "x" * room + "\n") == []
    only = fault(FULL + "#" + "x" * room + "x\n")
    assert (only.code, only.line, only.column) == ("too-large", 1, 1)


def test_the_size_limit_counts_bytes():
    assert fault("#" + "é" * (MAX_TEXT_BYTES // 2)).code == "too-large"


@pytest.mark.parametrize(
    ("text", "at", "wrong"),
    [
        ("recipe: 1\n\ttitle: x\n", (2, 1), "a tab"),
        ("tracks:\n  a:\n\tfile: x\n", (3, 1), "a tab"),
        ("recipe: 1\ntitle: a: b\n", (2, 9), "no `name: value` can stand here"),
        ("recipe: 1\n title: x\n", (2, 7), "no `name: value` can stand here"),
        ("a: - b\n", (1, 4), "no entry of a list can stand here"),
        ("recipe: 1\ntitle\nlead: 3\n", (2, 1), "a line that is no `name: value`"),
        ("a: |\n b\nc\n", (3, 1), "a line that is no `name: value`"),
        ("recipe: 1\n- b\n", (2, 1), "this does not fit the lines above it"),
        (" a: 1\nb: 2\n", (2, 1), "this does not fit the lines above it"),
        ('title: "x" y\n', (1, 12), "text after the end of a value"),
        ("a: [1, 2\nb: 3\n", (2, 2), "the bracket opened in line 1 is not closed before this"),
        ("a: 1\nb: {c: 1\nd: 2\n", (3, 2), "the bracket opened in line 2 is not closed before this"),
        ('a: 1\ntitle: "x\n\n', (2, 8), "a quote that is never closed"),
        ("title: 'x\n---\n", (1, 8), "a quote that is never closed"),
        ("title: @home\n", (1, 8), "a value that begins with `@`"),
        ("title: `x`\n", (1, 8), "a value that begins with ```"),
        ("title: %x\n", (1, 8), "a value that begins with `%`"),
        ("title: & b\n", (1, 8), "a value that begins with `&` or `*`"),
        ("title: * b\n", (1, 8), "a value that begins with `&` or `*`"),
        ("title: >x\n b\n", (1, 8), "a value that begins with `|` or `>`"),
        ("title: !e!x b\n", (1, 8), "a value that begins with `!`"),
        ("title: !%ZZ b\n", (1, 8), "a value that begins with `!`"),
        ("title: ]\n", (1, 8), "a value is missing here"),
        ("title: , x\n", (1, 8), "a value is missing here"),
        ('file: "C:\\Users\\x.wav"\n', (1, 12), "a `\\` in double quotes that is no escape"),
        ('file: "C:\\new\\q.wav"\n', (1, 15), "a `\\` in double quotes that is no escape"),
        ("%YAML x\n---\na: 1\n", (1, 1), "a line that begins with `%`"),
        ("%YAML 3.0\n---\na: 1\n", (1, 1), "a line that begins with `%`"),
        ("recipe: 1\n---\nrecipe: 1\n", (2, 1), "a second document starts here"),
        ("recipe: 1\n...\n---\nrecipe: 1\n", (3, 1), "a second document starts here"),
        ("recipe: 1\ntitle: a\x07b\n", (2, 9), "a character that cannot stand in a recipe"),
        ("recipe: 1\r\ntitle: \x00\r\n", (2, 8), "a character that cannot stand in a recipe"),
        ("recipe: 1\rtitle: \x1b\r", (2, 8), "a character that cannot stand in a recipe"),
        ("title: \ud800\n", (1, 8), "a character that cannot stand in a recipe"),
        ("title: caf\udce9\n", (1, 11), "a character that cannot stand in a recipe"),
        ('title: "\\UFFFFFFFF"\n', (1, 9), "a character that cannot stand in a recipe"),
        ('title: "\\U00110000"\n', (1, 9), "a character that cannot stand in a recipe"),
    ],
)
def test_text_that_is_no_yaml_is_told_in_plain_words_where_it_is(text, at, wrong):
    only = fault(text)
    assert (place_of(only), only.wrong) == (at, wrong)
    assert only.right


@pytest.mark.parametrize(
    "escape",
    ["\\a", "\\e[31m", "\\0", "\\x7f", "\\u2028", "\\N", "\\ud83d\\ude00", "\\u202e", "\u202e", "\u2066"],
)
def test_a_control_character_smuggled_in_as_an_escape_is_refused_and_not_shown(escape):
    text = FULL.replace("Lanterns over Ironworks", f'"Lanterns{escape}"')
    only = fault(text)
    assert (only.code, place_of(only)) == ("character", place(text, '"Lanterns'))
    text = FULL.replace("to: loop", f'to: "lo{escape}p"')
    assert all(str(one).isprintable() for one in faults(text))


@pytest.mark.parametrize(
    ("text", "at"),
    [
        ("? [a, b]\n: 1\ntail: 3\n", (1, 3)),
        ("? {a: b}\n: 1\ntail: 3\n", (1, 3)),
        ("recipe: 1\n: 1\ntail: 3\n", (2, 1)),
        ("recipe: 1\n'': 1\ntail: 3\n", (2, 1)),
        ('recipe: 1\n"a\\nb": 1\ntail: 3\n', (2, 1)),
        ('recipe: 1\n" a": 1\ntail: 3\n', (2, 1)),
        ('recipe: 1\n"a\\e": 1\ntail: 3\n', (2, 1)),
        ("{[a]: 1, tail: 3}\n", (1, 2)),
    ],
)
def test_a_key_that_is_no_word_is_refused_and_the_rest_read_on(text, at):
    tree, problems = read_tree(text)
    assert [(problem.code, problem.place) for problem in problems] == [("bad-key", at)]
    assert tree.data["tail"] == 3


@pytest.mark.parametrize("nothing", ["", " ", "   # later", "\n\n"])
def test_a_key_without_a_value_is_placed_where_it_stands_itself(nothing):
    tree, _ = read_tree(f"a: 1\ntitle:{nothing}\ntail: 3\n")
    assert tree.data == {"a": 1, "title": None, "tail": 3}
    assert tree.values["title",] == tree.keys["title",] == (2, 1)


def test_numbers_and_truths_can_be_keys_by_their_spelling():
    assert read_tree("174: a\ntrue: b\nnull: c\n1:32: d\n")[0].data == {
        "174": "a",
        "true": "b",
        "null": "c",
        "1:32": "d",
    }


@pytest.mark.parametrize("encoding", ["latin-1", "utf-16", "cp437"])
@given(data=st.binary(max_size=200))
def test_bytes_that_are_no_yaml_are_refused_without_an_exception(encoding, data):
    """Whatever somebody calls .yaml, decoded in the wrong way."""
    for found in faults(data.decode(encoding, "replace")):
        assert found.line >= 1


@given(st.binary(max_size=200))
def test_bytes_that_are_no_utf_8_are_refused_without_an_exception(data):
    assert faults(data.decode("utf-8", "surrogateescape"))


@given(st.text())
def test_a_message_repeats_a_text_on_one_line_of_bounded_length(text):
    short = shortened(text)
    assert len(short) <= 48
    assert len(short.splitlines()) <= 1
    assert short == " ".join(text.split()) or short.endswith("…")
