"""The whole format is read as meant: every key, every default, and the variants."""

import time

import pytest
from written import FILE, FULL, LEAST, changed, faults, readings, recipe

from render.facts import Fact, Recording
from render.recipe.known import time_in_record, track_facts
from render.recipe.nodes import MAX_TEXT_BYTES
from render.recipe.positions import AtBar, AtMarker, AtTime, ClipPosition, TrackPosition
from render.recipe.quantities import Length
from render.recipe.reader import read
from render.recipe.references import MAX_VARIANTS
from render.values import Grid
from tests.cases import first_of


def test_the_head_of_a_recipe_is_read():
    full = recipe(FULL)
    assert (full.recipe, full.title, full.tempo) == (1, "Lanterns over Ironworks", 174.0)
    assert (full.lead, full.tail) == (Length(64.0, "beats"), Length(16.0, "bars"))
    assert list(full.tracks) == ["lanterns", "ironworks", "wickergauge"]


def test_the_facts_of_a_track_are_read():
    lanterns = recipe(FULL).tracks["lanterns"]
    assert lanterns.file == "../records/lanterns.flac"
    assert (lanterns.bpm, lanterns.first_beat, lanterns.beats_per_bar) == (172.0, 0.312, 4)
    assert (lanterns.key, lanterns.offset) == ("F minor", 25.0)
    assert lanterns.markers == {
        "drop": TrackPosition(AtTime(89.614), Length(0.0, "beats"), "1:29.614"),
        "loop": TrackPosition(AtMarker("drop"), Length(-128.0, "beats"), "drop - 128 beats"),
    }
    ironworks = recipe(FULL).tracks["ironworks"]
    assert (ironworks.bpm, ironworks.first_beat) == (174.5, 0.2488)
    assert ironworks.markers["drop"].base == AtBar(65, 1.0)


def test_what_a_track_does_in_the_clip_is_read():
    lanterns = recipe(FULL).tracks["lanterns"]
    assert (lanterns.gain, lanterns.pitch) == (-1.5, 1.0)
    assert lanterns.enter == ClipPosition("landing", Length(-32.0, "beats"), "landing - 32 beats")
    assert lanterns.leave == ClipPosition("end", Length(-4.0, "beats"), "end - 4 beats")
    assert (lanterns.fade_in, lanterns.fade_out) == (Length(8.0, "beats"), Length(2.0, "bars"))


def test_low_cut_jumps_and_the_clip_are_read():
    full = recipe(FULL)
    assert full.low_cut is not None
    assert full.low_cut.below == 120.0
    assert [(keep.from_.written, keep.track) for keep in full.low_cut.keep] == [
        ("start", ("lanterns",)),
        ("landing", ("ironworks",)),
    ]
    (jump,) = full.jump_back
    assert (jump.track, jump.at.written, jump.to.base, jump.loop) == (
        "lanterns",
        "landing",
        AtMarker("loop"),
        Length(32.0, "beats"),
    )
    assert (full.clip.format, full.clip.ceiling) == ("opus", -1.5)


def test_what_is_left_out_has_the_documented_default():
    least = recipe(LEAST)
    assert (least.tempo, least.low_cut, least.jump_back, least.try_) == (None, None, (), {})
    assert (least.lead, least.tail) == (Length(64.0, "beats"), Length(64.0, "beats"))
    assert (least.clip.format, least.clip.ceiling) == ("mp3", -1.0)
    one = least.tracks["one"]
    assert (one.beats_per_bar, one.key, one.offset, one.gain, one.pitch) == (4, None, 0.0, 0.0, 0.0)
    assert (one.enter, one.leave) == (None, None)
    assert (one.fade_in, one.fade_out) == (Length(0.0, "beats"), Length(0.0, "beats"))
    keep = recipe(LEAST + "low_cut: {keep: [{from: start, track: one}]}\n").low_cut
    assert keep is not None
    assert keep.below == 150.0
    jump = recipe(LEAST + "jump_back: [{track: one, at: landing, to: 0:30}]\n").jump_back[0]
    assert (jump.loop, jump.to.base) == (None, AtTime(30.0))


@pytest.mark.parametrize(
    "key",
    ["tempo", "lead", "tail", "low_cut", "jump_back", "try", "clip"],
)
def test_a_key_with_nothing_behind_it_is_left_out(key):
    assert recipe(f"{LEAST}{key}:\n") == recipe(LEAST)
    assert recipe(f"{LEAST}{key}: null\n") == recipe(LEAST)


