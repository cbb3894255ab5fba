"""From the score to the mix: every sound made once and set down wherever it is played.

Three stems are filled: drums, bass, and everything pitched. Bass and pitched sounds make room for a moment at each
kick. Positions come from the record's grid, each rounded to a frame on its own.
"""

from collections.abc import Iterator

import numpy as np

from render.demo.drums import PHRASE_BARS, Hit, drum_kit, roll_hits, section_hits
from render.demo.score import BEATS_PER_BAR, RATE_HZ, DemoRecord, Section, notes_of, pitch_hz
from render.demo.singer import sung_phrase
from render.demo.tones import PAD_FRAMES, bass_note, in_a_room, lead_note, pad_pair, riser, with_echo
from render.values import Audio, db_to_gain

LEVELS_DB = {
    "kick": -3.0,
    "snare": -2.5,
    "hats": -5.0,
    "open hat": -6.0,
    "ride": -8.0,
    "metal": -4.0,
    "crash": -9.0,
    "bass": -7.0,
    "pad": -14.0,
    "lead": -10.0,
    "voice": -8.0,
    "riser": -10.0,
}
"""The balance of the parts, by ear and by the spectrum of the drops."""
TONIC_BASS_HZ = 41.0
LOWEST_BASS_HZ = 36.0
"""Lower than this few loudspeakers go."""
DEGREES_PER_OCTAVE = 7
LOWEST_PAD_HZ = 208.0
LOWEST_LEAD_HZ = 330.0
CHORD_BARS = 2
RING_S = 1.2
"""How long a phrase may ring into what follows."""
DUCK_DEPTH = 0.6
DUCK_S = 0.09


def mixed(record: DemoRecord) -> Audio:
    """The record before mastering, `(frames, 2)`."""
    drums, bass, pitched = (np.zeros((record.frames, 2), dtype=np.float32) for _ in range(3))
    _play_drums(record, drums)
    _play_bass(record, bass)
    _play_pads(record, pitched)
    _play_lead(record, pitched)
    _play_voice(record, pitched)
    _play_risers(record, pitched)
    pitched += bass
    pitched *= _room_for_kicks(record)[:, None]
    pitched += drums
    return pitched


def _chance(record: DemoRecord, what: str) -> np.random.Generator:
    """A source of chance of its own for each instrument: leaving one out changes no other."""
    return np.random.default_rng([record.seed, *what.encode()])


def _set_down(stem: Audio, frame: int, sound: Audio, gain: float | Audio = 1.0) -> None:
    """Add a sound to a stem from a frame on; what would lie beyond the end is dropped."""
    heard = sound[: max(len(stem) - frame, 0)]
    stem[frame : frame + len(heard)] += heard * np.float32(gain) if isinstance(gain, float) else heard * gain


def _strokes(record: DemoRecord) -> Iterator[tuple[int, Hit]]:
    """Every drum stroke of the record with its frame; under a riser the last beat is empty."""
    for bars_before, section in record.placed():
        hits = list(section_hits(record.groove, record.swing, section.parts, section.bars))
        if "roll" in section.parts:
            hits += roll_hits(section.bars)
        if "ride" in section.parts:
            hits += [Hit("crash", bar * BEATS_PER_BAR, 1.0, 0) for bar in range(0, section.bars, PHRASE_BARS)]
        last_beat = section.bars * BEATS_PER_BAR - (1 if "riser" in section.parts else 0)
        for hit in hits:
            if hit.beat < last_beat:
                yield record.frame_at(bars_before * BEATS_PER_BAR + hit.beat), hit


def _play_drums(record: DemoRecord, stem: Audio) -> None:
    kit = drum_kit(_chance(record, "drums"))
    for frame, hit in _strokes(record):
        takes = kit[hit.drum]
        _set_down(stem, frame, takes[hit.take % len(takes)], hit.gain * db_to_gain(LEVELS_DB[hit.drum]))


