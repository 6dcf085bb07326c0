"""Regions that are proposed from what the frames show: taken, changed or dropped, and named."""

import threading
from collections.abc import Callable
from concurrent.futures import Future
from datetime import date
from typing import TYPE_CHECKING, Any

from starlette.responses import Response

from lapsekit.desk.asking import Asked, get, post
from lapsekit.desk.outlines import first_day_of, name_for, points_of, text_of
from lapsekit.desk.setting_up.aim import reference_of
from lapsekit.desk.setting_up.steps import camera_of
from lapsekit.edits.regions_text import Points, add_region
from lapsekit.errors import SettingsError
from lapsekit.season import REGIONS_FILE, SETTINGS_FILE

if TYPE_CHECKING:
    from lapsekit.desk.desk import Desk

FEW_DAYS = 5
"""With fewer days of pictures little is sure: early ones show rims, later ones leaves."""

_KINDS = {
    "pot": "a pot",
    "row": "one plant of a row",
    "cell": "a cell of a tray",
    "plant": "a plant; no container is seen around it",
    "stand": "plants that cannot be told apart",
}


def _page(asked: Asked) -> Response:
    """What is proposed; while the pictures are looked at, a page that waits for it."""
    with asked.season() as season:
        name = camera_of(asked, season)
    searches = asked.desk.kept.setdefault("proposed", Searches())
    work = searches.begun(name, _basis(asked, name), lambda: _found(asked.desk, name))
    if asked.wants_data:
        return asked.data(is_done=work.done())
    if not work.done():
        return asked.page("proposing.html", camera=name)
    told = searches.told(name, work)
    version = asked.desk.book.text(REGIONS_FILE).version
    with asked.season() as season:
        drawn = [r for r in season.regions.region if r.camera == name and r.is_outlined]
    there = [_box(o.points) for r in drawn for o in r.outline[-1:] if o.points]
    over = [any(_shares(_box(p["points"]), box) for box in there) for p in told["proposals"]]
    return asked.page("proposed.html", version=version, drawn=drawn, over=over, **told)


class Searches:
    """Searches in cameras' pictures: one of a camera, and one at a time.

    They are on threads that do not keep the desk from closing.
    """

    def __init__(self) -> None:
        self._kept: dict[str, tuple[object, Future]] = {}
        self._lock, self._one = threading.Lock(), threading.Lock()

    def begun(self, camera: str, basis: object, search: Callable[[], Any]) -> Future:
        """The search of a camera, begun once for as long as what it rests on is the same."""
        with self._lock:
            before, work = self._kept.get(camera, (None, None))
            if work is None or before != basis:
                if work is not None:
                    work.cancel()  # if it has not begun, nobody waits for it any more
                work = Future()
                self._kept[camera] = (basis, work)
                threading.Thread(target=self._run, args=(work, search), daemon=True).start()
            return work

    def told(self, camera: str, work: Future) -> Any:
        """What a search that is done found; one that failed is forgotten, to be tried again."""
        try:
            return work.result()
        except BaseException:
            with self._lock:
                if self._kept.get(camera, (None, None))[1] is work:
                    del self._kept[camera]
            raise

    def _run(self, work: Future, search: Callable[[], Any]) -> None:
        with self._one:
            if not work.set_running_or_notify_cancel():
                return
            try:
                work.set_result(search())
            except BaseException as error:  # told to whoever asks
                work.set_exception(error)


def _basis(asked: Asked, camera: str) -> tuple:
    """What a search rests on: the camera's pictures, and the season's texts."""
    with asked.season() as season:
        return (
            season.catalogue.newest(camera),
            asked.desk.book.text(SETTINGS_FILE).version,
            asked.desk.book.text(REGIONS_FILE).version,
        )


def _found(desk: "Desk", camera: str) -> dict[str, Any]:
    """What the pictures show, as the page tells it."""
    from lapsekit.proposing import propose_regions

    with desk.opened() as season:
        found = propose_regions(season, camera)
        return {
            "camera": camera,
            "reference": reference_of(season, camera),
            "groups": sorted({r.group for r in season.regions.region if r.group}),
            "days": len(found.days),
            "is_few": len(found.days) < FEW_DAYS,
            "bare": sum(proposal.kind == "plant" for proposal in found.proposals),
            "day": found.days[-1],
            "proposals": [
                {
                    "label": name.replace("-", " ").capitalize(),
                    "kind": _KINDS.get(proposal.kind, proposal.kind),
                    "sure": round(100 * proposal.confidence),
                    "rim_seen": hidden and hidden.isoformat(),
                    "several": several and several.told,
                    "points": _whole(proposal.points),
                    "text": text_of(_whole(proposal.points)),
                }
                for name, proposal, hidden, several in zip(
                    found.names, found.proposals, found.hidden, found.several, strict=True
                )
            ],
        }


def _whole(points: Points) -> list[list[int]]:
    """Corners in whole px: nothing is known more closely, and the file is read by people."""
    return [[round(x), round(y)] for x, y in points]


def _box(points: Points) -> tuple[float, float, float, float]:
    across, down = zip(*points, strict=True)
    return min(across), min(down), max(across), max(down)


def _shares(one: tuple[float, ...], other: tuple[float, ...]) -> bool:
    """Whether two boxes lie over each other by more than a quarter of the smaller."""
    width = min(one[2], other[2]) - max(one[0], other[0])
    height = min(one[3], other[3]) - max(one[1], other[1])
    least = min((b[2] - b[0]) * (b[3] - b[1]) for b in (one, other))
    return width > 0 and height > 0 and 4 * width * height > least


def _take(asked: Asked) -> Response:
    """Add those that are ticked, all in one change."""
    with asked.season() as season:
        camera, begins = camera_of(asked, season), first_day_of(season, asked.named["camera"])
        names = set(season.regions.by_name)
    rows = []
    for number in asked.texts("take"):
        label = asked.text(f"label-{number}")
        points = points_of(asked.text(f"points-{number}"))
        if not label or points is None:
            raise SettingsError(f"region {number}: give it a name, and an outline of three corners")
        name = name_for(label, names)
        names.add(name)
        rows.append((name, label, asked.text(f"group-{number}") or None, points))
    if not rows:
        raise SettingsError("tick those that you want first")
    what = f"{len(rows)} proposed region{'' if len(rows) == 1 else 's'} taken"
    edits = {REGIONS_FILE: lambda text: _with_regions(text, camera, begins, rows)}
    change = asked.desk.book.change(what, edits, {REGIONS_FILE: asked.text("version")})
    return asked.changed(change, f"/regions/{camera}/")


def _with_regions(
    text: str, camera: str, since: date, rows: list[tuple[str, str, str | None, Points]]
) -> str:
    for name, label, group, points in rows:
        text = add_region(text, name, camera, since, points, label=label, group=group)
    return text


ROUTES = (get("/regions/{camera}/propose", _page), post("/regions/{camera}/take", _take))
