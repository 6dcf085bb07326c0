"""Frames of a season with their verdicts, as plain rows."""

from dataclasses import dataclass, field
from datetime import date, datetime
from heapq import nlargest

from lapsekit.catalogue import NOT_JUDGED, Frame, Screening
from lapsekit.judging import MAY_SHOW_SOMEBODY
from lapsekit.season import Season
from lapsekit.viewing import View

_OTHER_SIZE = "used on days without frames of the view's size alone: it has {} x {} px"


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
        The reason with its figure and what that was compared with; of a usable frame, that it
        counts only on days without others, since its size is not the view's.
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
    left_out : int
        Those of them that are judged, and not used.
    not_judged : int
        Those that nobody has judged yet: measuring does.
    not_listed : int
        Frames asked for that came before those in `rows`.
    sheet : str or None
        The contact sheet that was written.
    """

    title: str
    rows: list[FrameRow] = field(default_factory=list)
    looked_at: int = 0
    left_out: int = 0
    not_judged: int = 0
    not_listed: int = 0
    sheet: str | None = None


def list_frames(
    season: Season,
    left_out: bool = False,
    first: date | None = None,
    last: date | None = None,
    camera: str | None = None,
    most: int | None = None,
) -> FramesReport:
    """Screened frames of a season.

    Parameters
    ----------
    season : Season
        An open season.
    left_out : bool
        Only those that are not used, or not judged yet.
    first, last : date, optional
        Local days to begin and to end with.
    camera : str, optional
        One camera's only.
    most : int, optional
        How many of the latest at most; all by default.

    Returns
    -------
    FramesReport
    """
    report = FramesReport(season.settings.season.title)
    span, asked = (first or date.min, last or date.max), 0
    for name in [camera] if camera else season.catalogue.cameras():
        for _, _, reasons, number in season.catalogue.counts(name, *span):
            waits = reasons is None or NOT_JUDGED in reasons
            report.looked_at += number
            report.not_judged += number if waits else 0
            report.left_out += number if reasons and not waits else 0
            asked += number if reasons or (reasons is not None and not left_out) else 0
        several = len(season.catalogue.picture_sizes(name)) > 1
        view = View(season, name) if several and name in season.settings.cameras else None
        report.rows += [
            _row(season, frame, screening, view is None or view.fits(frame))
            for frame, screening in season.catalogue.latest_screened(name, *span, left_out, most)
        ]
    if most is not None:
        latest = nlargest(most, report.rows, key=lambda row: row.taken_at)
        report.rows = sorted(latest, key=lambda row: (row.camera, row.taken_at, row.path))
    report.not_listed = asked - len(report.rows)
    return report


def _row(season: Season, frame: Frame, screening: Screening, fits: bool) -> FrameRow:
    reason = ", ".join(screening.reasons)
    other = "" if fits else _OTHER_SIZE.format(frame.width, frame.height)
    return FrameRow(
        frame.path,
        frame.camera,
        frame.taken_at.astimezone(season.zone),
        frame.day,
        not reason,
        reason,
        screening.told or reason or other,
        screening.watched,
    )
