"""A draft from heard facts: it is a valid recipe whatever was heard, and decides as a performer would begin.

What a performer does is common practice where nothing else is said.
"""

import re
from dataclasses import replace

import pytest
from drafts import any_record, drafted, facts, plans_of, readings_of
from hypothesis import HealthCheck, assume, example, given, settings
from hypothesis import strategies as st
from ruamel.yaml import YAML

from render.faults import SourceError, UsageError
from render.publish.draft import Heard, draft, unfit
from render.publish.drafting.choice import patch_between
from render.recipe.patch import merge_patch


def data_of(text: str) -> dict:
    return YAML(typ="safe", pure=True).load(text)


@settings(suppress_health_check=[HealthCheck.too_slow])
@given(st.lists(any_record(), min_size=2, max_size=4))
def test_whatever_was_heard_the_draft_and_all_its_variants_can_be_carried_out(heard):
    records = [facts(**one) for one in heard]
    try:
        text = draft([Heard(f"record {place}.flac", one) for place, one in enumerate(records)])
    except UsageError:
        assume(False)
    plans = plans_of(text, records)
    assert set(plans) == {"", *data_of(text)["try"]}
    for plan in plans.values():
        assert all(
            not reason.code.startswith(("record-ends", "off-grid")) or plan.variant for reason in plan.reasons
        )


@given(any_record())
def test_every_beat_stays_within_half_a_millisecond_of_where_it_was_heard(heard):
    """Half of what a deck's display shows."""
    one = facts(**heard)
    assume(not one.by_bars.grid.grid.beats_s)
    track = data_of(drafted(one=one, two=replace(one)))["tracks"]["one"]
    first_beat_s, heard = float(track["first_beat"].split()[0]), one.by_bars.grid.grid
    for bar in (1, len(one.by_bars.bars.voiced)):
        beat = heard.beat_of_bar(bar)
        assert first_beat_s + beat * 60 / track["bpm"] == pytest.approx(heard.time_s(beat), abs=0.0006)


def test_a_tempo_is_written_with_no_more_digits_than_it_needs():
    data = data_of(drafted(one=facts(171.99981), two=facts(136.8 * 1.25 + 0.0003)))
    assert [track["bpm"] for track in data["tracks"].values()] == [172, 171]


def test_both_drops_land_where_they_were_heard():
    one, two = facts(174.0), facts(172.0, drop_bars=(65,))
    plan = plans_of(drafted(one=one, two=two), [one, two])[""]
    for lane, heard in zip(plan.lanes, (one, two), strict=True):
        passage = lane.passages[0]
        at_landing_s = passage.source_start_frames / 44_100 + 64 * 60 / plan.clock.tempo_bpm * passage.speed
        assert at_landing_s == pytest.approx(heard.by_bars.drops[0].at_s, abs=0.0005)


def test_a_drop_that_is_late_on_its_grid_is_written_as_a_time():
    text = drafted(one=facts(174.0, late_s=0.004), two=facts(174.0))
    assert "drop: 1:06.461 " in text  # 0.25 s + 192 beats of 60/174 s + 4 ms
    assert "drop: bar 49 " in text


# tempo


def test_the_record_that_lets_the_others_change_least_gives_the_tempo():
    data = data_of(drafted(slow=facts(170.0), middle=facts(172.0), fast=facts(176.0)))
    assert data["tempo"] == "middle"


def test_of_two_records_the_one_with_the_voice_is_not_stretched():
    data = data_of(drafted(drums=facts(176.0, tonal_weight=0.9), sung=facts(172.0, voiced=[(9, 24)])))
    assert data["tempo"] == "sung"


def test_half_time_is_folded_and_the_clip_counts_as_the_fast_record():
    text = drafted(slow=facts(87.0, tonal_weight=0.9), fast=facts(172.0))
    assert data_of(text)["tempo"] == 174
    assert "counted in double time, not stretched" in text


def test_records_within_reach_only_from_between_meet_there_and_say_so():
    text = drafted(one=facts(125.0), two=facts(150.0))
    assert data_of(text)["tempo"] == pytest.approx((125 * 150) ** 0.5, abs=0.005)
    assert text.count("beyond ±6 %: it will sound changed") == 2


