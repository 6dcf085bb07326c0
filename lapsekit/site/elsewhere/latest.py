"""latest.json: the latest day for other programs, under keys that stay. Pure.

Keys, all of them always there; what is not known is null, what there is none of an empty list:

``format``
    1. A change that could break a reader raises it; new keys may come without.
``title``, ``language``, ``sown``
    Of the season; ``sown`` a date.
``site``, ``page``
    Addresses of the front page and of the day's page.
``day``, ``plant_age_days``, ``taken_at``
    Calendar day, days since sowing, and when the picture was taken, in UTC.
``pictures``
    ``today`` (with ``width`` and ``height`` in px), ``link``, ``square`` and ``upright``, each with
    its ``address``, which stays the same, ``type``, ``width`` and ``height``.
``together``
    Canopy of all plants that have an area on the day and seven days earlier: ``plants`` (how many),
    ``missing`` (titles), ``area_cm2``, ``area_a_week_before_cm2``, ``change_share`` (0.43 is 43 %
    more) with its 95 % interval ``change_share_low`` and ``change_share_high``.
``regions``
    For each region ``name``, ``title``, ``group``, ``plant_age_days``, ``unit`` (``cm²``, or ``%``
    of the region where no scale is known), ``value`` with its 95 % interval ``low`` and ``high``,
    ``value_a_week_before``, ``change`` (in ``unit``), ``change_share``, ``frames_used``.
``links``
    ``atom``, ``json_feed``, ``calendar``, ``data``, ``embed``; null where there is none.

Addresses are absolute where the site's public address is set, else relative to this file.
"""

from typing import Any

from lapsekit.plain import one_line
from lapsekit.site.elsewhere.addresses import (
    ATOM,
    CALENDAR,
    CARDS,
    EMBED,
    JSON_FEED,
    PACKAGE,
    TODAY,
    at,
    day_page,
)
from lapsekit.site.elsewhere.card_shapes import SHAPES
from lapsekit.site.elsewhere.entries import utc_said
from lapsekit.site.elsewhere.json_form import as_json
from lapsekit.site.elsewhere.together import together
from lapsekit.site.elsewhere.told import DayTold, PlantTold, SeasonTold

FORMAT = 1


def latest_json(season: SeasonTold) -> bytes:
    """The latest day; its keys stand in this module's docstring."""
    told, address = season.latest, season.address
    return as_json(
        {
            "format": FORMAT,
            "title": one_line(season.title),
            "language": season.language,
            "sown": season.sown.isoformat(),
            "site": at(address, "index.html"),
            "page": told and at(address, day_page(told.day)),
            "day": told and told.day.isoformat(),
            "plant_age_days": told and told.age_days,
            "taken_at": told and utc_said(told.picture.taken_at),
            "pictures": _pictures(told, address) if told else {},
            "together": told and _together(told),
            "regions": [_region(plant) for plant in told.plants] if told else [],
            "links": _links(season),
        }
    )


def _pictures(told: DayTold, address: str | None) -> dict[str, dict[str, Any]]:
    largest = told.picture.largest
    sizes = {"today": (TODAY, largest.width, largest.height)}
    sizes |= {name: (path, *SHAPES[name].size) for name, path in CARDS.items()}
    return {
        name: {"address": at(address, path), "type": "image/jpeg", "width": width, "height": height}
        for name, (path, width, height) in sizes.items()
    }


def _together(told: DayTold) -> dict[str, Any] | None:
    found = together(told.plants)
    return found and {
        "plants": len(found.known),
        "missing": [one_line(title) for title in found.missing],
        "area_cm2": _digits(found.value_cm2),
        "area_a_week_before_cm2": _digits(found.before_cm2),
        "change_share": _digits(found.share),
        "change_share_low": _digits(found.share_low),
        "change_share_high": _digits(found.share_high),
    }


def _region(plant: PlantTold) -> dict[str, Any]:
    return {
        "name": plant.name,
        "title": one_line(plant.title),
        "group": one_line(plant.group) or None,
        "plant_age_days": plant.age_days,
        "unit": plant.unit,
        "value": _digits(plant.value),
        "low": _digits(plant.low),
        "high": _digits(plant.high),
        "value_a_week_before": _digits(plant.before),
        "change": _digits(plant.change),
        "change_share": _digits(plant.change_share),
        "frames_used": plant.frames_used,
    }


def _links(season: SeasonTold) -> dict[str, str | None]:
    feeds = season.address is not None and season.latest is not None
    return {
        "atom": at(season.address, ATOM) if feeds else None,
        "json_feed": at(season.address, JSON_FEED) if feeds else None,
        "calendar": at(season.address, CALENDAR),
        "data": at(season.address, PACKAGE),
        "embed": at(season.address, EMBED),
    }


def _digits(value: float | None) -> float | None:
    """Four digits: more than any value bears out."""
    return None if value is None else float(f"{value:.4g}")
