"""Stage: a camera's frames -> outlines of regions, proposed from containers and from what grows.

Nothing is decided here: what is proposed is text for regions.toml, to be looked at, named and moved
by the grower.
"""

from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path

import cv2
import numpy as np

from lapsekit.aiming_picture import overlay, require_overlay_place
from lapsekit.catalogue import Frame
from lapsekit.diary import Event, read_diary
from lapsekit.errors import ArchiveError, PictureError, SettingsError
from lapsekit.progress import Track, silent
from lapsekit.ruler import load_model
from lapsekit.safely import write_safely
from lapsekit.season import DIARY_FILE, REGIONS_FILE, Season
from lapsekit.viewing import View, in_reference_view
from lapsekit.vision.canopy import cover_and_doubt
from lapsekit.vision.detail import Detail
from lapsekit.vision.meeting import Several, may_be_several
from lapsekit.vision.plant_rooms import Proposal
from lapsekit.vision.proposing import propose
from lapsekit.vision.reduction import reduced_points
from lapsekit.vision.registration import NotRegistered
from lapsekit.vision.sights import Sight, without_shadows
from lapsekit.vision.standing import Change, Standing, standing

CHANGES = ("potted on", "moved")
"""Events of the diary after which a plant stands in another rim, or elsewhere."""

SIGHTS = 6
"""Days that are looked at, from the first to the last: early ones show rims, late ones leaves."""

MORE = 3
"""Days that are looked at besides, between the last on which a rim was seen and the next: it may
have been changed for a larger one, which leaves have hidden since."""

HOURS = 3
"""Frames of each of these days, spread over its hours: shadows move."""


@dataclass(frozen=True, eq=False)
class Proposed:
    """Regions proposed for a camera.

    Attributes
    ----------
    camera : str
    proposals : tuple of Proposal
        Outlines in px of whole frames.
    names : tuple of str
        A name for each, that no region has.
    valid_from : datetime.date
        The camera's first day.
    days : tuple of datetime.date
        The days that were looked at.
    picture : (H, W, 3) uint8 ndarray
        RGB, what the latest of them looked like without its shadows, maybe reduced.
    by : int
        How many times smaller than a frame that picture is.
    hidden : tuple of (datetime.date or None)
        For each, where leaves hide the rim of its container by now, the last day that shows it.
    several : tuple of (Several or None)
        For each, what speaks for more than one plant in it; it is not divided.
    """

    camera: str
    proposals: tuple[Proposal, ...]
    names: tuple[str, ...]
    valid_from: date
    days: tuple[date, ...]
    picture: np.ndarray
    by: int
    hidden: tuple[date | None, ...]
    several: tuple[Several | None, ...]

    @property
    def as_toml(self) -> str:
        """The regions as regions.toml holds them."""
        return "\n".join(map(self._region, self.names, self.proposals))

    def _region(self, name: str, proposal: Proposal) -> str:
        points = ", ".join(f"[{x:g}, {y:g}]" for x, y in proposal.points)
        return (
            f'[[region]]\nname = "{name}"\ncamera = "{self.camera}"\n\n'
            f"[[region.outline]]\nfrom = {self.valid_from.isoformat()}\npoints = [{points}]\n"
        )


def propose_regions(
    season: Season,
    camera: str | None = None,
    until: date | None = None,
    track: Track = silent,
) -> Proposed:
    """Propose regions for a camera.

    Parameters
    ----------
    season : Season
    camera : str, optional
        Its only one by default.
    until : datetime.date, optional
        The last day that is looked at; all by default.
    track : Track
        Told about progress.

    Returns
    -------
    Proposed
        Without proposals where nothing grows yet.

    Raises
    ------
    SettingsError
        If the camera is not one of the season's, or has no frame that can be used.
    """
    view = View(season, _camera_of(season, camera))
    days = [
        day for day in season.catalogue.days_of_camera(view.camera) if until is None or day <= until
    ]
    told = _changes_told(season, view.camera, days)
    seen = _sights(season, view, {*_spread(days, SIGHTS), *_days_after(told, days)}, track)
    if not seen:
        raise SettingsError(
            f'{season.folder}: camera "{view.camera}" has no frame yet that shows the bench well; '
            "import or capture some by daylight first"
        )
    stand = _standing(view, seen, told)
    more = _days_between(stand, list(seen), days)
    if more:
        seen = dict(sorted((seen | _sights(season, view, more, track)).items()))
        stand = _standing(view, seen, told)
    sights, on = list(seen.values()), list(seen)
    found = propose(sights, stand)
    hidden = tuple(on[p.seen] if p.seen not in (None, len(on) - 1) else None for p in found)
    proposals = tuple(_whole(proposal, view.by) for proposal in found)
    names = _names(season, proposals)
    several = tuple(may_be_several(sights[-1].leaf, found))
    return Proposed(
        view.camera,
        proposals,
        names,
        days[0],
        tuple(seen),
        sights[-1].picture,
        view.by,
        hidden,
        several,
    )


