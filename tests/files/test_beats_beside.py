"""Beats that somebody marked are read as they were written, and whatever else the file holds ends in one clear line."""

import json
import os
from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path

import mir_eval
import pytest

from render.facts import Given, GivenBeats, Recording
from render.faults import SourceError
from render.files.beats_beside import MOST_BYTES, BeatsFile, beats_beside, given_with_beats

WRITTEN_BY_JAMS = Path(__file__).with_name("beats")
"""Files that the `jams` package (PyPI, 0.3.5) wrote of an invented record and found valid by its own schemas."""

TIMES_S = tuple(0.25 + 0.375 * count for count in range(10))
"""160 BPM, in numbers that binary fractions hold exactly."""
FOURS = [(count + 2) % 4 + 1 for count in range(10)]
"""The record begins on beat 3 of a bar of four, so that its third beat is the first to begin a bar."""

Told = Callable[..., str]


def table(times_s: Sequence[float], numbers: Sequence[object] | None = None, between: str = ",") -> str:
    fields = [[repr(time_s)] for time_s in times_s]
    if numbers is not None:
        fields = [[*one, str(number)] for one, number in zip(fields, numbers, strict=True)]
    return "".join(between.join(one) + "\n" for one in fields)


def jams(*annotations: object) -> str:
    return json.dumps({"annotations": annotations, "file_metadata": {"duration": 5.0}, "sandbox": {}})


def observations(times_s: Sequence[object], values: Sequence[object]) -> list[dict[str, object]]:
    return [
        {"time": time_s, "duration": 0.0, "value": value, "confidence": None}
        for time_s, value in zip(times_s, values, strict=True)
    ]


def of_beats(values: Sequence[object] = FOURS, times_s: Sequence[object] = TIMES_S) -> dict[str, object]:
    return {"namespace": "beat", "annotation_metadata": {}, "data": observations(times_s, values)}


@pytest.fixture
def read(tmp_path: Path) -> Callable[..., BeatsFile]:
    def read_beside(content: str | bytes, name: str = "lanterns.beats.csv") -> BeatsFile:
        data = content.encode() if isinstance(content, str) else content
        (tmp_path / name).write_bytes(data)
        found = beats_beside(tmp_path / "lanterns.flac")
        assert found is not None
        return found

    return read_beside


@pytest.fixture
def told(tmp_path: Path, read: Callable[..., BeatsFile]) -> Told:
    def refusal(content: str | bytes, name: str = "lanterns.beats.csv") -> str:
        with pytest.raises(SourceError) as error:
            read(content, name)
        line = str(error.value)
        assert len(line.splitlines()) == 1
        assert line.startswith(str(tmp_path / name))
        return line.removeprefix(f"{tmp_path}/")

    return refusal


# Which file


@pytest.mark.parametrize(
    ("name", "content"),
    [
        ("lanterns.beats.csv", table(TIMES_S)),
        ("lanterns.flac.beats.csv", table(TIMES_S)),
        ("lanterns.jams", jams(of_beats([None] * 10))),
        ("lanterns.flac.jams", jams(of_beats([None] * 10))),
    ],
)
def test_a_file_of_beats_is_found_by_its_name(tmp_path, read, name, content):
    found = read(content, name)
    assert found.beats == GivenBeats(TIMES_S)
    assert found.path == tmp_path / name
    # What names the bytes, by the standard library.


@pytest.mark.parametrize(
    "name", ["lantern.beats.csv", "lanterns.csv", "lanterns.wav.beats.csv", "lanterns.json"]
)
def test_other_files_are_left_alone(tmp_path, name):
    (tmp_path / name).write_text("not beats")
    assert beats_beside(tmp_path / "lanterns.flac") is None


def test_a_record_whose_name_has_no_ending(tmp_path):
    (tmp_path / "lanterns.beats.csv").write_text(table(TIMES_S))
    assert beats_beside(tmp_path / "lanterns").beats == GivenBeats(TIMES_S)


def test_a_name_as_long_as_the_disk_allows_has_nothing_beside_it(tmp_path):
    assert beats_beside(tmp_path / ("l" * 250 + ".flac")) is None


