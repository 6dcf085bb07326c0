"""Stage: figures of frames -> verdicts, with the grower's own put above them.

A frame's verdict rests on the frames around it, so all of a camera's are judged together. With
new frames after the others it goes on from those that are settled, with what was learned from
them; whenever a frame among these came, went or changed, a limit did, or the judging itself, it
begins anew. Both come to the same verdicts. Frames are read a few hundred at a time, each part
going on from what is settled of the one before. The grower's words stand above what was found and
are laid on without judging anew.
"""

import hashlib
import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict, replace
from datetime import timedelta
from pathlib import Path

from lapsekit.catalogue import NOT_WATCHED, Figured, Frame, FrameVerdict, Judging, Screening
from lapsekit.errors import SettingsError
from lapsekit.frames.thinned import Kept, Thinned
from lapsekit.locks import writing
from lapsekit.season import VERDICTS_FILE, Season
from lapsekit.texts import rewrite
from lapsekit.verdicts import SAID_NO, SAID_YES, Ruling, parse_verdicts, with_verdicts
from lapsekit.vision.figures import Figures
from lapsekit.vision.screening import Judged, Limits, Memory, Seen, Verdict, judge_on

#: Raised by hand whenever judging changes its verdicts, or the form of what it remembers.
ARITHMETIC = 3

PART = 500
"""Frames that are read and judged at a time, beside those that they are compared with."""

_INSTANT = timedelta(seconds=1)

NOT_REGISTERED = "not registered"

