"""Stage: figures of frames -> verdicts, with the grower's own put above them.

A frame's verdict rests on the frames around it, so all of a camera's are judged together, and
anew whenever a frame came or went, a limit or verdicts.csv changed, or the judging itself did.
"""

import hashlib
import json
from collections.abc import Mapping
from dataclasses import asdict

from lapsekit.catalogue import Frame, FrameVerdict
from lapsekit.season import VERDICTS_FILE, Season
from lapsekit.verdicts import Ruling, by_path, read_verdicts
from lapsekit.vision.figures import Figures
from lapsekit.vision.screening import Limits, Seen, Verdict, judge

#: Raised by hand whenever the arithmetic of judging changes its verdicts.
ARITHMETIC = 1

SAID_NO = "said no"


def judge_season(season: Season) -> list[str]:
    """Bring the verdicts on all measured frames up to date.

    Parameters
    ----------
    season : Season
        An open season; the caller holds its stage lock.

    Returns
    -------
    list of str
        A sentence for each line of verdicts.csv that names no frame.

    Raises
    ------
    SettingsError
        If verdicts.csv cannot be used; nothing is changed then.
    """
    path = season.folder / VERDICTS_FILE
    rulings, notes = by_path(path, read_verdicts(path), season.catalogue.paths())
    limits = Limits(**season.settings.screening.model_dump())
    for camera in season.settings.cameras:
        _judge_camera(season, camera, limits, rulings)
    return notes


def verdicts_waiting(season: Season) -> bool:
    """Whether any verdict is missing or rests on what has changed since."""
    path = season.folder / VERDICTS_FILE
    rulings, _ = by_path(path, read_verdicts(path), season.catalogue.paths())
    limits = Limits(**season.settings.screening.model_dump())
    return any(
        season.catalogue.judged_by(camera) - {_basis(season, camera, limits, rulings)}
        for camera in season.settings.cameras
    )


def _judge_camera(
    season: Season, camera: str, limits: Limits, rulings: Mapping[str, Ruling]
) -> None:
    basis = _basis(season, camera, limits, rulings)
    if not season.catalogue.judged_by(camera) - {basis}:
        return
    known = season.catalogue.figures(camera)
    seen = [
        Seen(frame.taken_at.astimezone(season.zone), Figures.from_plain(json.loads(figures)))
        for frame, figures in known
    ]
    found = [
        _final(frame, verdict, rulings.get(frame.path))
        for (frame, _), verdict in zip(known, judge(seen, limits), strict=True)
    ]
    season.catalogue.record_verdicts(found, basis)


def _final(frame: Frame, verdict: Verdict, ruling: Ruling | None) -> FrameVerdict:
    if ruling is None:
        reasons = () if verdict.reason is None else (verdict.reason,)
        return FrameVerdict(frame.path, reasons, verdict.told, verdict.watched)
    note = f": {ruling.note}" if ruling.note else ""
    if not ruling.use:
        return FrameVerdict(frame.path, (SAID_NO,), f"{SAID_NO}: left out by hand{note}", True)
    against = f", against {verdict.told}" if verdict.told else ""
    return FrameVerdict(frame.path, (), f"said yes{note}{against}", True)


def _basis(season: Season, camera: str, limits: Limits, rulings: Mapping[str, Ruling]) -> str:
    """Mark of all that the verdicts on a camera's frames are made from."""
    frames = season.catalogue.judged_frames(camera)
    ruled = [(r.frame, r.use, r.note) for r in rulings.values()]
    parts = (ARITHMETIC, asdict(limits), str(season.zone), sorted(ruled), frames)
    return hashlib.sha256(json.dumps(parts).encode()).hexdigest()[:16]
