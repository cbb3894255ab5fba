"""Standard MIDI Files 1.0 (MIDI Manufacturers Association, RP-001), in which pieces of the ears' yardstick are written.

From memory: the chunks, and the table of variable-length quantities. Set Tempo (FF 51 03) is in whole microseconds a
quarter; its worked example was computed with the library mido: 174 BPM is 344,828 µs, 26 µs too long over 64 beats.
"""

import pytest

from tests.ground_truth.written_midi import TICKS_PER_BEAT, Written, _variable_length

MICROSECONDS_AT_174 = 344_828
SET_TEMPO_AT_174 = bytes.fromhex("ff 51 03 05 42 fc")

VARIABLE_LENGTHS = {
    0x00: "00", 0x40: "40", 0x7F: "7f", 0x80: "8100", 0x2000: "c000", 0x3FFF: "ff7f", 0x4000: "818000",
    0x100000: "c08000", 0x1FFFFF: "ffff7f", 0x200000: "81808000", 0x8000000: "c0808000", 0xFFFFFFF: "ffffff7f",
}  # fmt: skip
"""The whole table."""


def piece(bars: int = 16) -> Written:
    return Written(seed=0, tempo_bpm=174.0, tonic=5, mode="minor", bars=bars)


@pytest.mark.parametrize("number", VARIABLE_LENGTHS)
def test_a_variable_length_is_written_as_in_the_table(number: int) -> None:
    assert _variable_length(number).hex() == VARIABLE_LENGTHS[number]


def test_the_tempo_is_whole_microseconds_a_quarter() -> None:
    assert piece().microseconds_per_beat == MICROSECONDS_AT_174
    assert SET_TEMPO_AT_174 in piece().midi_file()
    assert piece().midi_file().count(b"\xff\x51\x03") == 1


def test_the_length_goes_by_the_tempo_that_is_written() -> None:
    """64 beats last 22.068992 s, not 64 · 60 / 174 = 22.068966 s."""
    assert piece().length_s == pytest.approx(22.068992, abs=1e-9)
    assert piece().length_s - 64 * 60 / 174 == pytest.approx(2.648275862071614e-05, abs=1e-9)


def test_a_fixed_width_or_the_lowest_byte_first_would_be_noticed() -> None:
    wide = {number: number.to_bytes(4, "big").hex() for number in VARIABLE_LENGTHS}
    assert wide != VARIABLE_LENGTHS
    turned = {number: bytes(reversed(_variable_length(number))).hex() for number in VARIABLE_LENGTHS}
    assert turned != VARIABLE_LENGTHS
    assert SET_TEMPO_AT_174[3:] != MICROSECONDS_AT_174.to_bytes(3, "little")


def test_a_file_is_a_header_chunk_and_a_track_chunk() -> None:
    """Chunk type, length in four bytes, the highest first; the header: format 0, one track, ticks a quarter."""
    data = piece().midi_file()
    assert data[:14] == b"MThd" + bytes([0, 0, 0, 6, 0, 0, 0, 1]) + TICKS_PER_BEAT.to_bytes(2, "big")
    assert data[14:18] == b"MTrk"
    assert int.from_bytes(data[18:22], "big") == len(data) - 22
    assert data.endswith(b"\x00\xff\x2f\x00")
