"""The site's table for spreadsheets: one row for each region and day."""

import csv
import io

from lapsekit.site.almanac import Almanac
from lapsekit.when import plant_age

HEADER = (
    "region", "camera", "day", "plant_age_days", "area_cm2", "area_low_cm2", "area_high_cm2",
    "cover", "cover_low", "cover_high", "frames_used", "left_out",
)  # fmt: skip


def daily_csv(almanac: Almanac) -> bytes:
    """CSV of all daily values; an empty field where there is no value. Cover is a share, 0 to 1.

    Only names that settings restrict to plain letters go in, so that no spreadsheet takes a
    grower's text for a formula.
    """
    text = io.StringIO()
    table = csv.writer(text, lineterminator="\n")
    table.writerow(HEADER)
    for region in almanac.regions:
        sown = region.sown or almanac.sown
        for day, row in sorted(almanac.values.get(region.name, {}).items()):
            areas = (row.area_cm2, row.area_low_cm2, row.area_high_cm2)
            covers = (row.cover, row.cover_low, row.cover_high)
            table.writerow(
                [region.name, region.camera, day, plant_age(day, sown)]
                + ["" if area is None else f"{area:.2f}" for area in areas]
                + ["" if cover is None else f"{cover:.4f}" for cover in covers]
                + [row.frames_used, "; ".join(f"{n} {why}" for why, n in row.left_out.items())]
            )
    return text.getvalue().encode()
