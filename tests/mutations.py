"""`python -m tests.mutations [WORD…]`: whether the tests notice when a line that matters is broken.

In a copy of the tree one line after another is broken in one way, and the tests that should notice are run there; all
of them have to pass while nothing is broken. With words, only those mutations whose description holds one of them.

Exit status: 0 every mutation was noticed, 1 one was not, 2 the check itself does not fit the tree any more: the text to
break does not stand in its file exactly once, a test is not there or was skipped, or the copy is not what is imported.
"""

import os
import re
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).parents[1]
COPIED = ("render", "tests", "recipes", "pyproject.toml", "README.md", "DEVELOPERS.md")
NOTICED, ALIVE, UNFIT = 0, 1, 2
_FAILED = re.compile(r"^(?:FAILED|ERROR) (.+?)(?: - .*)?$", re.MULTILINE)
_LEFT_OUT = re.compile(r"\b\d+ (?:skipped|deselected|xfailed)\b")
PYTEST_PASSED, PYTEST_FAILED = 0, 1
"""Of pytest's exit statuses; all others mean that tests could not be collected or run."""


@dataclass(frozen=True)
class Mutation:
    """What is broken, in which file under `render`, how, and the tests that have to notice."""

    what: str
    file: str
    old: str
    new: str
    tests: tuple[str, ...]


class Unfit(Exception):
    """The check does not fit the tree."""


