"""Stage: old frames -> a few a day, once all that they gave is written down.

Before a frame goes, its line, the daily values of its day and the verdicts on the frames that stay
are on the disk in ``thinned``; then the files go, then the catalogue forgets them, without the
values. Stopped anywhere and run again it comes to the same end.
"""

from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import date, timedelta

from lapsekit.catalogue import Frame, Screening
from lapsekit.copied import read_copied
from lapsekit.errors import SettingsError
from lapsekit.frames.thinned import DailyKept, Gone, Kept, Thinned
from lapsekit.frames.thinning import staying
from lapsekit.heights import Heights
from lapsekit.held import Held
from lapsekit.judging import verdict_mark, verdicts_waiting
from lapsekit.locks import writing
from lapsekit.progress import Track, silent
from lapsekit.ruler import Ruler
from lapsekit.season import SETTINGS_FILE, Season
from lapsekit.shapes import Shapes
from lapsekit.teaching import strokes_of
from lapsekit.trust import require_trust
from lapsekit.undone import frames_not_done
from lapsekit.vision.daily import scatter


@dataclass
class ThinReport:
    """What thinning did, or with a dry run would do.

    Attributes
    ----------
    gone : list of str
        Frames that went.
    freed_bytes : int
        What they took up.
    days : int
        Days that they are of, each camera's counted.
    of_days : list of dict
        These days: "camera", "day", how many frames it had and how many of them went.
    not_copied : int
        Frames that stay until a verified copy is elsewhere.
    not_ready : int
        Days that stay as they are until they are measured and judged by today's settings.
    """

    gone: list[str] = field(default_factory=list)
    freed_bytes: int = 0
    days: int = 0
    of_days: list[dict] = field(default_factory=list)
    not_copied: int = 0
    not_ready: int = 0


def thin(season: Season, dry_run: bool = False, track: Track = silent) -> ThinReport:
    """Thin out the days that are older than ``thinning.keep_all_days``.

    Parameters
    ----------
    season : Season
        An open season; the caller holds its stage lock, and the one for copies.
    dry_run : bool
        Choose and report; write and delete nothing.
    track : Track
        Told about progress.

    Returns
    -------
    ThinReport

    Raises
    ------
    NotTrusted
        If the season folder is not trusted.
    SettingsError
        If thinning is not set up, or needs a copy and no copies are.
    ArchiveError
        If something could not be written down, and then nothing goes; or not be deleted.
    """
    _require_set_up(season)
    if not dry_run:
        require_trust(season.folder, "delete old frames")
        season.index(track=track)
    report, work = ThinReport(), _Work(season)
    chosen = [day for camera in season.settings.cameras for day in work.days(camera, report)]
    copied = _copied(season) if season.settings.thinning.needs_copy else None
    for day in track(chosen, len(chosen), "thinning out"):
        going = [f for f in day.going if copied is None or (f.path, f.sha256) in copied]
        report.not_copied += len(day.going) - len(going)
        if not dry_run:
            with writing(season.folder, "thin"):  # nobody names a frame while it goes
                going = work.let_go(day, going)
        if not going:
            continue
        report.gone += [frame.path for frame in going]
        report.freed_bytes += sum(frame.size for frame in going)
        report.days += 1
        report.of_days.append(
            {
                "camera": day.camera,
                "day": day.day,
                "frames": len(day.frames),
                "gone": len(going),
            }
        )
    if report.gone and not dry_run:
        season.index(track=track)
    return report


def _require_set_up(season: Season) -> None:
    file, settings = season.folder / SETTINGS_FILE, season.settings
    if settings.thinning.keep_all_days is None:
        raise SettingsError(
            f"{file}: thinning is not set up, so all frames stay; give [thinning] a keep_all_days, "
            "the number of days of which all frames are kept"
        )
    if settings.thinning.needs_copy and settings.copies.to is None:
        raise SettingsError(
            f"{file}: thinning.needs_copy = true, but [copies] names no place, so no frame may go; "
            "set [copies] up and run it, or write needs_copy = false: then what is thinned out is "
            "gone for good"
        )


def _copied(season: Season) -> set[tuple[str, str]]:
    """Path and hash of what lies, verified, elsewhere."""
    return {(each.path, each.sha256) for each in read_copied(season.folder).values()}


@dataclass(frozen=True)
class _Day:
    """One camera's day that may be thinned out."""

    camera: str
    day: date
    frames: list[Frame]
    going: list[Frame]