@pytest.mark.parametrize("key", ["key", "offset", "gain", "pitch", "enter", "leave", "fade_in", "fade_out"])
def test_a_tracks_key_with_nothing_behind_it_is_left_out(key):
    assert recipe(changed("bpm: 170,", f"bpm: 170, {key}: ,", LEAST)) == recipe(LEAST)


@pytest.mark.parametrize("track", ["all", "none", "lanterns", "[lanterns, ironworks]", "[ironworks]"])
def test_the_low_end_is_kept_by_one_by_some_by_all_or_by_none(track):
    kept = recipe(changed("track:\n        - ironworks", f"track: {track}")).low_cut
    assert kept is not None
    assert kept.keep[1].track == tuple(track.strip("[]").split(", "))


@pytest.mark.parametrize(("written", "tempo"), [("174", 174.0), ("171.5", 171.5), ("ironworks", "ironworks")])
def test_the_tempo_is_a_number_or_a_track(written, tempo):
    assert recipe(changed("tempo: 174\n", f"tempo: {written}\n")).tempo == tempo


@pytest.mark.parametrize("form", ["mp3", "opus", "flac", "wav"])
def test_every_format_can_be_asked_for(form):
    assert recipe(changed("format: opus", f"format: {form}")).clip.format == form


@pytest.mark.parametrize(
    "file",
    [
        "a.flac",
        "Sub folder/02 – Über  Nacht −1 (mix).mp3",
        "~/records/a.wav",
        "C:\\records\\a.wav",
        " a.wav",
        "#1.wav",
    ],
)
def test_a_files_name_is_kept_to_the_letter(file):
    written = changed("file: ../records/lanterns.flac", f"file: '{file}'")
    assert recipe(written).tracks["lanterns"].file == file


@pytest.mark.parametrize(
    ("written", "title"),
    [
        ("no", "no"),
        ("2:30", "2:30"),
        ("'007'", "007"),
        ('"a: b"', "a: b"),
        ("|\n  a\n  b", "a b"),
        ("ÆØÅ 🥁", "ÆØÅ 🥁"),
    ],
)
def test_a_title_is_any_text_on_one_line(written, title):
    assert recipe(changed("title: Lanterns over Ironworks", f"title: {written}")).title == title


def test_yaml_in_its_flow_style_means_the_same():
    flow = LEAST.replace("one: {file: one.wav, bpm: 170, first_beat: 0 s, markers: {drop: 60 s}}", "one: ONE")
    block = flow.replace(
        "one: ONE",
        "one:\n    file: one.wav\n    bpm: 170\n    first_beat: 0 s\n    markers:\n      drop: 60 s",
    )
    assert recipe(block) == recipe(LEAST)


def test_the_recipe_as_written_comes_first_and_then_its_variants_in_order():
    assert [(reading.file, reading.variant) for reading in read(FULL, FILE)] == [
        (FILE, ""),
        (FILE, "both-drop"),
        (FILE, "short"),
    ]


def test_a_variant_changes_what_it_names_and_nothing_else():
    full, both, short = recipe(FULL), recipe(FULL, "both-drop"), recipe(FULL, "short")
    assert both.jump_back == ()
    assert both == full.model_copy(update={"jump_back": (), "try_": {}})
    assert (short.lead, short.tail) == (Length(32.0, "beats"), Length(32.0, "beats"))
    assert short == full.model_copy(update={"lead": short.lead, "tail": short.tail, "try_": {}})


def test_a_variant_reaches_into_a_track():
    variant = "  later: {tracks: {lanterns: {markers: {drop: 2:00}, gain: null}}}\n"
    later = recipe(changed("try:\n", "try:\n" + variant), "later").tracks["lanterns"]
    assert later.markers["drop"].base == AtTime(120.0)
    assert later.markers["loop"].base == AtMarker("drop")
    assert (later.gain, later.bpm) == (0.0, 172.0)


def test_a_variant_can_bring_in_a_track_and_take_one_out():
    variant = (
        "  other: {tempo: third, low_cut: null, jump_back: null, tracks: {lanterns: null, "
        "third: {file: c.wav, bpm: 174, first_beat: 0, markers: {drop: 60}}}}\n"
    )
    assert list(recipe(changed("try:\n", "try:\n" + variant), "other").tracks) == [
        "ironworks",
        "wickergauge",
        "third",
    ]


def test_a_variant_replaces_a_list_as_a_whole():
    variant = "  again: {jump_back: [{track: ironworks, at: landing, to: 0:10, loop: null}]}\n"
    (jump,) = recipe(changed("try:\n", "try:\n" + variant), "again").jump_back
    assert (jump.track, jump.loop) == ("ironworks", None)