def test_of_several_files_the_error_says_which_to_remove(tmp_path, told):
    (tmp_path / "lanterns.flac.beats.csv").write_text(table(TIMES_S))
    (tmp_path / "lanterns.jams").write_text(jams(of_beats()))
    with pytest.raises(SourceError) as error:
        beats_beside(tmp_path / "lanterns.flac")
    assert str(error.value) == (
        f"{tmp_path}/lanterns.jams: lanterns.flac.beats.csv gives beats for lanterns.flac, too; "
        "remove or rename lanterns.flac.beats.csv, or whichever is wrong, so that one is left"
    )


def test_what_a_recipe_states_wins_and_what_it_leaves_out_is_kept(tmp_path, read):
    recording = tmp_path / "lanterns.flac"
    record = Recording(str(recording), "FLAC", 44_100, 2, 44_100 * 60, 1)
    assert given_with_beats(record, Given(nudge_s=0.01)) == (Given(nudge_s=0.01), ())
    beats = read(table(TIMES_S, FOURS)).beats
    assert given_with_beats(record, Given(nudge_s=0.01)) == (Given(nudge_s=0.01, beats=beats), ())
    with pytest.raises(SourceError, match=r"its last beat lies at 0:03.625, but the record ends at 0:00.100"):
        given_with_beats(replace(record, frames=4_410), Given())
    (tmp_path / "lanterns.beats.csv").write_text("spoilt")
    assert given_with_beats(record, Given(tempo_bpm=160.0)) == (Given(tempo_bpm=160.0), ())
    with pytest.raises(SourceError):
        given_with_beats(record, Given())


# Tables


@pytest.mark.parametrize("between", [",", ";", "\t", " ", "   ", ", ", " ;\t"])
@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
@pytest.mark.parametrize("mark", ["", "\ufeff"])
@pytest.mark.parametrize(
    "header", ["", "time,beat\n", "# made by hand\n\n# twice checked\ntime beat\n", '"time (s)";"beat"\n']
)
def test_every_common_way_to_write_a_table(read, between, end, mark, header):
    text = mark + (header + table(TIMES_S, FOURS, between)).replace("\n", end)
    found = read(text.encode())
    assert found.beats == GivenBeats(TIMES_S, bar_index=2, beats_per_bar=4)
    assert found.notes == ()


@pytest.mark.parametrize(
    ("fields", "meant"),
    [
        ('"{time}","{number}"', True),
        ("  {time} , {number}.0  # a remark", True),
        ("{time},{number},", True),
        ("{time};;", False),
        ("{time:.6e}", False),  # as numerical programs write it
        ("+{time}", False),
    ],
)
def test_what_programs_add_to_a_table(read, fields, meant):
    lines = [fields.format(time=time_s, number=number) for time_s, number in zip(TIMES_S, FOURS, strict=True)]
    assert read("\n".join(lines)).beats == (GivenBeats(TIMES_S, 2, 4) if meant else GivenBeats(TIMES_S))


@pytest.mark.parametrize("between", [",", "\t", " "])
def test_tables_are_read_as_mir_eval_reads_them(tmp_path, read, between):
    """mir_eval 0.8, `io.load_events` and `io.load_labeled_events`."""
    pattern = {",": ",", "\t": "\t", " ": r"\s+"}[between]
    times_s = [0.3121 + count * 60 / 171.93 for count in range(500)]
    numbers = [count % 4 + 1 for count in range(500)]
    path = tmp_path / "lanterns.beats.csv"

    beats = read("# one\n" + table(times_s)).beats
    assert beats.times_s == tuple(mir_eval.io.load_events(str(path), delimiter=pattern))

    beats = read("# one\n" + table(times_s, numbers, between)).beats
    labelled_s, labels = mir_eval.io.load_labeled_events(str(path), delimiter=pattern)
    assert beats.times_s == tuple(labelled_s)
    assert [(count - beats.bar_index) % beats.beats_per_bar + 1 for count in range(500)] == list(
        map(int, labels)
    )


GOOD_LINES = table(TIMES_S, FOURS).splitlines()