MUTATIONS = (
    Mutation(
        "landing: a faster record is played slower",
        "plan/align.py",
        "return self.origin_s + clip_s * self.speed",
        "return self.origin_s + clip_s / self.speed",
        ("tests/plan/test_landing_property.py::test_every_beat_of_a_lane_lies_under_the_beat_of_the_clip",),
    ),
    Mutation(
        "tempo: half time is not recognised",
        "plan/align.py",
        "FOLDS = (1.0, 2.0, 0.5)",
        "FOLDS = (1.0, 2.0)",
        (
            "tests/plan/test_plan_faults.py"
            "::test_half_and_double_time_are_folded_before_the_tempo_change_is_judged",
        ),
    ),
    Mutation(
        "jump back: from where the record would be at the clip's own tempo",
        "plan/align.py",
        "return self.origin_s + clip_beat * self.clip_beat_s",
        "return self.origin_s + clip_beat * 60.0 / self.clip_tempo_bpm",
        ("tests/plan/test_landing_property.py::test_a_jump_keeps_the_place_in_the_bar_and_leaves_no_hole",),
    ),
    Mutation(
        "jump back: not a whole number of bars",
        "plan/jump_back.py",
        "return math.floor((gap_beats + EARLY_BEATS) / grid.beats_per_bar)",
        "return gap_beats / grid.beats_per_bar",
        ("tests/plan/test_plan_faults.py::test_a_rounded_marker_does_not_throw_a_jump_out_of_phase",),
    ),
    Mutation(
        "low end: everybody but the keeper keeps it",
        "plan/low_cut.py",
        "self.tracks == (EVERYBODY,) or track in self.tracks",
        "self.tracks == (EVERYBODY,) or track not in self.tracks",
        ("tests/plan/test_landing_property.py::test_one_keeper_means_one_low_end_at_every_moment",),
    ),
    Mutation(
        "rounding: every beat to a whole frame, and summed up",
        "plan/model.py",
        "return (beat + self.lead_beats) * 60.0 / self.tempo_bpm * self.rate_hz",
        "return (beat + self.lead_beats) * round(60.0 / self.tempo_bpm * self.rate_hz)",
        (
            "tests/plan/test_landing_property.py"
            "::test_every_drop_falls_on_the_landing_whatever_the_tempo_the_lead_and_the_fold",
        ),
    ),
    Mutation(
        "variants: null is set and removes nothing",
        "recipe/patch.py",
        "merged.pop(key, None)",
        "merged[key] = None",
        ("tests/standards/test_rfc_7396.py::test_appendix_a",),
    ),
    Mutation(
        "level: the trim has the other sign",
        "sound/levels.py",
        "return 0.0 if true_peak_dbtp is None else ceiling_dbtp - true_peak_dbtp",
        "return 0.0 if true_peak_dbtp is None else true_peak_dbtp - ceiling_dbtp",
        ("tests/sound/test_levels.py::test_the_trim_goes_to_the_ceiling_from_either_side",),
    ),
    Mutation(
        "level: the quieter lanes are turned up",
        "sound/levels.py",
        "quietest = min(known, default=0.0)",
        "quietest = max(known, default=0.0)",
        ("tests/sound/test_levels.py::test_no_lane_is_turned_up",),
    ),
    Mutation(
        "seam: a straight crossfade in place of equal power",
        "sound/seams.py",
        "return np.cos(angle) * scale, np.sin(angle) * scale",
        "return 1.0 - progress, progress",
        ("tests/sound/test_seams.py::test_power_stays_even_whatever_the_passages_have_in_common",),
    ),
    Mutation(
        "loudness: the second stage of the weighting is left out",
        "sound/k_weighting.py",
        "for gain_db, quality, corner_hz, kind in (SHELF, HIGH_PASS):",
        "for gain_db, quality, corner_hz, kind in (SHELF,):",
        ("tests/standards/test_itu_r_bs_1770.py::test_a_tone_reads_its_weight",),
    ),
    Mutation(
        "true peak: looked for at twice the rate only",
        "checks/true_peak.py",
        "OVERSAMPLING = 4",
        "OVERSAMPLING = 2",
        ("tests/standards/test_ebu_tech_3341.py::test_true_peak_of_a_single_period",),
    ),
    Mutation(
        "sources: three samples at full scale are not clipped yet",
        "checks/sources.py",
        "np.count_nonzero(edges[1::2] - edges[::2] >= CLIPPED_SAMPLES)",
        "np.count_nonzero(edges[1::2] - edges[::2] > CLIPPED_SAMPLES)",
        ("tests/checks/test_sources.py::test_three_samples_at_full_scale_are_a_run_and_two_are_not",),
    ),
    Mutation(
        "check after encoding: what went in is read, not the file",
        "files/to_ceiling.py",
        "readings = read_levels(*decode_clip(path))",
        "readings = read_levels(pcm, rate_hz)",
        ("tests/files/test_to_ceiling.py::test_what_is_told_of_an_encoded_clip_is_read_of_its_file",),
    ),
    Mutation(
        "check after encoding: a file above its ceiling is published",
        "checks/judge.py",
        'stage == "encoded" and peak_dbtp is not None and peak_dbtp > ceiling_dbtp',
        'stage == "mix" and peak_dbtp is not None and peak_dbtp > ceiling_dbtp',
        ("tests/checks/test_judge.py::test_an_encoded_clip_above_its_ceiling_is_refused",),
    ),
    Mutation(
        "headroom: with the other sign",
        "checks/clip.py",
        "return max(0.0, mix_readings.true_peak_dbtp or 0.0)",
        "return max(0.0, -(mix_readings.true_peak_dbtp or 0.0))",
        ("tests/checks/test_headroom.py",),
    ),
    Mutation(
        "cache: its keys do not tell one version of the engine from another",
        "clip/identity.py",
        '"engine": engine.name, engine.name: engine.version, "sound": SOUND_VERSION',
        '"engine": engine.name, "sound": SOUND_VERSION',
        ("tests/night/test_passage_cache.py::test_another_version_of_the_engine_stretches_again",),
    ),
    Mutation(
        "receipt: written before the picture",
        "clip/published.py",
        '    write_whole(identity.clip.with_suffix(".svg"), picture_svg(plan, facts, read.energies))\n'
        '    write_whole(identity.clip.with_suffix(".json"), receipt(plan, facts, measured, proof))\n',
        '    write_whole(identity.clip.with_suffix(".json"), receipt(plan, facts, measured, proof))\n'
        '    write_whole(identity.clip.with_suffix(".svg"), picture_svg(plan, facts, read.energies))\n',
        ("tests/clips/test_receipt_comes_last.py",),
    ),
    Mutation(
        "power cut: a file gets its name before it is on the disk",
        "files/whole_file.py",
        "            _force_to_disk(temporary)\n        temporary.replace(path)\n",
        "            pass\n        temporary.replace(path)\n",
        (
            "tests/files/test_whole_file.py"
            "::test_what_is_written_is_on_the_disk_before_it_gets_its_name_and_then_its_folder_is",
        ),
    ),
    Mutation(
        "lock: every run has its own",
        "files/run_lock.py",
        "lock = FileLock(folder / LOCK)",
        'lock = FileLock(folder / f"{LOCK}-{os.getpid()}")',
        ("tests/files/test_run_lock.py::test_a_second_run_is_told_who_is_there_and_since_when",),
    ),
    Mutation(
        "card: a tempo change has two decimals, whatever it drifts",
        "publish/card/numbers.py",
        "while decimals < MOST_DECIMALS and drift_ms(speed, span_s, decimals) > DRIFT_MS:",
        "while False:",
        (
            "tests/publish/test_card.py"
            "::test_a_tempo_change_set_as_written_drifts_two_milliseconds_at_the_most",
        ),
    ),
    Mutation(
        "ballots: what is in the book already is not looked for",
        "publish/bookkeeping.py",
        "said = {entry.clip: set(entry.ratings) for entry in read.entries}",
        "said: dict[str, set[Rating]] = {}",
        ("tests/publish/test_bookkeeping.py::test_the_same_ballot_twice_changes_nothing",),
    ),
)


