"""A tiny season for the site: two cameras, ten days, gaps, hostile names, pictures with EXIF."""

import io
from datetime import UTC, date, datetime

from PIL import ExifTags, Image

from lapsekit.catalogue import Daily, Frame, Screening
from lapsekit.frames.archive import content_hash
from lapsekit.season import Season

FIRST = date(2031, 4, 1)
DARK, UNSEEN = date(2031, 4, 4), date(2031, 4, 6)
SETTINGS = """\
[season]
title = "Salad <script>alert(1)</script> & \\"herbs\\""
time_zone = "CET"
sown = 2031-03-25
about = "Eight containers <b>on</b> the roof."
[cameras.bench]
kind = "files"
px_per_cm = 10
[cameras.trough]
kind = "files"
"""
REGIONS = """\
[[region]]
name = "basil"
label = "Basil <img src=x onerror=alert(2)>"
camera = "bench"
[[region.outline]]
from = 2031-04-01
points = [[0, 0], [150, 0], [150, 240], [0, 240]]
[[region]]
name = "cress"
camera = "trough"
[[region.outline]]
from = 2031-04-01
"""
DIARY = """\
date,region,event,note
2031-04-03,basil,potted on,"into <i>14 cm</i>"
soon,,fed,no date
2031-04-05,,watered,
"""


def picture(age, orientation=1):
    """A JPEG of a green square that grows with `age`, with place and device in its EXIF."""
    image = Image.new("RGB", (320, 240), (96, 72, 52))
    image.paste((70, 140, 48), (60, 100, 62 + 6 * age, 102 + 6 * age))
    exif = Image.Exif()
    exif[ExifTags.Base.Orientation] = orientation
    exif[ExifTags.Base.Make] = "SECRET-DEVICE"
    exif.get_ifd(ExifTags.IFD.GPSInfo).update({1: "N", 2: (1.0, 2.0, 3.0)})
    out = io.BytesIO()
    image.save(out, "JPEG", exif=exif, comment=b"SECRET-COMMENT")
    return out.getvalue()


def add_frame(season, camera, day, reasons=(), orientation=1):
    """File one frame at noon with its verdict."""
    taken = datetime(day.year, day.month, day.day, 10, 2, tzinfo=UTC)
    data = picture((day - FIRST).days, orientation)
    file = season.archive.store(camera, taken, data, ".jpg")
    size = (240, 320) if orientation == 6 else (320, 240)
    season.catalogue.add_frames(
        [Frame(camera, taken, day, file.path, content_hash(data), len(data), *size, "import")]
    )
    season.catalogue.record(Screening(file.path, "m", tuple(reasons), 0.4, 0.0, 0.2), None, [])
    return file.path


def add_values(season, day, reasons=()):
    """Daily values of both regions; without numbers where there is a reason."""
    area = 10.0 + (day - FIRST).days
    values = (None,) * 3 if reasons else (area, area - 1, area + 1)
    cover = (None,) * 3 if reasons else (area / 100, area / 110, area / 90)
    left_out = dict.fromkeys(reasons, 1)
    used = 0 if reasons else 1
    season.catalogue.store_daily(
        [
            Daily("basil", day, *cover, *values, used, left_out),
            Daily("cress", day, *cover, None, None, None, used, left_out),
        ]
    )


def add_day(season, day, reasons=()):
    """A day of both cameras."""
    add_frame(season, "bench", day, reasons, orientation=6 if day == FIRST else 1)
    if day != date(2031, 4, 3):
        add_frame(season, "trough", day, reasons)
    add_values(season, day, reasons)


def found(folder):
    """Make an empty season."""
    folder.mkdir(parents=True)
    (folder / "season.toml").write_text(SETTINGS, encoding="utf-8")
    (folder / "regions.toml").write_text(REGIONS, encoding="utf-8")
    return Season(folder)