def test_records_too_far_apart_are_refused_in_one_line():
    """120 and 165 BPM are 37 % apart: half-way, one runs 17 % faster; 60 and 82.5 are as far, 240 is farther."""
    with pytest.raises(UsageError) as refused:
        drafted(one=facts(120.0), two=facts(165.0))
    assert str(refused.value) == (
        "one.flac and two.flac: 120.00 and 165.00 BPM do not meet within ±16 %; "
        "layer records whose tempi are nearer; half and double time were tried"
    )


# how long, and from where


def test_the_clip_is_64_beats_on_either_side_where_all_records_have_them():
    data = data_of(drafted(one=facts(), two=facts()))
    assert (data["lead"], data["tail"]) == ("64 beats", "64 beats")


def test_the_lead_is_32_beats_where_a_record_has_no_64():
    text = drafted(one=facts(), two=facts(drop_bars=(11,)))
    assert data_of(text)["lead"] == "32 beats"
    assert "# two has no 64 before its drop, but 40 beats" in text


def test_a_record_with_less_than_32_beats_before_its_drop_enters_late():
    text = drafted(one=facts(), two=facts(drop_bars=(6,)))
    data = data_of(text)
    assert data["lead"] == "32 beats"
    assert data["tracks"]["two"]["enter"] == "landing - 16 beats"
    assert "enter" not in data["tracks"]["one"]


def test_a_record_that_is_over_early_leaves_and_hands_its_low_end_on():
    data = data_of(drafted(one=facts(), short=facts(bars=58, low_after=0.9)))
    assert data["tracks"]["short"]["leave"] == "landing + 40 beats"
    assert data["low_cut"]["keep"] == [
        {"from": "start", "track": "one"},
        {"from": "landing", "track": "short"},
        {"from": "landing + 40 beats", "track": "one"},
    ]


# the low end


def keepers(text: str) -> list[tuple[str, str]]:
    return [(keep["from"], keep["track"]) for keep in data_of(text)["low_cut"]["keep"]]


def test_the_bass_of_the_build_leads_in_and_the_stronger_bass_takes_over_at_the_landing():
    text = drafted(lead=facts(low_before=0.4, low_after=0.3), drop=facts(low_before=0.05, low_after=0.6))
    assert keepers(text) == [("start", "lead"), ("landing", "drop")]
    assert "# more low end on the way in, by 9 dB" in text  # 10·log10(0.4 / 0.05) = 9.03
    assert "# the stronger low end after its drop, by 3 dB" in text  # 10·log10(0.6 / 0.3) = 3.01


def test_where_no_build_has_a_bass_the_lows_are_swapped_at_the_landing():
    assert keepers(drafted(one=facts(low_after=0.6), two=facts())) == [("start", "two"), ("landing", "one")]


def test_low_ends_as_strong_as_each_other_are_a_close_call():
    text = drafted(one=facts(low_after=0.5), two=facts(low_after=0.55))
    assert "# close call: one has as much low end" in text


def test_the_other_keeper_is_a_variant():
    text = drafted(one=facts(low_after=0.6), two=facts())
    patch = data_of(text)["try"]["other-keeper"]
    assert patch == {"low_cut": {"keep": [{"from": "start", "track": "two"}]}}


# jumping back


def test_a_stripped_passage_is_marked_and_jumping_back_to_it_is_a_variant():
    data = data_of(drafted(one=facts(drums=[(17, 16)]), two=facts()))
    assert data["tracks"]["one"]["markers"]["drums"] == "bar 17"
    assert data["try"]["one-gives-way"]["jump_back"] == [
        {"track": "one", "at": "landing", "to": "drums", "loop": "32 beats"}
    ]
    assert "jump_back" not in data


def test_who_gives_way_does_not_keep_the_low_end():
    data = data_of(drafted(one=facts(drums=[(17, 16)], low_after=0.7, low_before=0.5), two=facts()))
    assert data["try"]["one-gives-way"]["low_cut"]["keep"][-1] == {"from": "landing", "track": "two"}


def test_a_loop_is_no_longer_than_its_passage():
    """Eight bars of a record in half time are 64 beats of the clip, and 8 bars at twice its tempo are 16."""
    data = data_of(drafted(slow=facts(87.0, drums=[(17, 8)]), fast=facts(174.0, drums=[(17, 8)])))
    loops = [data["try"][f"{name}-gives-way"]["jump_back"][0]["loop"] for name in ("slow", "fast")]
    assert loops == ["32 beats", "32 beats"]
    fives = data_of(drafted(one=facts(drums=[(17, 4)]), two=facts()))
    assert fives["try"]["one-gives-way"]["jump_back"][0]["loop"] == "16 beats"