@pytest.mark.parametrize(
    ("line", "said"),
    [
        ("O.625,4", ":2: 'O.625' is no time; write seconds with a decimal point, as in 89.614"),
        ("0:00.625,4", ":2: '0:00.625' is no time; write seconds with a decimal point, as in 89.614"),
        ("nan,4", ":2: 'nan' is no time; write seconds with a decimal point, as in 89.614"),
        ("1e999,4", ":2: '1e999' is no time; write seconds with a decimal point, as in 89.614"),
        ("1_0,4", ":2: '1_0' is no time; write seconds with a decimal point, as in 89.614"),
        ("٣,4", ":2: '٣' is no time; write seconds with a decimal point, as in 89.614"),
        (",4", ":2: a line without a time; write seconds with a decimal point, as in 89.614"),
        ("0.625,0", ":2: '0' is no beat of a bar; beats of a bar count from 1, to 32 at the most"),
        ("0.625,2.5", ":2: '2.5' is no beat of a bar; beats of a bar count from 1, to 32 at the most"),
        ("0.625,33", ":2: '33' is no beat of a bar; beats of a bar count from 1, to 32 at the most"),
        ("0.625,four", ":2: 'four' is no beat of a bar; beats of a bar count from 1, to 32 at the most"),
        (
            "0.625,4,kick",
            ":2: 3 columns; a line holds a beat's time and, if it is known, its number in the bar",
        ),
        ("0,625;4", ":2: '0,625' has a decimal comma; write it with a point, 0.625"),
        ("0,625\t4", ":2: '0,625' has a decimal comma; write it with a point, 0.625"),
        ('"0,625","4"', ":2: '0,625' has a decimal comma; write it with a point, 0.625"),
        ("0.25,4", ":2: a beat at 0.25 s comes after one at 0.25 s; give each beat once, in order of time"),
        ("0.125,4", ":2: a beat at 0.125 s comes after one at 0.25 s; give each beat once, in order of time"),
        ("0.3,4", ":2: a beat only 0.05 s after the one at 0:00.250; beats last 0.1 to 3 s"),
    ],
)
def test_a_line_that_is_wrong_is_told_with_its_number(told, line, said):
    assert told("\n".join([GOOD_LINES[0], line, *GOOD_LINES[2:]])) == f"lanterns.beats.csv{said}"


def test_what_no_number_begins_with_is_a_header_in_the_first_line_only(told):
    assert ":1: 'nan' is no time" in told("\n".join(["nan", *GOOD_LINES]))
    assert ":2: 'beat' is no time" in told("\n".join(["time,beat", "beat", *GOOD_LINES]))


@pytest.mark.parametrize(
    ("first_s", "beat_s", "digits"), [(0.5, 0.5, 1), (0.312, 0.349, 3), (59.0, 0.345, 3), (1.5, 1.5, 1)]
)
def test_a_table_of_decimal_commas_and_nothing_else(told, first_s, beat_s, digits):
    times = [f"{first_s + count * beat_s:.{digits}f}".replace(".", ",") for count in range(20)]
    point = times[0].replace(",", ".")
    said = f"lanterns.beats.csv:1: '{times[0]}' has a decimal comma; write it with a point, {point}"
    assert told("\n".join(times)) == said
    assert told("time\n" + "\n".join(t.removesuffix(",0") for t in times)) == said.replace(":1:", ":2:")


def test_whole_seconds_with_numbers_are_no_decimal_commas(read):
    text = "".join(f"{count},{count % 4 + 1}\n" for count in range(20))
    assert read(text).beats == GivenBeats(tuple(map(float, range(20))), 0, 4)


# Times


@pytest.mark.slow
def test_the_least_and_the_most_beats(read, told):
    assert len(read(table(TIMES_S[:8])).beats.times_s) == 8
    assert told(table(TIMES_S[:7])) == (
        "lanterns.beats.csv: it holds 7 beats; mark all of the record's beats, at least 8"
    )
    assert "it holds one beat;" in told("1.0")
    assert "it holds no beats;" in told("")
    assert "it holds no beats;" in told("# time, beat\n\n")
    most = "".join(f"{count / 4}\n" for count in range(100_000))
    assert len(read(most).beats.times_s) == 100_000
    assert told(most + "25000") == (
        "lanterns.beats.csv: it holds more than 100,000 beats; give the beats of one record"
    )


