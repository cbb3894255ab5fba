"""The stage card says what a plan does, in numbers that somebody can set and in words that cannot do anything else."""

import re
import shutil
import subprocess
from collections import Counter
from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pictures import FOUR, RECIPES, SHORT, TWO, planned
from test_picture_words import every_hostile_text

from render.plan.build import plan_clip
from render.publish.card.contents import Levels, card_of, levels_of
from render.publish.card.numbers import bar_and_beat, percent, tempo
from render.publish.card.sheet import card_html, card_text
from render.recipe.reader import read
from render.values import Grid

every_recipe = pytest.mark.parametrize("recipe", RECIPES.values(), ids=RECIPES.keys())


def text_of(recipe: str, levels: Levels | None = None) -> str:
    return card_text(card_of(*planned(recipe), levels))


def cells(text: str) -> list[list[str]]:
    """The lines of a card, cut where columns end."""
    return [re.split(r" {2,}", line.strip()) for line in text.splitlines()]


# By hand. 174/172 is 1.011628, 174/175.5 is 0.991453. 64 beats of 60/172 s before 1:29.614 is 1:07.288, on bar 49 as
# the drop lies (89.614 - 0.312) · 172/60 = 256.00 beats in; 128 beats before it is 0:44.963. Ironworks starts 32 beats
# of 60/175.5 s before 1:40, at 1:29.060. 12·log2 of the two ratios is +0.200 and -0.149 semitones.
# -0.8547 % in two decimals would be off by 0.0047 % of 128 beats (44.1 s), which is 2.07 ms.
CARD = """\
Lanterns over Ironworks
174 BPM, 4 beats to the bar: 64 beats to the landing, 96 beats after it
headroom to leave: 4.2 dB

lanterns: made-up.flac
  tempo +1.16 %, from 172 to 174 BPM
  start                49.1  1:07.288
  drop                 65.1  1:29.614
  loop, loop 32 beats  33.1  0:44.963
  pitch kept in the preview; +0.20 semitones without pitch-keeping
  level -1.5 dB in the preview

ironworks: made-up.flac
  tempo -0.855 %, from 175.5 to 174 BPM
  start  65.4 + 0.04  1:29.060
  drop   73.4 + 0.04  1:40.000
  pitch shifted +1 semitone in the preview; without that -0.15 with the tempo, or as recorded
  level -3.2 dB in the preview

  beats  bars  record     what to do, counted from the landing                                bar.beat     in its file
  -64    -16   lanterns   start                                                               49.1         1:07.288
  -32    -8    ironworks  start, low end down, fade in for 8 beats, when lanterns is at 57.1  65.4 + 0.04  1:29.060
  0      0     ironworks  DROP
  0      0     lanterns   jump back to loop, loop 32 beats                                    33.1         0:44.963
  0      0                low end from lanterns to ironworks
  +96    +24              the preview ends

keys: not known of ironworks
low end down: in the preview everything below 150 Hz is taken out
ironworks drops +13 ms off its own grid; the drop lands, its beats do not"""


def test_the_card_says_what_to_set_and_what_to_do() -> None:
    assert text_of(TWO, Levels(4.13, {"lanterns": -1.5, "ironworks": -3.2})) == CARD


def test_headroom_is_not_claimed_where_nothing_was_measured() -> None:
    text = text_of(TWO)
    assert "headroom to leave: not known yet, as the clip has not been rendered" in text
    assert "  level as loud as the others, then -1.5 dB\n" in text
    assert "headroom to leave: none," in text_of(SHORT, Levels(-0.4, {"flint": 0.0, "steel": 0.0}))


@pytest.mark.parametrize("headroom", [None, "much", float("nan")])
def test_a_receipt_without_levels_gives_none(headroom: object) -> None:
    plan, _ = planned(SHORT)
    tracks = [{"name": "flint", "gain_db": 0.0}, {"name": "steel", "gain_db": -1.0}]
    assert levels_of({"headroom_needed_db": 2, "tracks": tracks}, plan) == Levels(
        2.0, {"flint": 0.0, "steel": -1.0}
    )
    assert levels_of({"headroom_needed_db": headroom, "tracks": tracks}, plan) is None
    assert levels_of({"headroom_needed_db": 2.0, "tracks": tracks[:1]}, plan) is None


def test_half_and_double_time_are_told_in_the_record_s_own_beats() -> None:
    """A loop of 16 of the clip's beats at 87 BPM is one of 32 at 174."""
    half = TWO.replace("tempo: 174", "tempo: 87").replace("loop: 32 beats", "loop: 16 beats")
    half = half.replace("lead: 64", "lead: 32").replace("tail: 96", "tail: 48")
    text = text_of(half)
    assert "  tempo +1.16 %, from 172 to 174 BPM" in text
    assert "twice as fast: 2 beats of its own pass in one of the count" in text
    assert ["0", "0", "lanterns", "jump back to loop, loop 32 beats", "33.1", "0:44.963"] in cells(text)
    assert "half as fast: 2 beats of the count pass in one of its own" in text_of(FOUR)