def write_overlay(proposed: Proposed, out: Path, lines: list[str] | None = None) -> None:
    """Draw what is proposed over the bench, with lines of text below.

    The name of an outline that may hold several plants ends with a question mark. Raises as
    `require_overlay_place` does.
    """
    require_overlay_place(out)
    outlines = {
        f"{name} ?" if several else name: reduced_points(proposal.points, proposed.by)
        for name, proposal, several in zip(
            proposed.names, proposed.proposals, proposed.several, strict=True
        )
    }
    write_safely(out, overlay(proposed.picture, lines or [], outlines=outlines, cross=False))


def write_regions(season: Season, proposed: Proposed) -> Path:
    """Add what is proposed to the season's regions.toml; what it holds stays as it is.

    Returns
    -------
    pathlib.Path
        The file.

    Raises
    ------
    SettingsError
        If the file holds an outlined region of this camera already, or nothing is proposed.
    """
    require_none_outlined(season, proposed.camera)
    path = season.folder / REGIONS_FILE
    if not proposed.proposals:
        raise SettingsError(f"{path}: nothing grows yet, so there is nothing to write")
    text = path.read_text(encoding="utf-8") if path.exists() else ""
    whole = f"{text.rstrip()}\n\n{proposed.as_toml}" if text.strip() else proposed.as_toml
    write_safely(path, whole.encode())
    return path


def require_none_outlined(season: Season, camera: str | None = None) -> None:
    """Refuse to write where regions of a camera are outlined already; see `write_regions`."""
    name = _camera_of(season, camera)
    own = [region for region in season.regions.region if region.camera == name]
    drawn = [region.name for region in own if region.is_outlined]
    if drawn:
        raise SettingsError(
            f'{season.folder / REGIONS_FILE}: "{drawn[0]}" is outlined already, so nothing is '
            "written; put into the file by hand what you want of the regions printed without "
            "--write"
        )


def _camera_of(season: Season, camera: str | None) -> str:
    cameras = list(season.settings.cameras)
    if camera is None and len(cameras) == 1:
        return cameras[0]
    if camera not in cameras:
        told = "name one with --camera" if camera is None else f'there is no camera "{camera}"'
        raise SettingsError(f"{season.folder / 'season.toml'}: {told}; it has {', '.join(cameras)}")
    return camera


def _spread(items: list, count: int) -> list:
    """At most so many items, from the first to the last, as evenly as can be."""
    places = np.linspace(0, len(items) - 1, min(count, len(items)))
    return [items[round(place)] for place in places]


def _changes_told(season: Season, camera: str, days: list[date]) -> list[Event]:
    """What the diary tells of plants that got another place or another pot, up to the last day."""
    on_bench = {r.name for r in season.regions.region if r.camera == camera}
    events, _ = read_diary(season.folder / DIARY_FILE)
    return [
        event
        for event in events
        if event.what.lower() in CHANGES
        and event.day <= days[-1]
        and (event.region in on_bench or event.region not in season.regions.by_name)
    ]


def _days_after(events: list[Event], days: list[date]) -> list[date]:
    """The first day after each event: leaves hide least of a new rim then."""
    after = (next((day for day in days if day > event.day), None) for event in events)
    return [day for day in after if day is not None]