def main(words: Sequence[str]) -> int:
    chosen = [one for one in MUTATIONS if not words or any(word in one.what for word in words)]
    with tempfile.TemporaryDirectory(prefix="dropkiln-mutations-") as folder:
        try:
            return _checked(chosen, _copied(Path(folder)))
        except Unfit as error:
            print(f"this check does not fit the tree: {error}")
            return UNFIT


def _checked(mutations: Sequence[Mutation], copy: Path) -> int:
    """Runs them all, and prints what each was noticed by. Raises Unfit."""
    for one in mutations:
        _broken(copy, one)
    if not mutations:
        raise Unfit("no mutation is chosen")
    unbroken = _tested(copy, sorted({test for one in mutations for test in one.tests}), stop=False)
    if unbroken.failed:
        raise Unfit(f"with nothing broken, {unbroken.failed} fails\n{unbroken.told}")
    alive = 0
    for one in mutations:
        path = copy / "render" / one.file
        whole = path.read_text(encoding="utf-8")
        path.write_text(_broken(copy, one), encoding="utf-8")
        began_s = time.monotonic()
        tested = _tested(copy, one.tests, stop=True)
        path.write_text(whole, encoding="utf-8")
        alive += not tested.failed
        noticed = tested.failed or "NOBODY NOTICED"
        print(f"{one.what:<66} | {time.monotonic() - began_s:>5.1f} s | {noticed}", flush=True)
    print(f"{len(mutations) - alive} of {len(mutations)} mutations were noticed")
    return ALIVE if alive else NOTICED


def _copied(folder: Path) -> Path:
    """A copy of the tree, which is what Python imports there. Raises Unfit."""
    copy = folder / "tree"
    copy.mkdir()
    for name in COPIED:
        if (ROOT / name).is_dir():
            shutil.copytree(ROOT / name, copy / name, ignore=shutil.ignore_patterns("__pycache__", ".*"))
        else:
            shutil.copy(ROOT / name, copy / name)
    asked = [sys.executable, "-c", "import render, tests.mutations as t; print(render.__file__, t.__file__)"]
    done = subprocess.run(asked, cwd=copy, env=_at(copy), capture_output=True, text=True, check=False)
    imported = done.stdout.split()
    if imported != [str(copy / "render/__init__.py"), str(copy / "tests/mutations.py")]:
        raise Unfit(f"what is imported is not the copy but {imported} {done.stderr}")
    return copy


def _at(copy: Path) -> dict[str, str]:
    """The environment of the copy. Bytecode is kept by size and second, so it could be that of the line before."""
    return {**os.environ, "PYTHONPATH": str(copy), "PYTHONDONTWRITEBYTECODE": "1"}


def _broken(copy: Path, mutation: Mutation) -> str:
    """The text of the file with the mutation in it. Raises Unfit."""
    path = copy / "render" / mutation.file
    if not path.is_file():
        raise Unfit(f"{mutation.what}: there is no render/{mutation.file}")
    text = path.read_text(encoding="utf-8")
    if (times := text.count(mutation.old)) != 1:
        raise Unfit(f"{mutation.what}: in render/{mutation.file} it stands {times} times: {mutation.old}")
    return text.replace(mutation.old, mutation.new)


@dataclass(frozen=True)
class _Tested:
    """The first test that failed, if any, and what pytest told."""

    failed: str
    told: str


def _tested(copy: Path, tests: Sequence[str], stop: bool) -> _Tested:
    """Runs tests in the copy, up to the first failure if `stop`. Raises Unfit where they cannot all be run."""
    command = [sys.executable, "-m", "pytest", "-q", "-rfE", "-p", "no:cacheprovider", "--slow", *tests]
    command += ["-x"] if stop else []
    done = subprocess.run(command, cwd=copy, env=_at(copy), capture_output=True, text=True, check=False)
    if done.returncode not in (PYTEST_PASSED, PYTEST_FAILED) or _LEFT_OUT.search(done.stdout[-500:]):
        raise Unfit(f"not all of {', '.join(tests)} could be run\n{done.stdout[-3000:]}{done.stderr[-1000:]}")
    found = _FAILED.search(done.stdout)
    if (done.returncode == PYTEST_FAILED) != bool(found):
        raise Unfit(f"what pytest told is not understood\n{done.stdout[-3000:]}")
    return _Tested(found[1] if found else "", done.stdout[-3000:])


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