class _Work:
    """What of a season may go, and what is written down before it does."""

    def __init__(self, season: Season):
        self.season, self.catalogue = season, season.catalogue
        self.ruler = Ruler(season)
        self.thinned, heights = Thinned(season.folder), Heights(season)
        self.held = {c: Held(self.ruler, c, heights) for c in season.settings.cameras}
        self.values = {(d.region, d.day): d for d in self.catalogue.daily()}
        self.named = _named(season, self.ruler)
        basis = self.catalogue.daily_basis()
        self.is_judged = not verdicts_waiting(season) and all(
            basis.get(r.name, "") == heights.mark(r) for r in season.regions.region
        )
        self.waiting = {(f.camera, f.day) for f in frames_not_done(self.ruler)[0]}

    def days(self, camera: str, report: ThinReport) -> Iterable[_Day]:
        """A camera's days of which frames go; those that are not ready are counted."""
        settings, today = self.season.settings.thinning, self.season.day_of(self.season.clock())
        last = today - timedelta(days=settings.keep_all_days + 1)
        for day in self.catalogue.days_with_more(camera, settings.then_a_day, last):
            frames, screened = self.catalogue.frames(camera, day), self._screened(camera, day)
            stay = staying(
                frames,
                usable=[path for path, seen in screened.items() if not seen.reasons],
                named=self.named,
                daily_at=self.season.daily_at(day),
                window=self.season.window(day),
                a_day=settings.then_a_day,
            )
            going = [frame for frame in frames if frame.path not in stay]
            if going and not self._is_ready(camera, day):
                report.not_ready += 1
            elif going:
                yield _Day(camera, day, frames, going)

    def _screened(self, camera: str, day: date) -> dict[str, Screening]:
        return {frame.path: seen for frame, seen in self.catalogue.screenings(camera, day)}

    def _is_ready(self, camera: str, day: date) -> bool:
        """Whether all that the day's frames can give is there, by today's settings."""
        if not self.is_judged or (camera, day) in self.waiting:
            return False
        return all((r.name, day) in self.values for r in self._regions(camera, day))

    def _regions(self, camera: str, day: date) -> list:
        regions = self.season.regions.region
        return [r for r in regions if r.camera == camera and r.outline_on(day) is not None]

    def let_go(self, day: _Day, going: list[Frame]) -> list[Frame]:
        """Delete what nobody named since the work began, and say what that was."""
        named = _named_in_texts(self.season, self.ruler)
        going = [frame for frame in going if frame.path not in named]
        if going:
            self.write_down(day, going)
            _delete(self.season, going)
        return going

    def write_down(self, day: _Day, going: list[Frame]) -> None:
        """Write down what is not yet, before `going` may go."""
        leaving = {frame.path for frame in going}
        new = [f for f in going if not self.thinned.has(f)]
        screened = self._screened(day.camera, day.day)
        gone = [Gone(f, screened[f.path].reasons) for f in new]
        left = [f for f in day.frames if f.path not in leaving]
        kept = [self._kept(frame, screened[frame.path]) for frame in left]
        kept = [each for each in kept if self.thinned.kept.get(each.path) != each]
        regions = self._regions(day.camera, day.day)
        daily = [d for region in regions if (d := self._daily(region, day)) is not None]
        self.thinned.write(gone, kept, daily)

    def _kept(self, frame: Frame, screening: Screening) -> Kept:
        mark = verdict_mark(self.season, screening.mark)
        told = " ".join(screening.told.split())
        verdict = screening.reasons, told, screening.watched
        return Kept(frame.path, frame.camera, frame.day, frame.sha256, *verdict, mark)

    def _daily(self, region, day: _Day) -> DailyKept | None:
        """A region's value with its mark; None where just this is written down already."""
        held, value = self.held[day.camera], self.values[region.name, day.day]
        old = held.value(region, day.day)
        if old is not None and old.daily == value:
            return None
        rows = self.catalogue.measurements(region.name, day.day, day.camera)
        spread = scatter([row.canopy_px for _, row in rows])
        return DailyKept(value, spread, held.mark(region, day.day))


def _named(season: Season, ruler: Ruler) -> set[str]:
    """Frames that something names, or that all others are held to."""
    found = _named_in_texts(season, ruler)
    for camera, view in ruler.views.items():
        found |= {season.settings.cameras[camera].reference or ""}
        if view.frame is not None:
            found |= {view.frame.path, *(frame.path for frame in view.witnesses)}
    return found


def _named_in_texts(season: Season, ruler: Ruler) -> set[str]:
    """Frames that verdicts.csv or colours.csv names, as they lie there now."""
    return set(season.rulings()[0]) | {s.frame for s in strokes_of(season, ruler.model)}


def _delete(season: Season, frames: Iterable[Frame]) -> None:
    shapes = Shapes(season.folder)
    for frame in frames:
        name = frame.path.rsplit("/", 1)[-1].rsplit(".", 1)[0]
        shapes.forget_cover(frame.camera, frame.day, name)
    season.archive.thin_out(frame.path for frame in frames)
