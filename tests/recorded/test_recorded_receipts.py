"""A receipt is complete: whatever scripts rely on is there, of the type they rely on, for real recordings."""

import hashlib
from typing import Any

import pytest
import soundfile
from recorded_material import LOOPS, RATE_HZ, clip_of, track_lines, write_recipe

pytestmark = pytest.mark.debian

NUMBER = (int, float)
MAYBE = (int, float, type(None))
READINGS = {"integrated_lufs": NUMBER, "true_peak_dbtp": NUMBER, "sample_peak_dbfs": NUMBER}
RECEIPT: dict[str, Any] = {
    "format_version": int,
    "recipe": str,
    "variant": str,
    "title": str,
    "tempo_bpm": NUMBER,
    "landing_s": NUMBER,
    "duration_s": NUMBER,
    "engine": str,
    "pcm_sha256": str,
    "file_sha256": str,
    "tracks": list,
    "mix": dict,
    "encoded": dict,
    "headroom_needed_db": NUMBER,
    "low_end_overlap": MAYBE,
    "findings": list,
    "versions": dict,
}
TRACK: dict[str, Any] = {
    "name": str,
    "file": str,
    "sha256": str,
    "tempo_bpm": NUMBER,
    "first_beat_s": NUMBER,
    "key": (str, type(None)),
    "source": dict,
    "landing_error_ms": MAYBE,
    "worst_beat_ms": MAYBE,
    "gain_db": NUMBER,
}
FINDING: dict[str, Any] = {"level": str, "code": str, "text": str, "value": MAYBE}


def has(data: dict[str, Any], names: dict[str, Any]) -> bool:
    """Whether every name is there with a value of its type."""
    wrong = {name: data.get(name, "missing") for name, kind in names.items() if not _is(data, name, kind)}
    assert not wrong
    return True


def _is(data: dict[str, Any], name: str, kind: Any) -> bool:
    return name in data and isinstance(data[name], kind) and not isinstance(data[name], bool)


@pytest.mark.parametrize("form", ["mp3", "flac"])
def test_a_receipt_has_every_name_that_scripts_rely_on(tmp_path, loop_folder, form: str):
    tracks, files = [], []
    for loop, key in ((LOOPS["loop_breakbeat"], "F minor"), (LOOPS["loop_garzul"], None)):
        files.append(tmp_path / f"{loop.name}.flac")
        soundfile.write(files[-1], loop.tiled(loop_folder), RATE_HZ, subtype="PCM_16")
        more = {"key": key} if key else {}
        tracks.append(track_lines(loop.name, files[-1], loop.tempo_bpm, 0.0, markers="{drop: bar 9}", **more))
    clip = clip_of(write_recipe(tmp_path, *tracks, rest="tempo: 123", form=form))
    receipt = clip.receipt
    assert has(receipt, RECEIPT) and has(receipt["mix"], READINGS) and has(receipt["encoded"], READINGS)
    assert [has(track, TRACK) for track in receipt["tracks"]] == [True, True]
    assert receipt["findings"] and all(has(finding, FINDING) for finding in receipt["findings"])
    assert {finding["level"] for finding in receipt["findings"]} <= {"note", "warning", "failure"}

    assert (receipt["recipe"], receipt["variant"], receipt["title"]) == ("layers", "", "Layers")
    assert receipt["file_sha256"] == hashlib.sha256(clip.path.read_bytes()).hexdigest()
    for track, file in zip(receipt["tracks"], files, strict=True):
        assert track["file"] == file.name
        assert track["sha256"] == hashlib.sha256(file.read_bytes()).hexdigest()
        assert {track["source"][fact] for fact in ("tempo_bpm", "first_beat_s")} == {"stated"}
    assert [track["key"] for track in receipt["tracks"]] == ["F minor", None]
    assert [track["source"].get("key") for track in receipt["tracks"]] == ["stated", None]
    assert receipt["duration_s"] == pytest.approx(32 * 60 / 123, abs=0.5 / RATE_HZ)
    assert receipt["landing_s"] == pytest.approx(16 * 60 / 123, abs=0.5 / RATE_HZ)
    assert {receipt["engine"], "numpy", "soundfile", "dropkiln"} <= receipt["versions"].keys()