def test_the_low_end_is_told_as_it_passes_from_hand_to_hand() -> None:
    rows = [row for row in cells(text_of(FOUR)) if "low end" in " ".join(row)]
    assert [row[:4] for row in rows[:-1]] == [
        ["-256", "-64", "half", "start, low end down"],
        ["-256", "-64", "ash", "start, low end down"],
        ["-128", "-32", "glaze", "start, low end down, fade in for 64 beats, when ember is at 75.4 + 0.13"],
        ["-8", "-2", "ember", "low end down, nobody has it now"],
        ["0", "0", "low end up: glaze and ash"],
    ]
    assert "in the preview every record keeps its low end" in text_of(SHORT)


def test_fades_and_leaving_are_told() -> None:
    rows = [row[:4] for row in cells(text_of(FOUR))]
    assert ["+224", "+56", "half", "fade out for 32 beats"] in rows
    assert ["+192", "+48", "ash", "stop"] in rows


def test_two_places_never_go_by_the_same_name() -> None:
    """Glaze jumps back to its drop at beat +250, keeping its place in the bar: it comes out two beats after it."""
    text = text_of(FOUR)
    assert ["drop (2)", "118.2 + 0.5", "2:45.706"] in cells(text)
    assert "jump back to drop (2)" in text


def test_keys_are_told_as_they_sound_and_as_they_are_without_shifting() -> None:
    """E minor and F minor share G, C and nothing else: E F# G A B C D and F G Ab Bb C Db Eb."""
    in_e = TWO.replace("pitch: +1 semitone", "pitch: +1 semitone\n    key: E minor")
    text = text_of(in_e)
    assert "keys: lanterns in F minor over ironworks in F minor: the same key" in text
    assert (
        "keys: without shifting, lanterns in F minor over ironworks in E minor: 2 of 7 notes in common"
        in text
    )
    # 174/170 is 1.02353: 0.403 semitones.
    follows = in_e.replace("+1 semitone", "follow").replace("bpm: 175.5", "bpm: 170")
    told = text_of(follows)
    assert "pitch follows the tempo, +0.40 semitones: switch pitch-keeping off" in told
    assert "keys: ironworks, E minor as recorded, sounds between two keys" in told


def test_a_drifting_record_is_told_to_drift_and_by_how_much() -> None:
    """Beats of 0.5 s before the drop and of 0.49 s after it, under a clip of 120 BPM: 0 and -2 %, 120 and 122.4 BPM.

    Set to the mean, -1 %, it is 8 beats · 0.5 s · 1 % = 40 ms off at the landing.
    """
    plan_text = SHORT.replace("drop: bar 17", "drop: 32 s")
    _, facts = planned(plan_text)
    beats_s = tuple(0.5 * beat if beat <= 64 else 32 + 0.49 * (beat - 64) for beat in range(200))
    drifting = {**facts, "flint": replace(facts["flint"], beats_s=beats_s)}
    [reading] = read(plan_text, "night.yaml")
    assert reading.recipe is not None
    text = card_text(card_of(plan_clip(reading.recipe, drifting, "night"), drifting))
    assert (
        "its tempo drifts, 120.0 to 122.4 BPM: ride it between -2.0 and +0.0 %; left alone it comes to be 40 ms off"
        in text
    )
    assert "  tempo -1.00 %" in text


def drift_s(written: str, speed: float, span_s: float) -> float:
    return abs((1 + float(written) / 100) - speed) * span_s


@given(st.floats(0.84, 1.16), st.floats(1.0, 900.0))
def test_a_tempo_change_set_as_written_drifts_two_milliseconds_at_the_most(
    speed: float, span_s: float
) -> None:
    written = percent(speed, span_s)
    assert re.fullmatch(r"[+-]\d+\.\d{2,6}", written)
    assert drift_s(written, speed, span_s) <= 0.002


@given(st.floats(0.84, 1.16), st.floats(1.0, 900.0))
def test_a_tempo_change_has_no_more_decimals_than_it_needs(speed: float, span_s: float) -> None:
    decimals = len(percent(speed, span_s).partition(".")[2])
    if decimals > 2:
        assert drift_s(f"{(speed - 1) * 100:.{decimals - 1}f}", speed, span_s) > 0.0019


@given(st.floats(40.0, 250.0), st.floats(1.0, 900.0))
def test_beats_counted_by_a_written_tempo_stay_within_half_a_millisecond(bpm: float, span_s: float) -> None:
    assert abs(float(tempo(bpm, span_s)) / bpm - 1) * span_s <= 0.0005 + 1e-9


