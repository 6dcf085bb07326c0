"""Which pages a site has, and what each is told."""

from datetime import date, datetime, timedelta
from itertools import groupby
from typing import Any

from lapsekit.catalogue import Frame
from lapsekit.noticing import notice
from lapsekit.reporting import GrowthReport
from lapsekit.season import Season
from lapsekit.site import views
from lapsekit.site.almanac import Almanac
from lapsekit.site.gallery import Gallery
from lapsekit.site.pages import Pages
from lapsekit.site.ribbon import FEW_COLUMNS, columns

FRONT = "index.html"

_ALWAYS_NEAR = timedelta(minutes=15)


class Contents:
    """The pages of one site, in the order in which they are written.

    Parameters
    ----------
    season, almanac, gallery, pages
        What is told, and the templates that tell it.
    films : dict of str to str
        Path in the site of each camera's film.
    growth : GrowthReport
        The season's growth.
    """

    def __init__(
        self,
        season: Season,
        almanac: Almanac,
        gallery: Gallery,
        pages: Pages,
        films: dict[str, str],
        growth: GrowthReport,
    ):
        self._season = season
        self._almanac = almanac
        self._gallery = gallery
        self._pages = pages
        self._films = films
        self._growth_report = growth
        self._cells = {
            camera: [
                (
                    cell,
                    views.cell_text(almanac, camera, cell),
                    bool(views.cell_events(almanac, cell)),
                )
                for cell in ribbon
            ]
            for camera, (ribbon, _) in gallery.ribbons.items()
        }

    def pages(self) -> list[tuple[str, str, dict[str, Any]]]:
        """Path, template and facts of every page; the front page is the last."""
        days = self._almanac.picture_days
        found = [
            (f"day/{day}/index.html", "day.html", {"number": number})
            for number, day in enumerate(days)
        ]
        found.append(("day/index.html", "days.html", {}))
        found.append(("growth/index.html", "growth.html", {}))
        found.append(("about/index.html", "about.html", {}))
        return [*found, (FRONT, "index.html", {})]

    def render(self, path: str, template: str, facts: dict[str, Any]) -> bytes:
        """The page at `path`."""
        told = {
            "day.html": self._day,
            "days.html": self._days,
            "growth.html": self._growth,
            "about.html": self._about,
            "index.html": self._front,
        }[template](**facts)
        return self._pages.render(template, path.count("/"), **told)

    def _day(self, number: int) -> dict[str, Any]:
        days, cameras = self._almanac.picture_days, self._almanac.cameras
        day = days[number]
        return {
            **self._of_day(day, cameras, dict.fromkeys(cameras, day)),
            "previous": days[number - 1] if number else None,
            "next": days[number + 1] if number + 1 < len(days) else None,
        }

    def _front(self) -> dict[str, Any]:
        last = {camera: max(shown) for camera, shown in self._almanac.pictures.items() if shown}
        main = self._almanac.main_camera
        day = last.get(main)
        told = self._of_day(day, list(last), last) if day else {"day": None}
        return {
            **told,
            "curves": views.curves(self._almanac),
            "films": self._films,
            "regions": self._almanac.regions,
        }

    def _of_day(self, day: date, cameras: list[str], shown_day: dict[str, date]) -> dict[str, Any]:
        return {
            "day": day,
            "pictures": [self._picture(camera, shown_day[camera]) for camera in cameras],
            "ribbons": [self._ribbon(camera) for camera in self._almanac.cameras],
            "rows": views.day_rows(self._almanac, day),
            "events": [
                (self._almanac.event_text(event), event.note)
                for event in self._almanac.events_on(day)
            ],
            "has_week_before": day.toordinal() - 7 >= self._almanac.days[0].toordinal(),
        }

    def _picture(self, camera: str, day: date) -> dict[str, Any]:
        shown = self._gallery.shown.get(camera, {}).get(day)
        counts = self._almanac.frames[camera].get(day)
        told = {"camera": camera, "day": day, "shown": shown, "counts": counts}
        if shown is None:
            return {**told, "reason": self._almanac.gap_reason(camera, day)}
        frame = self._almanac.pictures[camera][day]
        return {
            **told,
            "taken": frame.taken_at.astimezone(self._season.zone),
            "wanted": self._wanted(frame),
            "alt": views.alt_text(self._almanac, camera, day),
        }

    def _wanted(self, frame: Frame) -> datetime | None:
        """When the daily picture should have been, where none near that time was good."""
        due = self._season.daily_at(frame.day)
        within = timedelta(minutes=self._season.settings.capture.daily_within_minutes)
        is_near = abs(frame.taken_at - due) <= max(within, _ALWAYS_NEAR)
        return None if is_near else due.astimezone(self._season.zone)

    def _ribbon(self, camera: str) -> dict[str, Any]:
        ribbon, strips = self._gallery.ribbons[camera]
        by_month = {strip.month: strip for strip in strips}
        months = groupby(self._cells[camera], key=lambda told: f"{told[0].first:%Y-%m}")
        return {
            "camera": camera,
            "first": ribbon[0].first,
            "last": ribbon[-1].last,
            "seen": bool(strips),
            "few": columns(ribbon) <= FEW_COLUMNS,
            "months": [(by_month.get(month), list(told)) for month, told in months],
        }

    def _days(self) -> dict[str, Any]:
        return {"day": None, "days": self._almanac.days, "frames": self._almanac.frames}

    def _growth(self) -> dict[str, Any]:
        noticed = notice(self._season, self._growth_report.growths)
        return {
            "curves": views.curves(self._almanac),
            "doubling": views.curves(self._almanac, doubling=True),
            "plants": views.plants(self._almanac, self._growth_report.growths, noticed),
        }

    def _about(self) -> dict[str, Any]:
        settings = self._season.settings
        scales = {name: camera.scale.is_known for name, camera in settings.cameras.items()}
        return {
            "about": self._almanac.about,
            "counts": views.frame_counts(self._almanac),
            "regions": self._almanac.regions,
            "method": settings.canopy.method,
            "capture": settings.capture,
            "scales": scales,
        }


def told_to_every_page(almanac: Almanac, assets: dict[str, str]) -> dict[str, Any]:
    """What every page is told."""
    return {
        "title": almanac.title,
        "sown": almanac.sown,
        "assets": assets,
        "almanac": almanac,
        "page_days": set(almanac.picture_days),
        "last_day": max(almanac.picture_days, default=None),
    }
