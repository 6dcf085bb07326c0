"""A site whose pictures are known to the pixel: marks that stand still, cameras that are knocked.

What the site's scripts are told is written by hand here, so that the truth does not come from the
code that is tested.
"""

import json
from datetime import date, timedelta

import cv2
import numpy as np

VIEW = (800, 600)
MARKS = [(130, 160), (640, 150), (400, 300), (180, 470), (620, 480)]
#: From the reference view to the frame, in px of both; and the frame's size.
KNOCKS = {
    "2031-04-01": (np.eye(3), VIEW),
    "2031-04-09": (np.array([[0.97, 0.05, 14], [-0.04, 1.02, -9], [4e-5, -3e-5, 1]]), VIEW),
    "2031-04-10": (np.array([[1.2, -0.03, 20], [0.02, 1.15, 6], [-2e-5, 6e-5, 1]]), (1000, 700)),
}
BOX = [0.375, 0.25, 0.25, 0.5]
BOXES = {"basil": BOX, "chard": [0.1, 0.1, 0.3, 0.3]}
CURVES = {
    "basil": ("Basil <img src=x onerror=alert(2)>", {1: (9, 10, 11), 9: (28, 30, 32)}),
    "chard": ("Chard", {1: (90, 100, 110), 9: (95, 104, 113)}),
    "cress": ("Cress", {1: (1, 2, 3)}),
}


def scene(colour):
    """The reference view: even ground in the day's colour, and marks that never move."""
    picture = np.full((VIEW[1], VIEW[0], 3), colour, np.uint8)
    for x, y in MARKS:
        cv2.circle(picture, (x, y), 12, (255, 255, 255), -1, cv2.LINE_AA)
    return picture


def turn(matrix, size):
    """From shares of the picture to shares of the view, as the contract has it."""
    px = [np.array([[w, 0, -0.5], [0, h, -0.5], [0, 0, 1]]) for w, h in (VIEW, size)]
    found = np.linalg.inv(px[0]) @ np.linalg.inv(matrix) @ px[1]
    return (found / found[2, 2]).ravel().tolist()


def write(site):
    """Pictures, ``data/season.js`` and ``data/curves.js`` into a built site."""
    colours = {
        "2031-04-01": (40, 40, 150),
        "2031-04-09": (40, 110, 40),
        "2031-04-10": (130, 60, 40),
    }
    days = {}
    for number in (1, 2, 3, 5, 7, 8, 9, 10):
        day = f"2031-04-{number:02}"
        matrix, size = KNOCKS.get(day, KNOCKS["2031-04-01"])
        picture = cv2.warpPerspective(scene(colours.get(day, (90, 90, 90))), matrix, size)
        days[day] = _put(site, "bench", day, picture)
        days[day]["turn"] = None if (matrix == np.eye(3)).all() else turn(matrix, size)
    trough = {
        day: _put(site, "trough", day, np.full((300, 400, 3), 60, np.uint8)) | {"turn": None}
        for day in ("2031-04-02", "2031-04-05")
    }
    season = {
        **{"title": "Salad", "sown": "2031-03-25", "first": "2031-04-01", "last": "2031-04-10"},
        "latest": "2031-04-10",
        "regions": [_region(name, title) for name, (title, _) in CURVES.items()],
        "cameras": [
            _camera(
                "bench", VIEW, days, {"2031-04-04": "1 dark", "2031-04-06": "no frame was taken"}
            ),
            _camera("trough", (400, 300), trough, {}),
        ],
        "events": [],
    }
    _script(site, "season", season)
    every = [str(date(2031, 4, 1) + timedelta(days=n)) for n in range(10)]
    series = [_series(name, title, values) for name, (title, values) in CURVES.items()]
    _script(site, "curves", {"days": every, "series": series, "events": []})


def _put(site, camera, day, picture):
    stem = f"pictures/{camera}/{day}-0123456789ab"
    (site / stem).parent.mkdir(parents=True, exist_ok=True)
    width = picture.shape[1]
    for wide in (width // 2, width):
        smaller = cv2.resize(picture, None, fx=wide / width, fy=wide / width, interpolation=3)
        for kind in ("webp", "jpg"):
            cv2.imwrite(str(site / f"{stem}-{wide}.{kind}"), smaller)
    widths = [width // 2, width]
    return {"stem": stem, "widths": widths, "kinds": ["webp", "jpg"], "fallback": widths}


def _camera(name, size, days, gaps):
    return {
        **{"name": name, "width": size[0], "height": size[1], "days": days, "gaps": gaps},
        "strips": [],
    }


def _region(name, title):
    camera = "trough" if name == "cress" else "bench"
    return {
        **{"name": name, "title": title, "group": None, "camera": camera, "unit": "cm²"},
        **{"sown": "2031-03-25", "box": BOXES.get(name)},
    }


def _series(name, title, values):
    columns = {
        key: [values.get(day, (None,) * 3)[k] for day in range(1, 11)]
        for k, key in enumerate(("low", "value", "high"))
    }
    camera = "trough" if name == "cress" else "bench"
    known = {"name": name, "title": title, "group": None, "camera": camera, "mean_of": 0}
    return {**known, "unit": "cm²", **columns}


def _script(site, name, value):
    (site / "data" / f"{name}.js").write_text(f"lapsekit.{name} = {json.dumps(value)};\n")