def _room_for_kicks(record: DemoRecord) -> Audio:
    """The gain of everything that is not a drum, `(frames,)`: it steps back with each kick, never before it."""
    time_s = np.arange(round(0.3 * RATE_HZ), dtype=np.float32) / RATE_HZ
    dip = DUCK_DEPTH * (1 - np.exp(-time_s / 0.0015)) * np.exp(-time_s / DUCK_S)
    dip *= np.linspace(1.0, 0.0, dip.size, dtype=np.float32)
    gain = np.ones(record.frames, dtype=np.float32)
    for frame, hit in _strokes(record):
        if hit.drum == "kick":
            span = gain[frame : frame + dip.size]
            np.minimum(span, 1.0 - np.float32(hit.gain) * dip[: span.size], out=span)
    return gain


def _chord_slots(record: DemoRecord, section: Section) -> Iterator[tuple[int, int]]:
    """The bars of a section on which a chord starts, from 0, and that chord's degree."""
    for slot, bar in enumerate(range(0, section.bars, CHORD_BARS)):
        yield bar, record.chords[slot % len(record.chords)]


def _play_bass(record: DemoRecord, stem: Audio) -> None:
    """The bass line, moved to the root of each chord; every note is made once."""
    line, line_bars = notes_of(record.bass_line)
    made: dict[tuple[int, float], Audio] = {}
    gain = db_to_gain(LEVELS_DB["bass"])
    for bars_before, section in record.placed():
        if "bass" not in section.parts:
            continue
        for chord_bar, root in _chord_slots(record, section):
            phase_beats = (chord_bar % line_bars) * BEATS_PER_BAR
            for note in line:
                beat = note.beat - phase_beats
                if not 0 <= beat < CHORD_BARS * BEATS_PER_BAR:
                    continue
                degree = _low_root(record, root) + note.degree - 1
                if (degree, note.beats) not in made:
                    hz = pitch_hz(record.key, degree, TONIC_BASS_HZ)
                    frames = round(note.beats * record.grid.beat_s * RATE_HZ)
                    made[degree, note.beats] = np.repeat(
                        bass_note(record.bass_tone, hz, frames)[:, None], 2, axis=1
                    )
                frame = record.frame_at((bars_before + chord_bar) * BEATS_PER_BAR + beat)
                _set_down(stem, frame, made[degree, note.beats], gain)


def _low_root(record: DemoRecord, root: int) -> int:
    """The chord's root as low as it goes without falling under `LOWEST_BASS_HZ`."""
    below = root - DEGREES_PER_OCTAVE
    return below if pitch_hz(record.key, below, TONIC_BASS_HZ) >= LOWEST_BASS_HZ else root


def _voicing(record: DemoRecord, root: int) -> tuple[float, ...]:
    """Triad and seventh in close position above `LOWEST_PAD_HZ`, and the root an octave up."""
    degrees = (root, root + 2, root + 4, root + 6)
    lowest = [pitch_hz(record.key, degree, LOWEST_PAD_HZ / 2) for degree in degrees]
    close = [hz * 2.0 ** np.ceil(np.log2(LOWEST_PAD_HZ / hz)) for hz in lowest]
    return (*close, close[0] * 2)


def _swell(section: Section, first: float, last: float, frames: int) -> Audio:
    """The gain of the pitched parts between two places of a section, both from 0 to 1."""
    place = np.linspace(first, last, frames, dtype=np.float32)
    return np.asarray(10.0 ** ((section.level_db + section.swell_db * place) / 20), dtype=np.float32)


