"""The step that gives the bench its centimetres: by a tag, a length, or a rectangle."""

from collections.abc import Callable
from typing import Any

import numpy as np
from starlette.responses import Response

from lapsekit.desk.asking import Asked, get, post
from lapsekit.desk.setting_up.aim import reference_of
from lapsekit.desk.setting_up.steps import camera_of, saved, step_page, to_first_camera
from lapsekit.edits.settings_text import with_value, without
from lapsekit.errors import LapsekitError, SettingsError
from lapsekit.season import SETTINGS_FILE, Season

_KEYS = (
    "px_per_cm",
    "scale_points",
    "scale_length_cm",
    "scale_rectangle",
    "scale_sides_cm",
    "tag_side_cm",
)
_RULED_CM = (1, 2, 5, 10, 20, 50, 100, 200, 500)
_LINES = 14
_ON_A_LINE = 24


def _start(asked: Asked) -> Response:
    return to_first_camera(asked, "scale")


def _page(asked: Asked) -> Response:
    with asked.season() as season:
        name = camera_of(asked, season)
        model = season.settings.cameras[name]
        told = {
            "cameras": list(season.settings.cameras),
            "reference": reference_of(season, name),
            "tags": tags_seen(season, name),
            "model": model,
            "way": _way(model),
            **_result(season, name),
        }
    version = asked.desk.book.text(SETTINGS_FILE).version
    return step_page(asked, "scale", "setup_scale.html", camera=name, version=version, **told)


def _way(model: Any) -> str:
    """How the scale is known now; "" where it is not."""
    ways = {"tag": model.tag_side_cm, "length": model.scale_points, "number": model.px_per_cm}
    ways["rectangle"] = model.scale_rectangle
    return next((way for way, value in ways.items() if value is not None), "")


def tags_seen(season: Season, camera: str) -> list[dict]:
    """Printed tags in the reference view, with their corners in px of the whole frame."""
    from lapsekit.viewing import View

    view = View(season, camera)
    if view.frame is None:
        return []
    return [
        {
            "number": tag.number,
            "dictionary": tag.dictionary,
            "points": [[round(float(x), 1), round(float(y), 1)] for x, y in tag.corners_px],
        }
        for tag in view.tags
    ]


def _result(season: Season, camera: str) -> dict[str, Any]:
    """What the scale comes to, and a ruler to check it by; what is wrong with it, if it is."""
    from lapsekit.viewing import View

    view = View(season, camera)
    try:
        if view.frame is None or view.scale.plane is None:
            return {"result": None, "wrong": "", "ruler": None}
        view.scale.plane.weights_cm2(view.shape)
    except LapsekitError as error:
        return {"result": None, "wrong": str(error), "ruler": None}
    return {"result": _told(view), "wrong": "", "ruler": ruler(view)}


def _told(view: Any) -> dict[str, float]:
    """Size of a pixel and of the whole picture on the bench."""
    plane, (height, width) = view.scale.plane, view.shape
    middle = [[0, height / 2], [width - 1, height / 2], [width / 2, 0], [width / 2, height - 1]]
    left, right, top, bottom = plane.points_cm(np.array(middle))
    return {
        "mm_per_px": 10 / plane.px_per_cm(view.shape) / view.by,
        "across_cm": float(np.linalg.norm(right - left)),
        "down_cm": float(np.linalg.norm(bottom - top)),
        "share": 100 * view.scale.share,
    }


def ruler(view: Any) -> dict[str, Any]:
    """A net of lines on the bench at whole lengths, in px of the whole reference frame.

    Returns
    -------
    dict
        ``step_cm``, and ``lines``: lists of points.
    """
    plane, (height, width) = view.scale.plane, view.shape
    rim = [[0, 0], [width, 0], [width, height], [0, height]]
    on_bench = plane.points_cm(np.array(rim, float))
    low, high = on_bench.min(0), on_bench.max(0)
    step = next((s for s in _RULED_CM if (high - low).max() / s <= _LINES), _RULED_CM[-1])
    to_px = np.linalg.inv(plane.to_cm)
    lines = []
    for axis in (0, 1):
        along = np.linspace(low[1 - axis], high[1 - axis], _ON_A_LINE)
        for at in np.arange(np.ceil(low[axis] / step) * step, high[axis], step):
            points = np.empty((_ON_A_LINE, 2))
            points[:, axis], points[:, 1 - axis] = at, along
            lines.append(_in_frame(view, to_px, points))
    return {"step_cm": step, "lines": lines}


def _in_frame(view: Any, to_px: np.ndarray, points_cm: np.ndarray) -> list[list[float]]:
    """Points of the bench as the lens shows them in the whole frame."""
    from lapsekit.vision.homographies import project

    whole = view.by * project(to_px, points_cm) + (view.by - 1) / 2
    seen = whole if view.scale.lens is None else view.scale.lens.distorted(whole)
    return [[round(float(x), 1), round(float(y), 1)] for x, y in seen]


def _points(asked: Asked, count: int) -> list[list[float]]:
    """Points that stand in the form's numbered fields."""
    return [
        [round(asked.number(f"{axis}{number}"), 1) for axis in ("x", "y")]
        for number in range(1, count + 1)
    ]


def _length(asked: Asked, key: str) -> float:
    value = asked.number(key)
    if not 0 < value <= 10_000:
        raise SettingsError(f"{key} = {value:g}: write centimetres, more than 0")
    return value


_WAYS: dict[str, Callable[[Asked], dict[str, Any]]] = {
    "tag": lambda asked: {"tag_side_cm": _length(asked, "tag_side_cm")},
    "length": lambda asked: {
        "scale_points": _points(asked, 2),
        "scale_length_cm": _length(asked, "length_cm"),
    },
    "rectangle": lambda asked: {
        "scale_rectangle": _points(asked, 4),
        "scale_sides_cm": [_length(asked, "side1_cm"), _length(asked, "side2_cm")],
    },
    "number": lambda asked: {"px_per_cm": _length(asked, "px_per_cm")},
    "": lambda asked: {},
}


def _save(asked: Asked) -> Response:
    with asked.season() as season:
        name = camera_of(asked, season)
        if asked.text("way") == "tag" and not tags_seen(season, name):
            raise SettingsError(
                "no printed tag is found in the reference view: lay one flat on the bench, whole "
                "and in plain light, and take a new reference view"
            )
    if asked.text("way") not in _WAYS:
        raise SettingsError("way: choose how the scale is known")
    values = dict.fromkeys(_KEYS) | _WAYS[asked.text("way")](asked)

    def edit(text: str) -> str:
        for key, value in values.items():  # the old way goes first: only one may stand there
            text = without(text, ("cameras", name, key)) if value is None else text
        for key, value in values.items():
            text = text if value is None else with_value(text, ("cameras", name, key), value)
        return text

    seen = {SETTINGS_FILE: asked.text("version")}
    told = {"tag": "by a printed tag", "length": "by a length", "rectangle": "by a rectangle"}
    what = f"Camera “{name}”: scale {told.get(asked.text('way'), 'by a number')}"
    if not asked.text("way"):
        what = f"Camera “{name}”: no scale"
    change = asked.desk.book.change(what, {SETTINGS_FILE: edit}, seen)
    return saved(asked, "scale", change, f"/setup/scale/{name}/")


ROUTES = (
    get("/setup/scale/", _start),
    get("/setup/scale/{camera}/", _page),
    post("/setup/scale/{camera}/save", _save),
)
