"""Stage: figures of frames -> verdicts, with the grower's own put above them.

A frame's verdict rests on the frames around it, so all of a camera's are judged together. With
new frames after the others it goes on from those that are settled, with what was learned from
them; whenever else a frame came or went, a limit or verdicts.csv changed, or the judging itself
did, it begins anew. Both come to the same verdicts.
"""

import hashlib
import json
from collections.abc import Iterable, Mapping
from dataclasses import asdict, dataclass
from pathlib import Path, PurePosixPath

from lapsekit.catalogue import NOT_WATCHED, Frame, FrameVerdict, Judging
from lapsekit.errors import SettingsError
from lapsekit.frames.thinned import Kept, Thinned
from lapsekit.season import VERDICTS_FILE, Season, writing
from lapsekit.texts import rewrite
from lapsekit.verdicts import SAID_NO, SAID_YES, Ruling, parse_verdicts, with_verdicts
from lapsekit.vision.figures import Figures
from lapsekit.vision.screening import Limits, Memory, Seen, Verdict, judge_on

#: Raised by hand whenever judging changes its verdicts, or the form of what it remembers.
ARITHMETIC = 2

NOT_REGISTERED = "not registered"

MAY_SHOW_SOMEBODY = (
    *("obstructed", "glare", "frozen", "blurred"),
    *(NOT_REGISTERED, NOT_WATCHED, SAID_NO),
)
"""Reasons with which a person may be recognisable; a frozen frame may repeat one that shows him."""


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
    rulings, notes = season.rulings()
    for camera in season.settings.cameras:
        _judge_camera(season, camera, rulings)
    return notes


def verdicts_waiting(season: Season) -> bool:
    """Whether any verdict is missing or rests on what has changed since."""
    rulings, _ = season.rulings()
    for camera in season.settings.cameras:
        marks, judged = season.catalogue.figure_marks(camera), season.catalogue.judging(camera)
        if marks and (judged is None or judged.basis != _basis(season, rulings, marks)):
            return True
    return False


def rule(season: Season, names: Iterable[str], use: bool, note: str | None = None) -> list[str]:
    """Write the grower's yes or no to frames into verdicts.csv.

    Parameters
    ----------
    season : Season
        An open season.
    names : iterable of str
        Frames: paths in the season folder, paths of the files, or file names.
    use : bool
        Whether they are to be used.
    note : str, optional
        Why.

    Returns
    -------
    list of str
        Their paths in the season folder.

    Raises
    ------
    SettingsError
        If a name is no frame's, or that of several; or if verdicts.csv cannot be used. Nothing is
        written then.
    SeasonBusy
        If another process holds the season's texts for ten seconds.
    """
    paths = season.catalogue.paths()
    frames = list(dict.fromkeys(_named(season, name, paths) for name in names))
    path = season.folder / VERDICTS_FILE

    def said(text: str) -> str:
        parse_verdicts(text, path)
        return with_verdicts(text, frames, use, note)

    with writing(season.folder, "frames"):
        rewrite(path, said)
    return frames


def _named(season: Season, name: str, paths: Iterable[str]) -> str:
    full = Path(name).resolve()
    if full.is_relative_to(season.folder.resolve()):
        name = full.relative_to(season.folder.resolve()).as_posix()
    found = [path for path in paths if name in (path, PurePosixPath(path).name)]
    if len(found) != 1:
        why = f"may be any of {', '.join(found)}; write which" if found else "is not in this season"
        raise SettingsError(f"frame {name} {why}; lapsekit frames lists them")
    return found[0]


def _judge_camera(season: Season, camera: str, rulings: Mapping[str, Ruling]) -> None:
    marks, before = season.catalogue.figure_marks(camera), season.catalogue.judging(camera)
    basis = _basis(season, rulings, marks)
    if not marks or (before and before.basis == basis):
        return
    memory = _memory(season, rulings, marks, before)
    skipped = memory.settled - memory.needs if memory else 0
    known = season.catalogue.figures(camera, skipped)
    judged = judge_on([_seen(season, *row) for row in known], _limits(season), memory)
    final = _Final(
        rulings,
        season.catalogue.unregistered(),
        season.settings.cameras[camera].kind != "files",
        *_kept(season, {path: mark for path, _, mark in marks}),
    )
    fresh = known[len(known) - len(judged.verdicts) :]
    found = [final.verdict(row[0], v) for row, v in zip(fresh, judged.verdicts, strict=True)]
    settled = judged.memory.settled if judged.memory else 0
    kept = json.dumps(judged.memory.as_plain()) if judged.memory else ""
    judging = Judging(basis, settled, _basis(season, rulings, marks[:settled]), kept)
    season.catalogue.record_verdicts(camera, found, judging)


