"""Frames of a season with their verdicts, as plain rows."""

from dataclasses import dataclass, field
from datetime import date, datetime

from lapsekit.judging import MAY_SHOW_SOMEBODY
from lapsekit.season import Season


@dataclass(frozen=True)
class FrameRow:
    """One frame and what screening holds of it.

    Attributes
    ----------
    path, camera : str
    taken_at : datetime
        Local time.
    day : date
    usable : bool
    reason : str
        Why it is left out, in a word or two; empty for a usable frame.
    told : str
        The reason with its figure and what that was compared with.
    watched : bool
        Whether visitors could be looked for in it.
    """

    path: str
    camera: str
    taken_at: datetime
    day: date
    usable: bool
    reason: str
    told: str
    watched: bool

    @property
    def may_show_somebody(self) -> bool:
        """Whether a person may be recognisable in it; a frozen frame may repeat one that does."""
        return self.reason in MAY_SHOW_SOMEBODY


@dataclass
class FramesReport:
    """Frames asked for.

    Attributes
    ----------
    title : str
        Of the season.
    rows : list of FrameRow
        In order of camera and time.
    looked_at : int
        Frames in the span asked for, left out or not.
    sheet : str or None
        The contact sheet that was written.
    """

    title: str
    rows: list[FrameRow] = field(default_factory=list)
    looked_at: int = 0
    sheet: str | None = None


def list_frames(
    season: Season,
    left_out: bool = False,
    first: date | None = None,
    last: date | None = None,
    camera: str | None = None,
) -> FramesReport:
    """Screened frames of a season.

    Parameters
    ----------
    season : Season
        An open season.
    left_out : bool
        Only those that are not used.
    first, last : date, optional
        Local days to begin and to end with.
    camera : str, optional
        One camera's only.

    Returns
    -------
    FramesReport
    """
    report = FramesReport(season.settings.season.title)
    for frame, screening in season.catalogue.screenings():
        early, late = first and frame.day < first, last and frame.day > last
        if early or late or camera not in (None, frame.camera):
            continue
        report.looked_at += 1
        reason = ", ".join(screening.reasons)
        row = FrameRow(
            frame.path,
            frame.camera,
            frame.taken_at.astimezone(season.zone),
            frame.day,
            not reason,
            reason,
            screening.told or reason,
            screening.watched,
        )
        if reason or not left_out:
            report.rows.append(row)
    return report
