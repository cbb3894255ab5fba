"""What is known of recordings in Debian packages: lengths, tempi, and where their beats begin.

The names are those of the packages' files and stand nowhere but in the tests. Lengths were counted in the files,
beats by ear. A tracker's row is a whole number of frames (the player truncates its ticks), from which the tempo
follows exactly. Where the strongest attacks lie half a beat from the start of the row or loop, the recording itself
leaves open which half of the beat counts: `phase_exact` is False, and the beat is not scored.
"""

from dataclasses import dataclass

RATE_HZ = 44_100
TILED_S = 60.0


@dataclass(frozen=True)
class Loop:
    """A recorded loop of the package sonic-pi-samples (its samples are CC0): `frames` hold `beats` beats."""

    name: str
    frames: int
    beats: int
    phase_exact: bool = True
    tonal: bool | None = False

    @property
    def tempo_bpm(self) -> float:
        return self.beats * 60.0 * RATE_HZ / self.frames

    @property
    def repeats(self) -> int:
        return round(TILED_S * RATE_HZ / self.frames)


LOOPS = (
    Loop("loop_amen_full", 302_400, 16),
    Loop("loop_breakbeat", 84_000, 4),
    Loop("loop_compus", 286_054, 16),
    Loop("loop_garzul", 352_800, 16),
    Loop("loop_industrial", 38_973, 2),
    Loop("loop_mika", 352_800, 16),
    Loop("loop_safari", 353_024, 16, phase_exact=False),
    Loop("loop_mehackit1", 109_114, 4, phase_exact=False),
    Loop("loop_mehackit2", 109_114, 4),
    Loop("loop_electric", 109_114, 4, phase_exact=False),
    Loop("loop_perc1", 109_114, 4),
    Loop("loop_amen", 77_321, 4),
)


@dataclass(frozen=True)
class Module:
    """Tracker music: `row_frames` a row at 44.1 kHz, `rows_per_beat` rows a beat; its first row is the first beat."""

    package: str
    path: str
    row_frames: int
    rows_per_beat: int
    phase_exact: bool = True

    @property
    def name(self) -> str:
        return f"{self.package}: {self.path.rsplit('/', 1)[-1]}"

    @property
    def tempo_bpm(self) -> float:
        return 60.0 * RATE_HZ / (self.row_frames * self.rows_per_beat)


MODULES = (
    Module("heroes-sound-tracks", "usr/share/games/heroes/mod/heroes01.xm", 2505, 8, phase_exact=False),
    Module("heroes-sound-tracks", "usr/share/games/heroes/mod/heroes02.xm", 2217, 8, phase_exact=False),
    Module("heroes-sound-tracks", "usr/share/games/heroes/mod/heroes03.xm", 2280, 8, phase_exact=False),
    Module("heroes-sound-tracks", "usr/share/games/heroes/mod/heroes04.xm", 2448, 8, phase_exact=False),
    Module("heroes-sound-tracks", "usr/share/games/heroes/mod/heroes05.xm", 2205, 8),
    Module("heroes-sound-tracks", "usr/share/games/heroes/mod/heroes06.xm", 2280, 8),
    Module("heroes-sound-tracks", "usr/share/games/heroes/mod/heroes09.xm", 2361, 8),
    Module("heroes-sound-tracks", "usr/share/games/heroes/mod/heroes10.xm", 2361, 8),
    Module("heroes-sound-tracks", "usr/share/games/heroes/mod/menu.xm", 3060, 8),
    Module("pekka-kana-2-data", "usr/share/games/pekka-kana-2/data/music/song07.xm", 4410, 4),
    Module(
        "pekka-kana-2-data", "usr/share/games/pekka-kana-2/data/music/song10.xm", 5508, 4, phase_exact=False
    ),
    Module("pekka-kana-2-data", "usr/share/games/pekka-kana-2/data/music/song12.xm", 4305, 4),
    Module("tomatoes-data", "usr/share/tomatoes/music/IHaveNoTomatoes.it", 5010, 4, phase_exact=False),
    Module("rafkill-data", "usr/share/games/rafkill/music/song1.xm", 2505, 8),
    Module("rafkill-data", "usr/share/games/rafkill/music/song2.xm", 4722, 4),
)


@dataclass(frozen=True)
class Piece:
    """A MIDI file of the package openttd-openmsx (GPL-2) with one tempo and whole bars of four."""

    name: str
    tempo_bpm: float
    key: str | None = None
    caveats: tuple[str, ...] = ()


PIECES = (
    Piece("harp_harmony", 130.0),
    Piece("keep_on_rolling", 104.0),
    Piece("linns_basket", 120.0),
    Piece("no_work_song_redfarn", 110.0, key="C minor"),
    Piece("run_for_your_life", 170.0, caveats=("a feel of three over its four",)),
    Piece("mighty_giant_run", 160.0),
)
"""Keys are the files' own key signatures, where those and the notes agree."""


@dataclass(frozen=True)
class Produced:
    """Produced music of the package nexuiz-music (GPL); times count from 15 s into the file."""

    name: str
    tempo_bpm: float
    first_beat_s: float


PRODUCED = (
    Produced("infight", 140.0876, 0.0022),
    Produced("beast-of-insanity", 140.0, 0.4263),
    Produced("brokenlight", 140.0, 0.4263),
    Produced("sixtyfour_revisited", 127.0, 0.1993),
    Produced("ninesix", 89.0, 0.1721),
    Produced("northern-lights", 105.0, 0.4375),
    Produced("breakdown-easy", 89.6329, 0.0662),
    Produced("desert3", 138.0, 0.2468),
)