def test_a_variant_without_changes_is_the_recipe_again():
    assert recipe(changed("try:\n", "try:\n  same: {}\n"), "same") == recipe(FULL).model_copy(
        update={"try_": {}}
    )


def test_a_recipe_cannot_be_changed_after_reading():
    full = recipe(FULL)
    with pytest.raises(ValueError, match="frozen"):
        full.title = "Other"  # type: ignore[misc]


def test_the_stated_facts_come_with_their_origin():
    recording = Recording("lanterns.flac", "FLAC", 44_100, 2, 44_100 * 240, 1)
    facts = track_facts(recipe(FULL), "lanterns", recording)
    # 25 ms of offset are added to all of the track's times.
    assert facts.first_beat_s.value == pytest.approx(0.337, abs=1e-12)
    assert facts.drop_s.value == pytest.approx(89.639, abs=1e-12)
    assert (facts.tempo_bpm, facts.beats_per_bar, facts.key) == (Fact(172.0), Fact(4), Fact("F minor"))
    bare = track_facts(recipe(LEAST), "one", recording)
    assert (bare.beats_per_bar, bare.key) == (Fact(4, "assumed"), None)


def test_a_position_in_the_recording_counts_from_its_markers():
    track = recipe(FULL).tracks["lanterns"]
    grid = Grid(0.312 + 0.025, 172.0)
    # 128 beats at 172 BPM before 89.614 s, and 25 ms of offset: 89.614 − 128 · 60 / 172 + 0.025.
    expected_s = 89.614 - 128 * 60 / 172 + 0.025
    assert time_in_record(track, track.markers["loop"], grid) == pytest.approx(expected_s, abs=1e-9)


def test_what_is_whole_can_be_planned_beside_what_is_broken():
    reading = readings(changed("bpm: 172\n", "bpm: fast\n"))[""]
    assert reading.plannable
    assert not reading.is_whole("lanterns")
    assert reading.is_whole("ironworks")
    broken = readings(changed("lead: 64 beats\n", "lead: 64\n"))[""]
    assert broken.recipe is not None
    assert not broken.plannable
    assert broken.is_whole("lanterns")
    assert readings(changed("ceiling: -1.5 dBTP", "ceiling: -1.5"))[""].plannable


def test_as_many_variants_as_are_allowed_are_read():
    def text(count: int) -> str:
        return LEAST + "try:\n" + "".join(f"  v{index}: {{}}\n" for index in range(count))

    assert len(read(text(MAX_VARIANTS), FILE)) == 1 + MAX_VARIANTS
    assert len(read(text(MAX_VARIANTS + 1), FILE)) == 1 + MAX_VARIANTS
    assert [one.code for one in faults(text(MAX_VARIANTS + 1))] == ["too-many"]


LARGE_S = 15.0
"""A file at the size limit takes a second on an idle core; what grows with its square takes many minutes."""


LARGE = {
    "chain": lambda n: [f"      m{i}: m{i - 1} + 1 beat" for i in range(n)],
    "chain upwards": lambda n: [f"      m{i}: m{i + 1} + 1 beat" for i in range(n)],
    "circle": lambda n: [f"      m{i}: m{(i + 1) % n}" for i in range(n)],
    "misspelt": lambda n: [f"      m{i}: drip" for i in range(n)],
    "variants": lambda n: [
        *(f"      m{i}: 1" for i in range(n // 2)),
        "try:",
        *(f"  v{i}: {{}}" for i in range(n // 2)),
    ],
    "broken variants": lambda n: [
        *(f"      m{i}: drip" for i in range(n // 2)),
        "try:",
        *(f"  v{i}: {{leed: 1}}" for i in range(n // 2)),
    ],
    "jumps": lambda n: [
        *(f"      m{i}: 1" for i in range(n // 2)),
        "jump_back:",
        *(f"  - {{track: long, at: landing, to: n{i}}}" for i in range(n // 2)),
    ],
}
"""The lines of the largest recipes, `n` of them, from the markers of a track on."""


@pytest.mark.parametrize("name", first_of(["circle", "broken variants", "jumps"], LARGE))
def test_the_largest_recipes_are_read_soon(name):
    head = (
        LEAST + "  long:\n    file: a.wav\n    bpm: 174\n    first_beat: 0\n    markers:\n      drop: 1:00\n"
    )
    text = head + "\n".join(LARGE[name](3000))
    text = text[: MAX_TEXT_BYTES - 1].rsplit("\n", 1)[0] + "\n"
    began_s = time.process_time()
    faults(text)
    assert time.process_time() - began_s < LARGE_S