def _standing(view: View, seen: dict[date, Sight], told: list[Event]) -> list[Standing]:
    """Containers on the latest of these days; those that the diary tells gone count no more."""
    sights, changes = list(seen.values()), []
    for event in told:
        region = view.season.regions.by_name.get(event.region)
        outline = region.outline_on(event.day) if region else None
        if outline is not None and outline.points:
            first = sum(day <= event.day for day in seen)
            where = np.array(reduced_points(outline.points, view.by))
            changes.append(Change(first, where))
    return standing(sights, _closed(view, sights[-1].leaf.shape), changes)


def _days_between(stand: list[Standing], seen: list[date], days: list[date]) -> set[date]:
    """For rims that leaves hide by now: the middle day between their last sight and the next."""
    gaps = {}
    for each in stand:
        if each.container.kind == "pot" and each.seen < len(seen) - 1:
            between = [d for d in days if seen[each.seen] < d < seen[each.seen + 1]]
            if between:
                gaps[between[len(between) // 2]] = len(between)
    return set(sorted(gaps, key=lambda day: -gaps[day])[:MORE])


def _sights(season: Season, view: View, days: set[date], track: Track) -> dict[date, Sight]:
    """What each of these days shows, oldest first, but for those without a usable frame."""
    told = track(sorted(days), len(days), "looking at days")
    return {day: sight for day in told if (sight := _sight(season, view, day))}


def _sight(season: Season, view: View, day: date) -> Sight | None:
    """What a day's frames show together; None if none can be used."""
    pictures, details = [], []
    for frame in _spread(season.catalogue.frames(view.camera, day), HOURS):
        found = _in_view(view, frame)
        if found is not None:
            picture, matrix, detail = found
            pictures.append(in_reference_view(picture, matrix))
            details.append(detail)
    if not pictures:
        return None
    picture, canopy = without_shadows(pictures), season.settings.canopy
    model = load_model(canopy, season.folder)
    cover, _ = cover_and_doubt(picture, canopy.method, model, detail=details[0])
    return Sight(picture, cover > 0.5)


def _in_view(view: View, frame: Frame) -> tuple[np.ndarray, np.ndarray | None, Detail] | None:
    """A frame's picture, where the reference view lies in it, and how fine its colours are.

    None if it cannot be used.
    """
    if not view.fits(frame) or not view.is_usable(frame):
        return None
    try:
        picture, detail = view.read(frame)
    except (ArchiveError, PictureError):
        return None
    found = view.find_without_outlines(picture)
    if isinstance(found, NotRegistered):
        return None if frame.day != view.frame.day else (picture, None, detail)
    return picture, found.matrix, detail


def _closed(view: View, shape: tuple[int, int]) -> np.ndarray:
    """Where printed tags and the grey card lie, with the paper around them: (H, W) bool."""
    found = np.zeros(shape, np.uint8)
    for tag in view.tags_in_measured_view:
        corners = np.asarray(tag.corners_px, float)
        paper = corners.mean(axis=0) + 1.6 * (corners - corners.mean(axis=0))
        cv2.fillConvexPoly(found, np.rint(paper).astype(np.int32), 1)
    if view.settings.grey_card:
        card = np.array(reduced_points(view.settings.grey_card, view.by))
        cv2.fillConvexPoly(found, cv2.convexHull(np.rint(card).astype(np.int32)), 1)
    return found.view(bool)


def _whole(proposal: Proposal, by: int) -> Proposal:
    """A proposal in px of whole frames."""
    if by == 1:
        return proposal
    outlines = (proposal.points, proposal.container)
    points, container = (
        tuple((by * x + (by - 1) / 2, by * y + (by - 1) / 2) for x, y in each) for each in outlines
    )
    return replace(proposal, points=points, container=container)


def _names(season: Season, proposals: tuple[Proposal, ...]) -> tuple[str, ...]:
    """``pot-1``, ``cell-4``: the kind with a number, that no region has yet."""
    taken, found = set(season.regions.by_name), []
    for proposal in proposals:
        number = 1
        while f"{proposal.kind}-{number}" in taken:
            number += 1
        found.append(f"{proposal.kind}-{number}")
        taken.add(found[-1])
    return tuple(found)