def test_a_gap_is_told_with_its_time(told):
    times_s = [*TIMES_S, TIMES_S[-1] + 3.5]
    assert told(table(times_s)) == (
        "lanterns.beats.csv:11: a gap of 3.5 s after the beat at 0:03.625; mark every beat: they last 0.1 to 3 s"
    )


def test_a_beat_before_the_record_begins(told):
    assert told(table([time_s - 1.0 for time_s in TIMES_S])) == (
        "lanterns.beats.csv:1: a beat at -0.75 s, before the record begins; "
        "times count from the start of the recording"
    )


@pytest.mark.parametrize("at", range(1, 20))
def test_a_mark_that_seems_to_be_missing_is_noted(read, at):
    times_s = [0.5 + 0.35 * count for count in range(21)]
    before = times_s[at - 1]
    del times_s[at]
    assert read(table(times_s)).notes == (
        f"lanterns.beats.csv:{at}: the beat at 0:{before:06.3f} lasts 2.0 times as long as those around it: "
        "is a mark missing?",
    )


@pytest.mark.parametrize("at", range(20))
def test_a_mark_that_seems_to_be_one_too_many_is_noted(read, at):
    times_s = [0.5 + 0.35 * count for count in range(21)]
    times_s.insert(at + 1, times_s[at] + 0.175)
    (note,) = read(table(times_s)).notes
    assert note == (
        f"lanterns.beats.csv:{at + 1}: the beat at 0:{times_s[at]:06.3f} lasts 0.5 times as long as those around it "
        "(and 1 more like it): is there a mark too many?"
    )


def test_a_tempo_that_wanders_or_doubles_is_not_noted(read):
    lengths_s = [0.5 + 0.004 * count for count in range(30)] + [0.31] * 30
    times_s = [0.0]
    for length_s in lengths_s:
        times_s.append(times_s[-1] + length_s)
    assert read(table(times_s)).notes == ()


# Bars


@pytest.mark.parametrize("beats_per_bar", range(2, 17))
@pytest.mark.parametrize("first", [1, 2, 0])
def test_the_bar_is_read_from_the_numbers(read, beats_per_bar, first):
    times_s = [0.5 + 0.25 * count for count in range(40)]
    numbers = [(count - first) % beats_per_bar + 1 for count in range(40)]
    found = read(table(times_s, numbers))
    assert (found.beats.bar_index, found.beats.beats_per_bar) == (numbers.index(1), beats_per_bar)
    assert found.notes == ()


def test_numbers_of_some_beats_are_enough(read):
    times_s = [0.5 + 0.25 * count for count in range(40)]
    on_bars = ["1" if count % 4 == 3 else "" for count in range(40)]
    assert read(table(times_s, on_bars)).beats == GivenBeats(tuple(times_s), 3, 4)


def test_one_beat_that_is_numbered_one_begins_a_bar_of_unknown_length(read):
    found = read(table(TIMES_S, ["1" if count == 5 else "" for count in range(10)]))
    assert found.beats == GivenBeats(TIMES_S, 5, None)
    assert found.notes == ("lanterns.beats.csv: it cannot be told from its numbers how many beats a bar has",)


def test_numbers_without_a_one_in_them_begin_no_bar(read):
    found = read(table(TIMES_S, range(3, 13)))
    assert found.beats == GivenBeats(TIMES_S, None, None)
    assert len(found.notes) == 1


def test_one_odd_bar_is_noted_and_most_of_the_numbers_are_followed(read):
    numbers = [1, 2, 3, 4] * 3 + [1, 2] + [1, 2, 3, 4] * 7
    times_s = [0.5 + 0.25 * count for count in range(len(numbers))]
    found = read(table(times_s, numbers))
    assert found.beats == GivenBeats(tuple(times_s), 2, 4)  # as after the odd bar
    assert found.notes == (
        "lanterns.beats.csv:15: beat 1 of a bar where beat 3 is due: "
        "bars are counted so that 28 of 42 numbers are right",
    )


