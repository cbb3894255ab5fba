"""The scoreboard as text: a table of every measure, one of the hard drops, and the wrong answers by name."""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from statistics import mean, median

from tests.ground_truth.ears import Heard
from tests.ground_truth.scores import Score
from tests.ground_truth.truth import Truth

NONE = "-"
LANDING_MS = 2.0
"""What a landing may be off."""
VOICE_TOLD = 0.15
"""Part of the bars that must be wrong about the voice before a record is named for it."""


@dataclass(frozen=True)
class Result:
    truth: Truth
    heard: Heard
    score: Score
    duration_s: float
    fell_over: str = ""


Results = Sequence[Result]
Cell = Callable[[Results], str]


def _share(name: str) -> Cell:
    """Per cent of the records that were asked."""

    def cell(results: Results) -> str:
        return _percent(getattr(result.score, name) for result in results)

    return cell


def _percent(answers: Iterable[bool | None]) -> str:
    asked = [answer for answer in answers if answer is not None]
    return f"{100 * sum(asked) / len(asked):.0f} %" if asked else NONE


def _number(name: str, of: Callable[[list[float]], float], form: str) -> Cell:
    def cell(results: Results) -> str:
        asked = [getattr(result.score, name) for result in results]
        known = [float(value) for value in asked if value is not None]
        return format(of(known), form) if known else NONE

    return cell


def _ppm(of: Callable[[list[float]], float]) -> Cell:
    def cell(results: Results) -> str:
        known = [1e6 * result.score.tempo_error for result in results if result.score.tempo_error is not None]
        return f"{of(known):.1f}" if known else NONE

    return cell


def _landings(name: str, of: Callable[[list[float]], str]) -> Cell:
    """Over every drop of every record."""

    def cell(results: Results) -> str:
        known = [off_ms for result in results for off_ms in getattr(result.score, name)]
        return of(known) if known else NONE

    return cell


def _near(offs_ms: list[float]) -> str:
    return _percent(off_ms <= LANDING_MS for off_ms in offs_ms)


def _drop_within(rank: int) -> Cell:
    def cell(results: Results) -> str:
        ranks = [result.score.drop_rank for result in results]
        return _percent(None if found is None else 0 < found <= rank for found in ranks)

    return cell


def _tonal_parting(results: Results) -> str:
    """Lowest tonal weight of what has chords, less the highest of drums alone: positive where nothing overlaps."""
    known = [(r.truth.tonal, r.heard.tonal_weight) for r in results if r.heard.tonal_weight is not None]
    chords = [weight for tonal, weight in known if tonal]
    drums = [weight for tonal, weight in known if tonal is False]
    if chords and drums:
        return f"{min(chords) - max(drums):+.2f}"
    return f">={min(chords):.2f}" if chords else f"<={max(drums):.2f}" if drums else NONE


def _voice(part: str) -> Cell:
    def cell(results: Results) -> str:
        asked = [result.score for result in results if result.score.voice_asked]
        hits = sum(score.voice_hits for score in asked)
        wrong = sum(score.voice_false if part == "precision" else score.voice_missed for score in asked)
        return f"{hits / (hits + wrong):.2f}" if hits + wrong else NONE

    return cell


def _speed(part: str) -> Cell:
    """How many seconds of sound a second of one core hears."""

    def cell(results: Results) -> str:
        cpu_s = sum(result.heard.cpu_s.get(part, 0.0) for result in results)
        return f"{sum(r.duration_s for r in results) / cpu_s:.0f} x" if cpu_s else NONE

    return cell


MEASURES: tuple[tuple[str, Cell], ...] = (
    ("records", lambda results: str(len(results))),
    ("tempo within 0.002 %, folded", _share("tempo_fine")),
    ("tempo within 0.005 %, folded", _share("tempo_coarse")),
    ("tempo error median, ppm", _ppm(median)),
    ("stated multiple", _share("right_multiple")),
    ("first beat median, ms", _number("first_beat_ms", median, ".2f")),
    ("right beat, not the off-beat", _share("right_beat")),
    ("right bar", _share("right_bar")),
    ("one grid fits: told rightly", _share("grid_judged_right")),
    ("beats, F at 70 ms", _number("beat_f", mean, ".3f")),
    ("local phase at drops median, ms", _landings("landings_ms", lambda known: f"{median(known):.2f}")),
    (f"local phase within {LANDING_MS:g} ms", _landings("landings_ms", _near)),
    (f"the grid alone within {LANDING_MS:g} ms", _landings("landings_by_grid_ms", _near)),
    ("drop first of candidates", _drop_within(1)),
    ("drop among three", _drop_within(3)),
    ("drop among four", _drop_within(4)),
    ("key, MIREX weighted", _number("key_score", mean, ".2f")),
    ("tonal weight, chords over drums", _tonal_parting),
    ("voice per bar, precision", _voice("precision")),
    ("voice per bar, recall", _voice("recall")),
    ("speed, everything", _speed("everything")),
    ("librosa: tempo within 0.005 %", _share("library_fine")),
    ("librosa: stated multiple", _share("library_multiple")),
    ("librosa: first beat median, ms", _number("library_first_beat_ms", median, ".1f")),
    ("librosa: beats, F at 70 ms", _number("library_beat_f", mean, ".3f")),
    ("librosa: speed", _speed("library")),
)


