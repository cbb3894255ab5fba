"""The five invented records. Nobody released them; every name is made up.

Two families: lanterns, ironworks and wickergauge (half the tempo) lie around 174 BPM, quarrybread and thimbleyard
around 140. Every drop comes 64 beats or more into its record, after a build of eight bars.
"""

from render.demo.score import DemoRecord, Part, Section, Syllable


def _section(name: str, bars: int, *parts: Part, level_db: float = 0.0, swell_db: float = 0.0) -> Section:
    return Section(name, bars, parts, level_db, swell_db)


LANTERNS = DemoRecord(
    name="lanterns",
    title="Lanterns for the Weighbridge",
    tempo_bpm=172.0,
    first_beat_s=0.312,
    key="F minor",
    groove="breaks",
    swing=0.56,
    chords=(1, 6, 4, 5),
    bass_tone="round",
    bass_line="1 - - . . 1 - - | 1 - . 5 - - 8 - | 1 - - . . 1 - - | 1 - . 1 - 5 4 2",
    lead_tone="reed",
    lead_line="5 - - 8 - - 7 - | 5 - 4 3 - - . . | 3 - - 6 - - 5 - | 3 - 1 - - - . . |"
    "4 - - 6 - - 8 - | 10 - 8 6 - - . . | 5 - - 7 - - 8 - | 7 - 5 - 2 - . .",
    sections=(
        _section("intro", 16, "hats", "pad", level_db=-7, swell_db=3),
        _section("verse", 16, "kick", "snare", "hats", "bass", "pad", level_db=-6),
        _section("drums", 16, "kick", "snare", "hats"),
        _section("break", 8, "pad", "lead", level_db=-7, swell_db=2),
        _section("build", 8, "pad", "lead", "riser", "roll", level_db=-8, swell_db=4),
        _section("drop", 32, "kick", "snare", "hats", "ride", "bass", "pad", "lead"),
        _section("outro", 16, "kick", "snare", "hats", "pad", level_db=-5, swell_db=-8),
    ),
    drive_db=0.5,
    seed=1,
)

IRONWORKS = DemoRecord(
    name="ironworks",
    title="Ironworks on Oatmeal",
    tempo_bpm=174.5,
    first_beat_s=0.2488,
    key="E minor",
    groove="stepper",
    swing=0.5,
    chords=(1, 1, 6, 7),
    bass_tone="growl",
    bass_line="1 - - - 1 - . 1 | - - 1 - . . 1 - | 1 - - - 1 - . 1 | - - 3 - 2 - . .",
    lead_tone="reed",
    lead_line="8 . . 8 . . 7 . | . . 8 . . . . . | 8 . . 8 . . 10 . | . . 9 . 7 . . .",
    sections=(
        _section("intro", 16, "kick", "hats"),
        _section("verse", 16, "kick", "snare", "hats", "bass"),
        _section("break", 8, "pad", "hats", level_db=-6, swell_db=2),
        _section("build", 8, "pad", "riser", "roll", level_db=-7, swell_db=4),
        _section("drop", 32, "kick", "snare", "hats", "ride", "bass", "pad", "lead", level_db=1),
        _section("drums", 16, "kick", "snare", "hats"),
        _section("outro", 8, "kick", "hats", "pad", level_db=-6, swell_db=-6),
    ),
    drive_db=-0.4,
    seed=2,
)

_SONG = (
    Syllable(0.5, 1.0, 1, "a", "a"),
    Syllable(1.5, 0.5, 1, "e", "i", hiss=True),
    Syllable(2.0, 2.0, 3, "o", "a"),
    Syllable(4.5, 1.0, 1, "a", "o"),
    Syllable(5.5, 2.0, 2, "e", "i", hiss=True),
    Syllable(8.5, 1.0, 1, "a", "a"),
    Syllable(9.5, 0.5, 1, "e", "i", hiss=True),
    Syllable(10.0, 1.5, 3, "o", "u"),
    Syllable(11.5, 3.5, 0, "a", "o", hiss=True),
    Syllable(16.5, 1.0, 1, "a", "a"),
    Syllable(17.5, 0.5, 1, "e", "i", hiss=True),
    Syllable(18.0, 2.0, 3, "o", "a"),
    Syllable(20.5, 1.0, 4, "a", "o"),
    Syllable(21.5, 2.0, 3, "e", "i", hiss=True),
    Syllable(24.5, 1.0, 2, "u", "o"),
    Syllable(25.5, 1.0, 0, "e", "a", hiss=True),
    Syllable(26.5, 4.0, 1, "a", "u"),
)

