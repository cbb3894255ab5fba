"""A mix on the disk: encoded to its level, judged, and given its name, with picture and receipt.

The receipt is written last: a clip without one is not finished.
"""

from render.checks.clip import findings_of, headroom_needed_db
from render.checks.judge import judge_matched
from render.checks.model import Finding
from render.clip.identity import inputs_beside
from render.clip.mixed import MixedClip
from render.clip.order import Done, Refused
from render.clip.stage import stage
from render.files.sound_file import sha256_of
from render.files.tags import ClipTags, write_tags
from render.files.to_ceiling import Encoded, encode_to
from render.files.whole_file import whole_file, write_whole
from render.plan.marks import comment, marks
from render.plan.model import ClipPlan
from render.publish.picture import picture_svg
from render.publish.receipt import Measured, Proof, receipt
from render.sound.engine import Engine
from render.sound.levels import Level, ToLoudness
from render.values import Audio


class _Withheld(Exception):
    """Takes the encoded file back before it gets its name."""


def published(
    mixed: MixedClip, audio: Audio, level: Level, group_sha256: str | None, engine: Engine
) -> tuple[Done | Refused, Level]:
    """Encode a mix and publish it whole, or refuse it; and the level it reached, which may be below the one asked for.

    Raises ToolError and OutputError.
    """
    plan, identity = mixed.order.plan, mixed.identity
    stage(plan.name, "encoding")
    try:
        with whole_file(identity.clip) as draft:
            # The encoder is a program of its own; the mix is read aside while it works.
            encoded = encode_to(audio, plan.clock.rate_hz, mixed.levels, level, plan.format, draft)
            write_tags(draft, plan.format, _tags(plan))
            file_sha256 = sha256_of(draft)
            findings = _findings(mixed, encoded)
            if any(finding.level == "failure" for finding in findings):
                raise _Withheld
    except _Withheld:
        return Refused(plan.name, findings), encoded.level

    read = mixed.read.result()
    measured = Measured(
        lanes=read.mix.lanes,
        gains_db=tuple(mixed.gains_db),
        trim_db=encoded.trim_db,
        matched_lufs=_matched_lufs(encoded),
        mix=mixed.levels,
        encoded=encoded.readings,
        headroom_needed_db=headroom_needed_db(mixed.levels),
        low_end_overlap=read.mix.low_end_overlap,
        findings=findings,
    )
    proof = Proof(
        inputs_sha256=inputs_beside(identity, group_sha256),
        group_sha256=group_sha256,
        pcm_sha256=encoded.pcm_sha256,
        file_sha256=file_sha256,
        source_sha256=identity.source_sha256,
        engine=engine.name,
        versions=identity.versions,
    )
    facts = mixed.order.facts
    write_whole(identity.clip.with_suffix(".svg"), picture_svg(plan, facts, read.energies))
    write_whole(identity.clip.with_suffix(".json"), receipt(plan, facts, measured, proof))
    return Done(plan.name, identity.clip, findings, stretched_s=mixed.stretched_s), encoded.level


def _findings(mixed: MixedClip, encoded: Encoded) -> tuple[Finding, ...]:
    found = findings_of(mixed.order.plan, mixed.levels, mixed.read.result().mix, encoded.readings)
    return (*mixed.findings, *found, *_against_the_others(mixed, encoded))


def _against_the_others(mixed: MixedClip, encoded: Encoded) -> list[Finding]:
    lufs, likely_lufs, loud_lufs = _matched_lufs(encoded), mixed.likely_lufs, encoded.readings.integrated_lufs
    if lufs is None or likely_lufs is None or loud_lufs is None:
        return []
    return judge_matched(likely_lufs - lufs, lufs - loud_lufs)


def _matched_lufs(encoded: Encoded) -> float | None:
    return encoded.level.lufs if isinstance(encoded.level, ToLoudness) else None


def _tags(plan: ClipPlan) -> ClipTags:
    tracks = tuple(lane.track for lane in plan.lanes)
    return ClipTags(plan.title, tracks, comment(plan), plan.clock.tempo_bpm, marks(plan))
