"""Small collections whose truth is known: seasons that we drew, or whose values we wrote."""

from datetime import date, timedelta
from math import exp, pi

import numpy as np

from lapsekit.catalogue import Daily
from tests.scenes import FIRST_DAY, REGIONS, SETTINGS, basil_radius, fill, make_season

PX_PER_CM = 10


def basil_cm2(step):
    """True area of the drawn basil after `step` thirds of a day."""
    return pi * (basil_radius(step) / PX_PER_CM) ** 2


def drawn(folder, title, days=4, growth=1.0):
    """A season of drawn frames, not measured."""
    season = make_season(folder, SETTINGS.replace("Test bench", title), REGIONS)
    fill(season, days, growth=growth)
    return season


def written(folder, title, areas, sown=date(2031, 3, 25), groups=None, address=None):
    """A season whose daily values are written: areas by region, each an (area, rate) of 30 days."""
    settings = SETTINGS.replace("Test bench", title).replace("2031-03-25", str(sown))
    if address:
        settings += f'\n[site]\naddress = "{address}"\n'
    season = make_season(folder, settings, regions(areas, groups or {}, sown))
    season.catalogue.store_daily(
        [
            daily(name, sown + timedelta(days=7 + day), start * exp(rate * day), name)
            for name, (start, rate) in areas.items()
            for day in range(30)
        ]
    )
    return season


def daily(region, day, area, seed):
    """A day's value with an interval of 4 %, and 1 % of noise that comes again."""
    random = np.random.default_rng([day.toordinal(), *seed.encode()])
    area = area * exp(random.normal(0, 0.01))
    cover = [share * area / 400 for share in (1, 0.98, 1.02)]
    return Daily(region, day, *cover, area, 0.98 * area, 1.02 * area, 5, {})


def regions(names, groups, first=FIRST_DAY):
    """Regions side by side."""
    width = 320 // len(names)
    made = []
    for place, name in enumerate(names):
        left, right = place * width, (place + 1) * width - 1
        points = [[left, 0], [right, 0], [right, 240], [left, 240]]
        group = f'group = "{groups[name]}"\n' if name in groups else ""
        made.append(
            f'[[region]]\nname = "{name}"\ncamera = "bench"\n{group}'
            f"[[region.outline]]\nfrom = {first}\npoints = {points}\n"
        )
    return "".join(made)


def collection(folder, text):
    """A collection's file in a folder."""
    file = folder / "collection.toml"
    file.write_text(f'title = "All benches"\n{text}', encoding="utf-8")
    return file