def test_a_number_of_its_own_in_the_first_line_is_noted(read):
    found = read(table(TIMES_S, [9, *FOURS[1:]]))
    assert found.beats == GivenBeats(TIMES_S, 2, 4)
    assert found.notes[0].startswith("lanterns.beats.csv:2: beat 4 of a bar where")


def test_bars_of_changing_length_are_refused(told):
    numbers = ([1, 2, 3, 4] * 3 + [1, 2, 3]) * 8
    assert told(table([0.5 + 0.25 * count for count in range(len(numbers))], numbers)) == (
        "lanterns.beats.csv:16: beat 1 of a bar where beat 4 is due, and no one length of bar fits most of the beats; "
        "number all bars alike, as in 1 2 3 4, or leave the numbers out"
    )


def test_a_table_of_bars_instead_of_beats_is_refused(told):
    assert told(table([1.4 * count for count in range(20)], [1] * 20)) == (
        "lanterns.beats.csv:1: every beat is numbered 1, as if it began a bar; "
        "mark and number all beats, as in 1 2 3 4"
    )


# JAMS


def test_what_the_format_s_own_library_wrote_is_read(read):
    def beats_in(name: str) -> GivenBeats | None:
        return read((WRITTEN_BY_JAMS / name).read_bytes(), "lanterns.jams").beats

    assert beats_in("beat.jams") == GivenBeats(TIMES_S, 2, 4)
    assert beats_in("beat_position.jams") == GivenBeats(TIMES_S, 0, 3)


@pytest.mark.parametrize("nothing", [None, float("nan")])
def test_beats_without_a_number(read, nothing):
    assert read(jams(of_beats([nothing] * 10)), "lanterns.jams").beats == GivenBeats(TIMES_S)


def test_observations_in_columns(read):
    data = {"time": TIMES_S, "duration": [0.0] * 10, "value": FOURS, "confidence": [None] * 10}
    text = jams({"namespace": "beat", "data": data})
    assert read(text, "lanterns.jams").beats == GivenBeats(TIMES_S, 2, 4)


def test_of_several_annotations_the_first_is_taken_and_a_note_says_so(read):
    other = of_beats(times_s=[time_s + 0.1 for time_s in TIMES_S])
    found = read(jams({"namespace": "chord", "data": []}, of_beats(), other), "lanterns.jams")
    assert found.beats == GivenBeats(TIMES_S, 2, 4)
    assert found.notes == ("lanterns.jams: it holds 2 annotations of beats: the first is taken",)


@pytest.mark.parametrize(
    ("annotations", "note"),
    [
        ([], "lanterns.jams: it holds no beats: the beats are measured"),
        (
            [{"namespace": "key_mode", "data": []}, {"namespace": "chord"}, {"namespace": 3}],
            "lanterns.jams: it holds no beats, but chord, key_mode: the beats are measured",
        ),
    ],
)
def test_a_file_of_other_things_gives_no_beats_and_says_so(tmp_path, read, annotations, note):
    found = read(jams(*annotations), "lanterns.jams")
    assert (found.beats, found.notes) == (None, (note,))
    record = Recording(str(tmp_path / "lanterns.flac"), "FLAC", 44_100, 2, 44_100 * 60, 1)
    assert given_with_beats(record, Given())[0] == Given()


def replaced(index: int, **fields: object) -> str:
    data = observations(TIMES_S, FOURS)
    data[index] |= fields
    return jams({"namespace": "beat", "data": data})