def _columns(results: Results) -> dict[str, list[Result]]:
    columns: dict[str, list[Result]] = {}
    for result in results:
        name = f"({result.truth.set})" if result.truth.held_out else result.truth.set
        columns.setdefault(name, []).append(result)
    order = list(dict.fromkeys(result.truth.set for result in results))
    return {name: columns[name] for plain in order for name in (plain, f"({plain})") if name in columns}


def main_table(results: Results) -> str:
    """Sets from left to right, what is held out of each in brackets beside it."""
    columns = _columns(results)
    rows = [["", *columns]]
    rows += [[label, *(cell(column) for column in columns.values())] for label, cell in MEASURES]
    return _aligned(rows)


def drop_table(results: Results) -> str:
    """How often the drop is first, among three and among four, for everything done to it."""
    kinds: dict[str, list[Result]] = {}
    for result in results:
        if result.truth.perturbation:
            kinds.setdefault(result.truth.perturbation, []).append(result)
    if not kinds:
        return ""
    rows = [["hard drops", "records", "first", "of three", "of four", "of four, held out"]]
    for kind, those in kinds.items():
        held_out = [result for result in those if result.truth.held_out]
        shares = [_drop_within(rank)(those) for rank in (1, 3, 4)]
        rows.append([kind, str(len(those)), *shares, _drop_within(4)(held_out)])
    return _aligned(rows)


def _aligned(rows: list[list[str]]) -> str:
    widths = [max(len(row[place]) for row in rows) for place in range(len(rows[0]))]
    lines = []
    for row in rows:
        cells = [
            row[0].ljust(widths[0]),
            *(cell.rjust(w) for cell, w in zip(row[1:], widths[1:], strict=True)),
        ]
        lines.append("| " + " | ".join(cells) + " |")
    lines.insert(
        1, "|" + "|".join("-" * (width + 1) + (":" if at else "-") for at, width in enumerate(widths)) + "|"
    )
    return "\n".join(lines) + "\n"


def wrong_answers(results: Results) -> str:
    """Everything that was answered wrongly, by name; what fell over comes first."""
    lines = [
        f"{r.truth.set}: {r.truth.name}: fell over: {r.fell_over.strip().splitlines()[-1]}"
        for r in results
        if r.fell_over
    ]
    for result in results:
        said = list(_wrong(result))
        if said:
            caveats = f" [{'; '.join(result.truth.caveats)}]" if result.truth.caveats else ""
            lines.append(f"{result.truth.set}: {result.truth.name}: {'; '.join(said)}{caveats}")
    return "\n".join(["Wrong answers:", *lines]) if lines else "No wrong answers."


def _wrong(result: Result) -> Iterable[str]:
    truth, heard, score = result.truth, result.heard, result.score
    finding = heard.finding
    sure = "" if finding is None else f" at {finding.tempo_confidence:.2f}"
    if heard.no_grid:
        yield "no grid was found"
    if heard.grid is not None and score.tempo_coarse is False:
        yield f"tempo {heard.grid.tempo_bpm:.4f} for {truth.tempo_bpm:.4f}{sure}"
    elif heard.grid is not None and score.right_multiple is False:
        runner_up = f", {finding.runner_up_bpm:.2f} next" if finding and finding.runner_up_bpm else ""
        yield f"multiple {heard.grid.tempo_bpm:.2f} for {truth.tempo_bpm:.2f}{sure}{runner_up}"
    if score.right_beat is False:
        yield f"off-beat{_off(score)}{_confidence(finding and finding.beat_confidence)}"
    elif score.first_beat_ms is not None and score.first_beat_ms > 10:
        yield f"first beat {score.first_beat_ms:.1f} ms off"
    if score.right_bar is False and heard.grid is not None:
        off = round((heard.grid.first_beat_s - truth.first_beat_s) / truth.beat_s) % 4
        yield f"bar {off} beats late{_confidence(finding and finding.bar_confidence)}"
    if score.grid_judged_right is False:
        yield "one grid said to fit" if finding and finding.fits else "one grid said not to fit"
    if score.landings_ms and max(score.landings_ms) > LANDING_MS:
        yield f"a drop's beat is heard {max(score.landings_ms):.1f} ms off"
    if not truth.fixed_tempo and score.beat_f is not None and score.beat_f < 0.85:
        yield f"beats F {score.beat_f:.2f}"
    if score.drop_rank is not None and score.drop_rank != 1:
        place = f"number {score.drop_rank}" if score.drop_rank else "not among them"
        heard_s = ", ".join(f"{at_s:.1f}" for at_s in heard.drops_s or ())
        yield f"drop {place} ({heard_s} for {', '.join(f'{at_s:.1f}' for at_s in truth.drops_s)})"
    if score.key_score is not None and score.key_score < 1:
        yield f"{heard.key} for {truth.key}"
    if score.voice_false + score.voice_missed > VOICE_TOLD * truth.bars:
        yield f"voice: {score.voice_hits} bars right, {score.voice_false} false, {score.voice_missed} missed"


def _off(score: Score) -> str:
    return "" if score.first_beat_ms is None else f", {score.first_beat_ms:.0f} ms"


def _confidence(value: float | None) -> str:
    return "" if value is None else f" at {value:.2f}"