def _memory(
    season: Season, rulings: Mapping[str, Ruling], marks: list, before: Judging | None
) -> Memory | None:
    """What was learned before, if the frames that taught it are still those."""
    if not before or not before.settled or len(marks) < before.settled:
        return None
    if before.settled_basis != _basis(season, rulings, marks[: before.settled]):
        return None
    return Memory.from_plain(json.loads(before.memory))


def _limits(season: Season) -> Limits:
    return Limits(**season.settings.screening.model_dump())


def _seen(season: Season, frame: Frame, figures: str) -> Seen:
    local = frame.taken_at.astimezone(season.zone)
    return Seen(local, Figures.from_plain(json.loads(figures)))


@dataclass(frozen=True)
class _Final:
    """What a frame's verdict comes to beside all else that is known of it."""

    rulings: Mapping[str, Ruling]
    lost: Mapping[str, str]
    unattended: bool
    kept: Mapping[str, Kept]
    marks: Mapping[str, str]

    def verdict(self, frame: Frame, verdict: Verdict) -> FrameVerdict:
        ruling = self.rulings.get(frame.path)
        return self._among_all(frame, self._alone(frame, verdict, ruling), ruling)

    def _among_all(self, frame: Frame, found: FrameVerdict, ruling: Ruling | None) -> FrameVerdict:
        """The verdict from when the other frames of a day thinned out were there.

        By other settings it counts no longer, except that nobody comes into sight by that.
        """
        kept = self.kept.get(frame.path)
        if ruling or kept is None or kept.sha256 != frame.sha256:
            return found
        if kept.mark != self.marks[frame.path] and not (
            not found.reasons and set(kept.reasons) & set(MAY_SHOW_SOMEBODY)
        ):
            return found
        return FrameVerdict(frame.path, kept.reasons, kept.told, kept.watched)

    def _alone(self, frame: Frame, verdict: Verdict, ruling: Ruling | None) -> FrameVerdict:
        reason, told = verdict.reason, verdict.told
        if reason is None and frame.path in self.lost:
            reason, told = NOT_REGISTERED, f"{NOT_REGISTERED}: {self.lost[frame.path]}"
        if reason is None and verdict.alone and self.unattended:
            reason = NOT_WATCHED
            told = f"{reason}: too few other frames yet to see whether somebody stands in it"
        if ruling is None:
            reasons = () if reason is None else (reason,)
            return FrameVerdict(frame.path, reasons, told, verdict.watched)
        note = f": {ruling.note}" if ruling.note else ""
        if not ruling.use:
            return FrameVerdict(frame.path, (SAID_NO,), f"{SAID_NO}: left out by hand{note}", True)
        against = f", against {told}" if told else ""
        return FrameVerdict(frame.path, (), f"{SAID_YES}{note}{against}", True)


def _kept(season: Season, screened: Mapping[str, str]) -> tuple[dict[str, Kept], dict[str, str]]:
    """Verdicts kept from before days were thinned out, but the grower's; marks of verdicts now."""
    thinned = Thinned(season.folder)
    found = {
        path: kept
        for path, kept in (thinned.kept.items() if thinned.days else ())
        if (kept.camera, kept.day) in thinned.days
        and SAID_NO not in kept.reasons
        and not kept.told.startswith(SAID_YES)
    }
    return found, {path: verdict_mark(season, screened[path]) for path in screened if found}


def verdict_mark(season: Season, screened: str) -> str:
    """Mark of the settings that a frame's verdict rests on; `screened` is that of its figures."""
    parts = (ARITHMETIC, asdict(_limits(season)), str(season.zone), screened)
    return hashlib.sha256(json.dumps(parts).encode()).hexdigest()[:16]


def _basis(season: Season, rulings: Mapping[str, Ruling], marks: list) -> str:
    """Mark of all that the verdicts on so many frames of a camera are made from."""
    ruled = [(r.frame, r.use, r.note) for r in rulings.values()]
    parts = (ARITHMETIC, asdict(_limits(season)), str(season.zone), sorted(ruled), marks)
    return hashlib.sha256(json.dumps(parts).encode()).hexdigest()[:16]
