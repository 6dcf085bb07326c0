"""Frames: when the last one came, and how many of those due are there."""

from collections.abc import Iterator
from datetime import datetime, timedelta

from lapsekit.catalogue import Frame
from lapsekit.checking.finding import FINE, RECENT_DAYS, WATCH, WRONG, Finding, Look
from lapsekit.checking.silence import GRACE, WATCHED_HOURS, silence
from lapsekit.frames.indexing import lost_days
from lapsekit.season import SETTINGS_FILE
from lapsekit.when import is_met

LATE_TIMES = 3
"""Captures in a row that may be missing before the camera counts as late."""

_PLAYED = ("files", "replay")
"""Kinds of camera whose pictures were taken before: none is ever due."""

RETURN_FINE, RETURN_WATCH = 0.95, 0.5
"""Share of the frames due that is there; under the second, something is wrong."""


def frame_files(look: Look) -> Iterator[Finding]:
    """Whether the files of the frames that are known are there at all; not asked of far places."""
    if look.season.settings.frames.at:
        return
    there = (folder.path for folder in look.season.archive.folders())
    lost = lost_days(look.season.catalogue.folders(), there)
    if lost:
        yield Finding(
            "frames folder", WRONG, f"{lost}; is a disk not mounted, or the folder moved?"
        )


def last_frames(look: Look) -> Iterator[Finding]:
    """When the last frame of each camera came."""
    for name, model in look.season.settings.cameras.items():
        what, last = f"frames of {name}", look.last_frames[name]
        if last is None:
            way = "import brings some in" if model.kind == "files" else "capture files one"
            yield Finding(what, WATCH, f"none yet; lapsekit {way}")
            continue
        told = f"last one of {_moment(look, last.taken_at)}"
        missed = silence(look.season, _due_since(look, name), look.now)
        if model.kind not in (*_PLAYED, "watched") and missed.frames >= LATE_TIMES:
            told = f"{told}, and {missed.frames} more were due; is lapsekit run running?"
            yield Finding(what, WRONG, told)
        elif (days := (look.season.day_of(look.now) - last.day).days) > RECENT_DAYS:
            yield Finding(what, WATCH, f"{told}, {days} days ago; none came since")
        else:
            yield Finding(what, FINE, told)


def silent(look: Look) -> Iterator[Finding]:
    """Cameras that have been silent for as long as ``no_frame_hours`` says.

    A camera that never took a frame itself counts from when season.toml was last written; one
    that watches a folder is given `WATCHED_HOURS` besides.
    """
    limit = look.season.settings.alerts.no_frame_hours
    for name, model in look.season.settings.cameras.items():
        if model.kind in _PLAYED:
            continue
        frame = look.last_frames[name]
        since = _due_since(look, name)
        missed, passed = silence(look.season, since, look.now), look.now - since
        at_least = WATCHED_HOURS if model.kind == "watched" else 0.0
        if missed.hours >= limit and passed >= timedelta(hours=at_least):
            last = (
                f"the last is of {_moment(look, frame.taken_at)}"
                if frame
                else "there never was one"
            )
            yield Finding(
                f"frames of {name}",
                WRONG,
                f"none for {missed.hours:.0f} hours in which they were due; {last}. Look at the "
                "camera, its cable and its power; lapsekit check asks it for a picture",
            )


def returned(look: Look) -> Iterator[Finding]:
    """How many of the frames that were due in the last days are there."""
    for name, model in look.season.settings.cameras.items():
        if model.kind in (*_PLAYED, "watched") or look.last_frames[name] is None:
            continue
        since = look.now - timedelta(days=RECENT_DAYS)
        captured = look.season.catalogue.captured(name, since - GRACE)
        if look.season.catalogue.captured_before(name, since) is None:
            since = min(captured, default=look.now)  # frames brought in say nothing of capturing
        due, there, gaps = 0, 0, []
        for number in range(RECENT_DAYS + 1):
            day = look.season.day_of(look.now) - timedelta(days=RECENT_DAYS - number)
            times = [t for t in look.season.due_times(day) if since <= t <= look.now - GRACE]
            have = sum(is_met(at, captured, GRACE) for at in times)
            due, there = due + len(times), there + have
            gaps += [f"{day} {have} of {len(times)}"] if have < RETURN_FINE * len(times) else []
        if due:
            share = there / due
            how = FINE if share >= RETURN_FINE else WATCH if share >= RETURN_WATCH else WRONG
            told = f"{there} of {due} frames due in the last {RECENT_DAYS} days are there"
            more = f" ({', '.join(gaps)})" if how != FINE else ""
            yield Finding(f"return of {name}", how, f"{told}, {share:.1%}{more}")


def _due_since(look: Look, camera: str) -> datetime:
    """From when on frames were due that are not there.

    Nothing was due before the season's settings stood: frames of earlier days that were brought
    in do not say that a camera has been silent since.
    """
    last = look.last_frames[camera]
    if last is None:
        return _set_up(look)
    if last.arrived_by != "import" or _was_captured(look, last):
        return last.taken_at
    return max(_set_up(look), last.taken_at)


def _was_captured(look: Look, last: Frame) -> bool:
    """Whether the camera of a frame that was brought in ever took one before it."""
    return look.season.catalogue.captured_before(last.camera, last.taken_at) is not None


def _set_up(look: Look) -> datetime:
    """When season.toml was last written."""
    written = (look.season.folder / SETTINGS_FILE).stat().st_mtime
    return datetime.fromtimestamp(written, look.now.tzinfo)


def _moment(look: Look, at: datetime) -> str:
    return f"{at.astimezone(look.season.zone):%Y-%m-%d %H:%M}"