def test_places_are_written_as_bars_and_beats() -> None:
    grid = Grid(1.0, 120.0)
    assert [bar_and_beat(grid, s) for s in (1.0, 1.5, 3.0, 3.001, 3.25, 0.0)] == [
        *("1.1", "1.2", "2.1", "2.1", "2.1 + 0.5"),
        "bar 1 - 2",
    ]
    assert bar_and_beat(Grid(0.0, 120.0, 3), 1.5) == "2.1"


def test_the_landing_stands_on_the_card_also_where_nobody_drops() -> None:
    both = TWO + "  - {track: ironworks, at: landing, to: drop - 64 beats}\n"
    assert ["0", "0", "the landing"] in cells(text_of(both))


# --- on paper ---


class Seen(HTMLParser):
    """The tags of a page, and the words in its body."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.words: list[str] = []
        self.feed(page)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))

    def handle_data(self, data: str) -> None:
        if "body" in [tag for tag, _ in self.tags]:
            self.words += data.replace("\N{MINUS SIGN}", "-").split()


@every_recipe
def test_paper_says_what_the_text_says(recipe: str) -> None:
    card = card_of(*planned(recipe))
    text = card_text(card).replace(": made-up.flac", " made-up.flac")
    assert Counter(Seen(card_html(card)).words) == Counter(text.split())


INKLESS = {"solid", "collapse"}
"""What else the style sheet says of borders in words."""


def colours_of(page: str) -> set[str]:
    """The colours of the style sheet: by #, by a function or by name, as CSS Color Module Level 4 writes them."""
    [sheet] = re.findall(r"<style>(.*)</style>", page, re.DOTALL)
    values = re.findall(r"(?:color|background|border[a-z-]*|outline|fill|stroke|shadow): *([^;}]*)", sheet)
    words = re.findall(r"#[0-9a-f]+|[a-z-]+\(|(?<![\w.#])[a-z][a-z-]*", " ".join(values))
    return set(words) - INKLESS


@every_recipe
def test_the_card_is_black_on_white_and_nothing_else(recipe: str) -> None:
    page = card_html(card_of(*planned(recipe)))
    assert colours_of(page) == {"#fff", "#000"}
    assert not re.search(r'\b(color|bgcolor|style)="(?!width: [\d.]+em")', page)
    assert not re.search(r"rgb|hsl|color-mix|gradient|opacity|filter|<svg|<img|url\(", page)


@every_hostile_text
def test_no_text_can_do_anything_but_be_read(text: str) -> None:
    plan, facts = planned(TWO)
    name = text.replace("\ud800", "")
    hostile = replace(
        plan, title=text, lanes=tuple(replace(lane, track=lane.track + name) for lane in plan.lanes)
    )
    known = {
        track + name: replace(one, name=track + name, recording=replace(one.recording, path=name))
        for track, one in facts.items()
    }
    seen = Seen(card_html(card_of(hostile, known)))
    plain = Seen(card_html(card_of(plan, facts)))
    assert [tag for tag, _ in seen.tags] == [tag for tag, _ in plain.tags]
    assert not any(key.startswith("on") or key in ("src", "href") for _, attrs in seen.tags for key in attrs)
    assert "\n" not in card_text(card_of(replace(plan, title=text), facts)).split("\n174 BPM")[0]


LONG = (
    FOUR.replace("Four kilns, one night", "Four kilns, one very long night " * 9)
    .replace("ember", "lanterns-over-the-long-harbour-wall-and-the-last-ferry-home-dubp")
    .replace("half", "ironworks-at-the-end-of-the-longest-winter-anybody-remembers")
    .replace("glaze", "w" * 64)
)


@pytest.mark.slow
@pytest.mark.skipif(not shutil.which("chromium"), reason="needs chromium to print")
@pytest.mark.parametrize("paper", ["A4", "letter"])
@pytest.mark.parametrize("recipe", [TWO, FOUR, LONG, SHORT], ids=["two", "four", "long names", "short"])
def test_the_card_is_one_page(tmp_path: Path, recipe: str, paper: str) -> None:
    plan, facts = planned(recipe)
    long_file = "a record with a long name, and what somebody made of it later " * 3
    facts = {
        name: replace(one, recording=replace(one.recording, path=long_file)) for name, one in facts.items()
    }
    page, printed = tmp_path / "card.html", tmp_path / "card.pdf"
    html = card_html(card_of(plan, facts))
    page.write_text(html.replace("@page {", f"@page {{ size: {paper};"), encoding="utf-8")
    command = ["chromium", "--headless", "--no-sandbox", "--disable-gpu", "--no-pdf-header-footer"]
    command += [f"--user-data-dir={tmp_path / 'profile'}", f"--print-to-pdf={printed}", page.as_uri()]
    subprocess.run(command, check=True, capture_output=True, timeout=120)
    # ISO 32000-1, 7.7.3.3: each page is a dictionary whose Type is Page.
    assert len(re.findall(rb"/Type\s*/Page\b", printed.read_bytes())) == 1
