"""``data/season.js``: the season's days, pictures and regions, for the site's scripts.

A script and not JSON, since pages that are opened from a folder may load scripts, but no data.
"""

import json
from datetime import date
from typing import Any

from lapsekit.site.contents import Whole
from lapsekit.site.wording import local_time

PATH = "data/season.js"


def as_script(name: str, value: Any) -> bytes:
    """A script that hangs `value` on the site's one global under `name`."""
    told = json.dumps(value, ensure_ascii=False, separators=(",", ":"), default=str)
    return f"lapsekit.{name} = {told.replace('<', chr(92) + 'u003c')};\n".encode()


def season_script(whole: Whole) -> bytes:
    """The file's content; what it holds is told in ``site_template/words.js``."""
    almanac = whole.almanac
    days = almanac.days
    return as_script(
        "season",
        {
            "title": almanac.title,
            "sown": almanac.sown,
            "first": days[0] if days else None,
            "last": days[-1] if days else None,
            "latest": max(almanac.page_days, default=None),
            "regions": [_region(whole, region) for region in almanac.regions],
            "cameras": [_camera(whole, camera) for camera in almanac.cameras],
            "events": [
                [e.day, almanac.event_text(e), e.note, e.region or None] for e in almanac.events
            ],
        },
    )


def _region(whole: Whole, region) -> dict[str, Any]:
    return {
        "name": region.name,
        "title": region.title,
        "group": region.group,
        "camera": region.camera,
        "sown": whole.season.sown(region),
        "unit": whole.almanac.unit(region),
        "box": whole.gallery.box(region),
    }


def _camera(whole: Whole, camera: str) -> dict[str, Any]:
    almanac, gallery = whole.almanac, whole.gallery
    pictures = almanac.pictures[camera]
    gaps = [day for day in almanac.days if day not in pictures]
    return {
        "name": camera,
        **gallery.form(camera),
        "days": {str(day): _picture(whole, camera, day) for day in sorted(pictures)},
        "strips": gallery.strips.get(camera, []),
        "gaps": {str(day): almanac.gap_reason(camera, day) for day in gaps},
    }


def _picture(whole: Whole, camera: str, day: date) -> dict[str, Any]:
    frame = whole.almanac.pictures[camera][day]
    taken = local_time(frame.taken_at.astimezone(whole.season.zone))
    return {**whole.gallery.told(camera, day), "taken": taken}