def test_where_keys_quarrel_the_record_with_drums_gives_way_and_both_dropping_is_a_variant():
    """E minor and F minor are five places apart on the circle of fifths: two of seven notes in common."""
    text = drafted(one=facts(key="E minor", drums=[(17, 16)], low_after=0.3), two=facts(key="F minor"))
    data = data_of(text)
    assert data["jump_back"][0]["track"] == "one"
    assert data["try"]["both-drop"] == {"jump_back": None}
    assert "E minor over two in F minor may quarrel (2 of 7 notes in common)" in text


def test_where_two_voices_meet_after_the_landing_the_record_with_drums_gives_way():
    text = drafted(one=facts(drums=[(17, 16)], voiced=[(49, 56)]), two=facts(voiced=[(51, 60)]))
    assert data_of(text)["jump_back"][0]["track"] == "one"
    assert "one and two at once from landing + 8 beats to landing + 32 beats" in text


def test_two_voices_that_never_meet_are_said_to():
    text = drafted(one=facts(drums=[(17, 16)], voiced=[(49, 52)]), two=facts(voiced=[(53, 60)]))
    assert "# Voices: never two at once." in text
    assert "jump_back" not in data_of(text)


# keys


def test_a_semitone_that_makes_the_keys_agree_is_a_variant():
    """A semitone up turns E minor into F minor."""
    data = data_of(drafted(one=facts(key="E minor", tonal_weight=0.4), two=facts(key="F minor")))
    assert data["try"]["semitone-up"] == {"tracks": {"one": {"pitch": "+1 semitone"}}}


def test_the_record_without_a_voice_is_pitched():
    sung = facts(key="E minor", tonal_weight=0.4, voiced=[(1, 8)])
    data = data_of(drafted(sung=sung, played=facts(key="F minor", tonal_weight=0.9)))
    assert data["try"]["semitone-down"]["tracks"] == {"played": {"pitch": "-1 semitone"}}


@pytest.mark.parametrize(
    "one, two",
    [
        ({"key": "E minor", "tonal_weight": 0.2}, {"key": "F minor"}),  # drums have no key
        ({"key": "C minor"}, {"key": "F minor"}),  # neighbours agree
        ({"key": "Ab major"}, {"key": "F minor"}),  # relative keys have the same notes
        ({"key": None}, {"key": "F minor"}),
    ],
)
def test_nothing_is_pitched_where_keys_agree_or_do_not_matter(one, two):
    assert not any("semitone" in name for name in data_of(drafted(one=facts(**one), two=facts(**two)))["try"])


# drops


def test_a_second_drop_that_is_near_is_a_variant_and_a_close_call():
    text = drafted(one=facts(scores=(3.4, 2.9)), two=facts())
    assert data_of(text)["try"]["one-second-drop"] == {"tracks": {"one": {"markers": {"drop": "bar 17"}}}}
    assert "close call against bar 17" in text


def test_a_second_drop_that_comes_too_early_enters_late():
    data = data_of(drafted(one=facts(drop_bars=(49, 9), scores=(3.4, 2.9)), two=facts()))
    assert data["try"]["one-second-drop"]["tracks"]["one"]["enter"] == "landing - 32 beats"


def test_other_drops_are_there_to_be_uncommented():
    text = drafted(one=facts(drop_bars=(49, 17, 65)), two=facts())
    assert re.findall(r"^      # (drop: bar \d+) +# \d:", text, re.MULTILINE) == [
        "drop: bar 17",
        "drop: bar 65",
        "drop: bar 17",
    ]


# facts


def test_every_fact_that_would_else_be_measured_is_stated():
    for reading in readings_of(drafted(one=facts(voiced=[(9, 24), (33, 40)]), two=facts())):
        track = reading.recipe.tracks["one"]
        assert {
            "bpm",
            "first_beat",
            "beats_per_bar",
            "key",
            "tonal_weight",
            "voice",
            "markers",
        } <= track.model_fields_set
        assert track.voice == ((9, 24), (33, 40))