def _play_pads(record: DemoRecord, stem: Audio) -> None:
    """Chords of two bars; the louder a section is, the brighter they are."""
    if not record.ranges_s("pad"):
        return
    chance = _chance(record, "pad")
    pairs = {root: pad_pair(_voicing(record, root), chance) for root in dict.fromkeys(record.chords)}
    level = db_to_gain(LEVELS_DB["pad"])
    attack, release = round(0.02 * RATE_HZ), round(0.18 * RATE_HZ)
    for bars_before, section in record.placed():
        if "pad" not in section.parts:
            continue
        for bar, root in _chord_slots(record, section):
            start = record.frame_at((bars_before + bar) * BEATS_PER_BAR)
            length = record.frame_at((bars_before + bar + CHORD_BARS) * BEATS_PER_BAR) - start + release
            assert length <= PAD_FRAMES, "a chord longer than a pad"
            dark, bright = (side[:length] for side in pairs[root])
            swell = _swell(section, bar / section.bars, (bar + CHORD_BARS) / section.bars, length)[:, None]
            opened = np.minimum(swell**2, 1.0)
            envelope = swell * level
            envelope[:attack, 0] *= np.linspace(0.0, 1.0, attack, dtype=np.float32)
            envelope[-release:, 0] *= np.linspace(1.0, 0.0, release, dtype=np.float32) ** 2
            _set_down(stem, start, dark + opened * (bright - dark), envelope)


def _play_lead(record: DemoRecord, stem: Audio) -> None:
    """The lead line with its echo and its room, made once and repeated through a section."""
    if not record.ranges_s("lead"):
        return
    notes, line_bars = notes_of(record.lead_line)
    phrase_beats = line_bars * BEATS_PER_BAR
    beat_frames = record.grid.beat_s * RATE_HZ
    dry = np.zeros(round(phrase_beats * beat_frames + RING_S * RATE_HZ), dtype=np.float32)
    ring = {"reed": 0.05, "bell": 0.9}[record.lead_tone]
    for note in notes:
        hz = pitch_hz(record.key, note.degree, LOWEST_LEAD_HZ)
        sound = lead_note(record.lead_tone, hz, round(note.beats * beat_frames + ring * RATE_HZ))
        _set_down(dry, round(note.beat * beat_frames), sound)
    wet = in_a_room(with_echo(dry, round(0.75 * beat_frames), 0.38), 1.4, 0.22, _chance(record, "lead"))
    wet[-round(0.3 * RATE_HZ) :] *= np.linspace(1, 0, round(0.3 * RATE_HZ), dtype=np.float32)[:, None]
    for bars_before, section in record.placed():
        if "lead" not in section.parts:
            continue
        for bar in range(0, section.bars, line_bars):
            heard_bars = min(line_bars, section.bars - bar)
            heard = wet if heard_bars == line_bars else wet[: round(heard_bars * 4 * beat_frames)]
            swell = _swell(section, bar / section.bars, (bar + heard_bars) / section.bars, len(heard))
            start = record.frame_at((bars_before + bar) * BEATS_PER_BAR)
            _set_down(stem, start, heard, swell[:, None] * np.float32(db_to_gain(LEVELS_DB["lead"])))


def _play_voice(record: DemoRecord, stem: Audio) -> None:
    """The song, once for each of its lengths in a section; the room is closed where the section ends."""
    if not record.ranges_s("voice"):
        return
    song_beats = record.song_bars * BEATS_PER_BAR
    frames = round(song_beats * record.grid.beat_s * RATE_HZ)
    chance = _chance(record, "voice")
    sung = in_a_room(sung_phrase(record, frames, chance), 1.2, 0.2, chance)
    close = round(0.25 * RATE_HZ)
    sung[-close:] *= np.linspace(1, 0, close, dtype=np.float32)[:, None]
    for bars_before, section in record.placed():
        if "voice" not in section.parts:
            continue
        for bar in range(0, section.bars, record.song_bars):
            start = record.frame_at((bars_before + bar) * BEATS_PER_BAR)
            end = record.frame_at((bars_before + bar + record.song_bars) * BEATS_PER_BAR)
            _set_down(stem, start, sung[: end - start], db_to_gain(LEVELS_DB["voice"]))


def _play_risers(record: DemoRecord, stem: Audio) -> None:
    """A riser through a section up to its last beat, which is left empty."""
    gain = db_to_gain(LEVELS_DB["riser"])
    for bars_before, section in record.placed():
        if "riser" in section.parts:
            start = record.frame_at(bars_before * BEATS_PER_BAR)
            end = record.frame_at((bars_before + section.bars) * BEATS_PER_BAR - 1)
            _set_down(stem, start, riser(end - start, _chance(record, "riser")), gain)