THIMBLEYARD = DemoRecord(
    name="thimbleyard",
    title="Thimbleyard, No Receipts",
    tempo_bpm=136.8,
    first_beat_s=0.4504,
    key="D minor",
    groove="two-step",
    swing=0.6,
    chords=(1, 4, 6, 5),
    bass_tone="round",
    bass_line="1 - . . 1 . 1 - | . . 1 - . . 5 - | 1 - . . 1 . 1 - | . . 1 - . 5 8 .",
    lead_tone="bell",
    lead_line="1 . 3 . 5 . . . | 4 . . 3 . . . . | 1 . 3 . 5 . 8 . | 7 . . 5 . . . .",
    sections=(
        _section("intro", 8, "kick", "hats", "pad", level_db=-8),
        _section("verse", 16, "kick", "hats", "pad", "voice", level_db=-8, swell_db=2),
        _section("build", 8, "pad", "lead", "riser", "roll", level_db=-8, swell_db=4),
        _section("drop", 16, "kick", "snare", "hats", "ride", "bass", "voice"),
        _section("drums", 8, "kick", "snare", "hats"),
        _section("reprise", 8, "kick", "snare", "hats", "bass", "pad", "lead", level_db=-3),
        _section("outro", 8, "kick", "hats", "pad", level_db=-5, swell_db=-8),
    ),
    drive_db=1.8,
    seed=3,
    song=_SONG,
)

QUARRYBREAD = DemoRecord(
    name="quarrybread",
    title="Quarrybread by the Hundredweight",
    tempo_bpm=140.25,
    first_beat_s=0.75,
    key="B minor",
    groove="four-floor",
    swing=0.54,
    chords=(1, 1, 6, 7),
    bass_tone="round",
    bass_line=". 1 . 1 . 1 . 1 | . 1 . 1 . 1 1 . | . 1 . 1 . 1 . 1 | . 1 . 1 . 3 2 .",
    lead_tone="bell",
    lead_line="8 . . 5 . . 7 . | . . 3 . . . . . | 8 . . 5 . . 4 . | . . 2 . . . . .",
    sections=(
        _section("intro", 8, "kick", "hats"),
        _section("groove", 16, "kick", "snare", "hats", "bass"),
        _section("drums", 16, "kick", "snare", "hats", "metal"),
        _section("break", 8, "pad", "lead", level_db=-7, swell_db=2),
        _section("build", 8, "hats", "riser", "roll"),
        _section("drop", 16, "kick", "snare", "hats", "ride", "metal", "bass"),
        _section("outro", 8, "kick", "hats", "metal"),
    ),
    drive_db=1.9,
    seed=4,
)

WICKERGAUGE = DemoRecord(
    name="wickergauge",
    title="Wickergauge in Low Water",
    tempo_bpm=87.0,
    first_beat_s=0.5265,
    key="C minor",
    groove="head-nod",
    swing=0.58,
    chords=(1, 4, 6, 5),
    bass_tone="round",
    bass_line="1 - - . . 1 1 - | . . 1 - 5 - 8 - | 1 - - . . 1 1 - | . . 1 - 3 - 5 -",
    lead_tone="bell",
    lead_line="5 . 8 . 7 . 5 . | 3 . 5 . 4 . . . | 4 . 6 . 8 . 6 . | 5 . 3 . 1 . . . |"
    "6 . 8 . 10 . 8 . | 7 . 5 . 3 . . . | 5 . 7 . 9 . 7 . | 8 . 7 . 5 . . .",
    sections=(
        _section("intro", 8, "hats", "pad", level_db=-8, swell_db=3),
        _section("drums", 8, "kick", "snare", "hats"),
        _section("build", 8, "pad", "lead", "riser", "roll", level_db=-7, swell_db=4),
        _section("drop", 16, "kick", "snare", "hats", "ride", "bass", "pad", "lead"),
        _section("outro", 8, "kick", "snare", "hats", "pad", level_db=-5, swell_db=-8),
    ),
    drive_db=1.9,
    seed=5,
)

RECORDS = (LANTERNS, IRONWORKS, THIMBLEYARD, QUARRYBREAD, WICKERGAUGE)