def test_a_record_whose_tempo_drifts_is_left_to_be_measured_beat_by_beat():
    text = drafted(one=facts(170.0, drifting=True), two=facts(174.0, voiced=[(1, 8)]))
    assert not {"bpm", "first_beat"} & set(data_of(text)["tracks"]["one"])
    words = " ".join(text.replace("#", " ").split())
    assert "its tempo drifts around 170.00 BPM" in words
    assert "one by one; runs +2.35%" in words  # 174/170 = 1.0235


def test_close_calls_stand_beside_the_facts_they_are_about():
    unsure = facts(tempo_confidence=0.6, beat_confidence=0.5, bar_confidence=0.7)
    text = drafted(one=unsure, two=facts())
    assert re.search(r"^    bpm: 174 +# close call: 60% sure, or 116.00", text, re.MULTILINE)
    words = " ".join(text.replace("#", " ").split())
    assert "bar 1 beat 1; close call: which part of the beat counts and which beat begins the bar" in words


def test_a_record_without_a_beat_or_a_drop_cannot_be_drafted():
    beatless = Heard("rain.wav", replace(facts(), by_bars=None))
    assert str(unfit(beatless)).startswith("rain.wav: no beat was found; write a recipe by hand")
    assert str(unfit(Heard("one bar.wav", facts(drop_bars=())))).startswith("one bar.wav: no drop was found;")
    assert unfit(Heard("fine.wav", facts())) is None
    with pytest.raises(SourceError, match="no beat"):
        draft([beatless, Heard("fine.wav", facts())])


# text


@pytest.mark.parametrize(
    "files, names",
    [
        (["03 - Lantern Street.flac", "two.wav"], ["lantern-street", "two"]),
        (["same.flac", "other/SAME.wav"], ["same", "same-2"]),
        (["1999.flac", "808.wav"], ["track-1999", "track-808"]),
        (["all.flac", "null.wav"], ["track-all", "track-null"]),
        (["Größe (live) [2].flac", "Пламя.ogg"], ["größe-live-2", "пламя"]),
        (["…!.flac", '’n ‘quote’ "x": #1, {a}.wav'], ["track", "n-quote-x-1-a"]),
        (["A very long name that goes on and on.flac", "b.wav"], ["a-very-long-name-that-go", "b"]),
    ],
)
def test_tracks_are_named_after_their_files_in_names_that_a_recipe_takes(files, names):
    text = draft([Heard(file, facts(drums=[(17, 16)])) for file in files])
    data = data_of(text)
    assert list(data["tracks"]) == names
    assert [track["file"] for track in data["tracks"].values()] == files
    readings_of(text)


HIDDEN = st.characters(categories=["Cc", "Cs", "Zl", "Zp"])
FILES = st.text(
    st.characters(exclude_categories=["Cc", "Cs", "Zl", "Zp"], exclude_characters="/"), min_size=1
)


@given(st.lists(FILES.filter(lambda name: name.strip(" .")), min_size=2, max_size=5))
@example(["- : # & * ! | > ' \" % @ ` {[}],", "~"])
@example(["1:30", "0x1f"])
@example(["no", "3.5e7"])
def test_any_file_name_comes_through_and_the_draft_stays_valid(names):
    files = [f"{name}.flac" for name in names]
    text = draft([Heard(file, facts(scores=(3.4, 3.3))) for file in files])
    written = readings_of(text)[0].recipe
    assert [track.file for track in written.tracks.values()] == files
    assert len(written.tracks) == len(files)


VALUES = st.recursive(
    st.integers(0, 3) | st.text("ab", max_size=1),
    lambda inner: st.dictionaries(st.sampled_from("xyz"), inner),
)


@given(st.dictionaries(st.sampled_from("xyz"), VALUES), st.dictionaries(st.sampled_from("xyz"), VALUES))
def test_a_variant_s_patch_turns_the_one_recipe_into_the_other(old, new):
    """JSON Merge Patch, RFC 7396, section 2."""
    assert merge_patch(old, patch_between(old, new)) == new


def test_no_line_is_too_long_to_read_at_a_desk():
    text = drafted(one=facts(drums=[(17, 16)], scores=(3.4, 3.3)), two=facts(key="E minor"))
    assert max(map(len, text.splitlines())) <= 110