MAY_SHOW_SOMEBODY = (
    *("obstructed", "glare", "frozen", "blurred", "grey"),
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
    basis = _basis(season)
    return any(_waits(season, camera, basis, rulings) for camera in season.settings.cameras)


def _waits(season: Season, camera: str, basis: str, rulings: Mapping[str, Ruling]) -> bool:
    judged = season.catalogue.judging(camera)
    if judged is None:
        return season.catalogue.has_figures(camera)
    return (judged.basis, judged.ruled, judged.open_from) != (basis, _ruled(rulings), None)


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
    frames = list(dict.fromkeys(_named(season, name) for name in names))
    path = season.folder / VERDICTS_FILE

    def said(text: str) -> str:
        parse_verdicts(text, path)
        return with_verdicts(text, frames, use, note)

    with writing(season.folder, "frames"):
        rewrite(path, said)
    return frames


def _named(season: Season, name: str) -> str:
    full = Path(name).resolve()
    if full.is_relative_to(season.folder.resolve()):
        name = full.relative_to(season.folder.resolve()).as_posix()
    found = season.catalogue.named([name])
    if len(found) != 1:
        why = f"may be any of {', '.join(found)}; write which" if found else "is not in this season"
        raise SettingsError(f"frame {name} {why}; lapsekit frames lists them")
    return found[0]


def _judge_camera(season: Season, camera: str, rulings: Mapping[str, Ruling]) -> None:
    before, now = season.catalogue.judging(camera), Judging(_basis(season), _ruled(rulings))
    if before and before.basis == now.basis and before.open_from is None:
        if before.ruled != now.ruled:
            _lay_on(season, camera, rulings, replace(before, ruled=now.ruled))
        return
    goes_on = before and before.basis == now.basis and _is_after_settled(before)
    judging = replace(before, ruled=before.ruled) if goes_on else now
    final = _Final(season, camera, rulings)
    part, more = PART, True
    while more:
        found, fresh = _next(season, camera, judging, part)
        more = len(fresh) == part
        if not fresh:
            season.catalogue.record_verdicts(camera, [], replace(judging, open_from=None))
            break
        judged = judge_on([_seen(season, one) for one in found], _limits(season), _memory(judging))
        ready = judged.verdicts
        if more:  # what a later frame can change waits for it
            ready = ready[: judged.memory.settled - judging.settled] if judged.memory else []
        start = len(found) - len(judged.verdicts)
        judging = _after(judging, judged, found[start:], more)
        verdicts = final.verdicts(found[start : start + len(ready)], ready)
        season.catalogue.record_verdicts(camera, verdicts, judging)
        part = PART if ready else 2 * part
    if goes_on and before.ruled != now.ruled:
        _lay_on(season, camera, rulings, replace(judging, ruled=now.ruled))


def _is_after_settled(judging: Judging) -> bool:
    """Whether all that changed lies after the frames that are settled."""
    if judging.open_from is None or judging.settled_at is None:
        return judging.settled_at is not None
    return judging.open_from > judging.settled_at


def _next(
    season: Season, camera: str, judging: Judging, part: int
) -> tuple[list[Figured], list[Figured]]:
    """Frames to judge, with the settled ones that they are compared with; and those alone."""
    memory, key = _memory(judging), (judging.settled_at, judging.settled_path)
    fresh = season.catalogue.figures_after(camera, *key, part)
    needed = season.catalogue.figures_until(camera, *key, memory.needs) if memory else []
    return [*needed, *fresh], fresh


def _after(judging: Judging, judged: Judged, rest: Sequence[Figured], more: bool) -> Judging:
    """How far a camera is judged after a part; with `more` to come it is open from there on."""
    memory = judged.memory
    newly = memory.settled - judging.settled if memory else 0
    if newly:
        last = rest[newly - 1].frame
        judging = replace(
            judging,
            settled=memory.settled,
            settled_at=last.taken_at,
            settled_path=last.path,
            memory=json.dumps(memory.as_plain()),
        )
    open_from = rest[newly].frame.taken_at if more and newly < len(rest) else None
    if more and open_from is None:
        open_from = rest[-1].frame.taken_at + _INSTANT
    return replace(judging, open_from=open_from)


def _memory(judging: Judging) -> Memory | None:
    """What was learned before."""
    return Memory.from_plain(json.loads(judging.memory)) if judging.memory else None


def _lay_on(season: Season, camera: str, rulings: Mapping[str, Ruling], judging: Judging) -> None:
    """Lay the grower's words on verdicts that stand, and take back those that are said no more."""
    overruled = season.catalogue.overruled(camera)
    screened = season.catalogue.judged({*overruled, *rulings})
    found = [
        with_word(overruled.get(f.path, _found(s)), rulings.get(f.path))
        for f, s in screened
        if f.camera == camera
    ]
    season.catalogue.record_verdicts(camera, found, judging)


def _found(screening: Screening) -> FrameVerdict:
    return FrameVerdict(screening.path, screening.reasons, screening.told, screening.watched)


def _limits(season: Season) -> Limits:
    return Limits(**season.settings.screening.model_dump())


def _seen(season: Season, one: Figured) -> Seen:
    local = one.frame.taken_at.astimezone(season.zone)
    return Seen(local, Figures.from_plain(json.loads(one.figures)))


class _Final:
    """What frames' verdicts come to beside all else that is known of them."""

    def __init__(self, season: Season, camera: str, rulings: Mapping[str, Ruling]):
        self.season, self.rulings = season, rulings
        self.unattended = season.settings.cameras[camera].kind != "files"
        self.kept = _kept(season, camera)

    def verdicts(self, frames: Sequence[Figured], found: Sequence[Verdict]) -> list[FrameVerdict]:
        """Verdicts as they are recorded."""
        lost = self.season.catalogue.unregistered(one.frame.path for one in frames)
        return [
            self._verdict(one, self._alone(one.frame, verdict, lost.get(one.frame.path)))
            for one, verdict in zip(frames, found, strict=True)
        ]

    def _verdict(self, one: Figured, found: FrameVerdict) -> FrameVerdict:
        return with_word(self._among_all(one, found), self.rulings.get(one.frame.path))

    def _among_all(self, one: Figured, found: FrameVerdict) -> FrameVerdict:
        """The verdict from when the other frames of a day thinned out were there.

        By other settings it counts no longer, except that nobody comes into sight by that.
        """
        kept = self.kept.get(one.frame.path)
        if kept is None or kept.sha256 != one.frame.sha256:
            return found
        if kept.mark != verdict_mark(self.season, one.mark) and not (
            not found.reasons and set(kept.reasons) & set(MAY_SHOW_SOMEBODY)
        ):
            return found
        return FrameVerdict(one.frame.path, kept.reasons, kept.told, kept.watched)

    def _alone(self, frame: Frame, verdict: Verdict, lost: str | None) -> FrameVerdict:
        reason, told = verdict.reason, verdict.told
        if reason is None and lost is not None:
            reason, told = NOT_REGISTERED, f"{NOT_REGISTERED}: {lost}"
        if reason is None and verdict.alone and self.unattended:
            reason = NOT_WATCHED
            told = f"{reason}: too few other frames yet to see whether somebody stands in it"
        reasons = () if reason is None else (reason,)
        return FrameVerdict(frame.path, reasons, told, verdict.watched)


def with_word(found: FrameVerdict, ruling: Ruling | None) -> FrameVerdict:
    """A verdict with the grower's word above it; itself where there is none."""
    if ruling is None:
        return found
    note = f": {ruling.note}" if ruling.note else ""
    if not ruling.use:
        told = f"{SAID_NO}: left out by hand{note}"
        return FrameVerdict(found.path, (SAID_NO,), told, True, found)
    against = f", against {found.told}" if found.told else ""
    return FrameVerdict(found.path, (), f"{SAID_YES}{note}{against}", True, found)


def _kept(season: Season, camera: str) -> dict[str, Kept]:
    """Verdicts kept from before days were thinned out, but the grower's."""
    thinned = Thinned(season.folder)
    return {
        path: kept
        for path, kept in (thinned.kept.items() if thinned.days else ())
        if kept.camera == camera
        and (kept.camera, kept.day) in thinned.days
        and SAID_NO not in kept.reasons
        and not kept.told.startswith(SAID_YES)
    }


def verdict_mark(season: Season, screened: str) -> str:
    """Mark of the settings that a frame's verdict rests on; `screened` is that of its figures."""
    parts = (ARITHMETIC, asdict(_limits(season)), str(season.zone), screened)
    return hashlib.sha256(json.dumps(parts).encode()).hexdigest()[:16]


def _basis(season: Season) -> str:
    """Mark of the settings that verdicts are made by."""
    parts = (ARITHMETIC, asdict(_limits(season)), str(season.zone))
    return hashlib.sha256(json.dumps(parts).encode()).hexdigest()[:16]


def _ruled(rulings: Mapping[str, Ruling]) -> str:
    """Mark of the grower's words."""
    said = sorted((r.frame, r.use, r.note) for r in rulings.values())
    return hashlib.sha256(json.dumps(said).encode()).hexdigest()[:16]