def position(**value: object) -> str:
    return jams({"namespace": "beat_position", "data": observations(TIMES_S, [value] * 10)})


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", ":1: this is not JSON (Expecting value, column 1); a JAMS file is JSON"),
        ('{"annotations":\n [}', ":2: this is not JSON (Expecting value, column 3); a JAMS file is JSON"),
        ("[]", ": it has no list of annotations; JAMS of version 0.2 or later can be read"),
        ('{"beat": []}', ": it has no list of annotations; JAMS of version 0.2 or later can be read"),
        ("[" * 500_000, ": it is nested too deep or holds a monstrous number; a JAMS file does not"),
        ("[" + "1" * 5000 + "]", ": it is nested too deep or holds a monstrous number; a JAMS file does not"),
        (
            jams({"namespace": "beat"}),
            ": its annotation of beats holds no observations; "
            "its data is a list of observations, or lists of times and values",
        ),
        (
            jams({"namespace": "beat", "data": {"time": [1.0], "value": []}}),
            ": 1 times, but 0 values; each beat has a time and a value, be it null",
        ),
        (
            jams({"namespace": "beat", "data": [3]}),
            ", beat 1: it is no observation; an observation has a time, a duration, a value and a confidence",
        ),
        (replaced(1, time="0.6"), ", beat 2: '0.6' is no time; a time is a number of seconds"),
        (replaced(1, time=None), ", beat 2: nothing is no time; a time is a number of seconds"),
        (replaced(1, time=True), ", beat 2: 'true' is no time; a time is a number of seconds"),
        (replaced(1, time=float("inf")), ", beat 2: 'Infinity' is no time; a time is a number of seconds"),
        (replaced(1, time=10**400), ", beat 2: a monstrous number is no time; a time is a number of seconds"),
        (
            replaced(9, time=0.1),
            ", beat 10: a beat at 0.1 s comes after one at 3.25 s; give each beat once, in order of time",
        ),
        (
            replaced(3, value=1.5),
            ", beat 4: '1.5' is no beat of a bar; beats of a bar count from 1, to 32 at the most",
        ),
        (
            replaced(3, value={"a": 1}),
            ", beat 4: an object is no beat of a bar; beats of a bar count from 1, to 32 at the most",
        ),
        (
            position(position=1, num_beats=0),
            ", beat 1: '0' is no beat of a bar; beats of a bar count from 1, to 32 at the most",
        ),
        (
            jams({"namespace": "beat_position", "data": observations(TIMES_S, FOURS)}),
            ", beat 1: '3' is no position; it has a `position` and `num_beats`",
        ),
    ],
)
def test_a_jams_file_that_is_wrong_is_told_with_the_beat(told, text, said):
    assert told(text, "lanterns.jams") == f"lanterns.jams{said}"


# Files


def test_a_file_that_is_too_large(told):
    assert told(b"#" * (MOST_BYTES + 1)) == (
        "lanterns.beats.csv: it is larger than 16 MiB; keep the beats in a file of their own"
    )


def test_a_file_of_another_encoding_is_told_with_its_line(told):
    assert told("0.25\n0.5 # schön\n".encode("latin-1")) == (
        "lanterns.beats.csv:2: this is not UTF-8 text; save it as UTF-8"
    )
    assert ":1: this is not UTF-8 text" in told(table(TIMES_S).encode("utf-16"))


def refusal_beside(recording: Path) -> str:
    with pytest.raises(SourceError) as error:
        beats_beside(recording)
    return error.value.wrong


@pytest.mark.skipif(os.name != "posix", reason="only POSIX has named pipes")
def test_what_is_no_file_is_refused(tmp_path):
    (tmp_path / "folder.jams").mkdir()
    assert refusal_beside(tmp_path / "folder.flac") == "it is no file"
    os.mkfifo(tmp_path / "pipe.jams")
    assert refusal_beside(tmp_path / "pipe.flac") == "it is no file"
    (tmp_path / "link.jams").symlink_to("nowhere")
    assert refusal_beside(tmp_path / "link.flac") == "it cannot be read (No such file or directory)"


def test_a_file_that_may_not_be_read(tmp_path, monkeypatch):
    path = tmp_path / "lanterns.jams"
    path.write_text(jams(of_beats()))
    path.chmod(0)
    if os.access(path, os.R_OK):  # the superuser may read everything

        def denied(*_: object, **__: object) -> None:
            raise PermissionError(13, "Permission denied", str(path))

        monkeypatch.setattr(Path, "open", denied)
    assert refusal_beside(tmp_path / "lanterns.flac") == "it cannot be read (Permission denied)"
