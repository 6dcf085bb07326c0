"""The sample season: where it lies, a season folder made of it, and its truth."""

import csv
import json
import re
from collections import defaultdict
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from statistics import median
from zoneinfo import ZoneInfo

import numpy as np

from lapsekit.catalogue import Frame
from lapsekit.errors import SeasonError
from lapsekit.founding import make_folder
from lapsekit.season import DIARY_FILE, REGIONS_FILE, SETTINGS_FILE
from lapsekit.when import from_utc_text, local_day

WEATHER_FILE = "weather.csv"


@dataclass(frozen=True, eq=False)
class TrueView:
    """Where the camera truly was: the matrix (3, 3) from the reference view to the frame.

    Beside it the same as a shift in px and a turn in degrees about the middle of the picture.
    """

    matrix: np.ndarray
    shift_x_px: float
    shift_y_px: float
    turn_deg: float


def sample_frames_folder(given: Path | None) -> Path:
    """The folder of the sample season: the one given, or the checkout's.

    Raises
    ------
    SeasonError
        If there is none; the wheel does not carry it.
    """
    folder = given or Path(__file__).parent.parent / "sample_frames"
    if (folder / SETTINGS_FILE).is_file() and (folder / "frames").is_dir():
        return folder
    if given is None:
        raise SeasonError(
            "the sample season is not part of the installed package; run this in a checkout, "
            "or name its folder with --frames DIR"
        )
    raise SeasonError(f"{folder}: no sample season there (season.toml and frames are needed)")


def copy_sample_season(sample: Path, folder: Path) -> None:
    """Make a season folder that replays the sample season's frames.

    A folder that holds the sample season already is left as it is, so that what was interrupted
    goes on where it stopped.

    Raises
    ------
    SeasonError
        If `folder` holds something else.
    """
    frames = f"folder = {json.dumps(str((sample / 'frames').resolve()))}"
    settings = (sample / SETTINGS_FILE).read_text(encoding="utf-8")
    settings = re.sub(r"(?m)^folder = [^#\n]*", lambda _: frames, settings)
    if folder.exists() and any(folder.iterdir()):
        target = folder / SETTINGS_FILE
        if target.is_file() and target.read_text(encoding="utf-8") == settings:
            return
        raise SeasonError(
            f"{folder} exists and is not this sample season; name another with --folder DIR"
        )
    texts = {
        name: (sample / name).read_text(encoding="utf-8")
        for name in (REGIONS_FILE, DIARY_FILE, WEATHER_FILE)
        if (sample / name).is_file()
    }
    make_folder(folder, {SETTINGS_FILE: settings, **texts})


def true_daily_areas(sample: Path, zone: ZoneInfo) -> dict[str, dict[date, float]]:
    """True area of each region and day.

    Parameters
    ----------
    sample : pathlib.Path
        The sample season; its truth/areas.csv and truth/frames.csv are read.
    zone : zoneinfo.ZoneInfo
        Zone of the season's days.

    Returns
    -------
    dict of str to dict of date to float
        Median over the day's usable frames of the visible canopy projected onto the bench
        plane, in cm².

    Raises
    ------
    SeasonError
        If a table is missing or lacks a column.
    """
    usable = {moment for moment, (_, state) in _states(sample).items() if state == "usable"}
    seen: dict[str, dict[date, list[float]]] = defaultdict(lambda: defaultdict(list))
    for r in _rows(sample / "truth" / "areas.csv", "camera", "taken_at", "region", "area_cm2"):
        if (r["camera"], r["taken_at"]) in usable:
            day = local_day(from_utc_text(r["taken_at"]), zone)
            seen[r["region"]][day].append(float(r["area_cm2"]))
    return {
        region: {day: median(areas) for day, areas in days.items()} for region, days in seen.items()
    }


def has_true_shapes(sample: Path, frame: Frame) -> bool:
    """Whether the sample season has a mask of a frame."""
    return _mask_path(sample, frame).exists()


def true_shapes(sample: Path, frame: Frame) -> np.ndarray:
    """Number of the region, from 1, that each pixel of a frame truly shows: (H, W) uint8."""
    from PIL import Image

    with Image.open(_mask_path(sample, frame)) as picture:
        return np.array(picture)


def _mask_path(sample: Path, frame: Frame) -> Path:
    return sample / "truth" / "masks" / f"{Path(frame.path).stem}.png"


def true_states(sample: Path) -> dict[str, str]:
    """True state of each frame by its path; raises as `true_daily_areas` does."""
    return dict(_states(sample).values())


def true_views(sample: Path) -> dict[str, TrueView]:
    """Where the camera truly was, by the frame's path; raises as `true_daily_areas` does."""
    paths = {moment: path for moment, (path, _) in _states(sample).items()}
    cells = [f"m{row}{column}" for row in range(3) for column in range(3)]
    turn = ("shift_x_px", "shift_y_px", "turn_deg")
    rows = _rows(sample / "truth" / "camera.csv", "camera", "taken_at", *turn, *cells)
    return {
        paths[r["camera"], r["taken_at"]]: TrueView(
            np.array([float(r[cell]) for cell in cells]).reshape(3, 3), *(float(r[t]) for t in turn)
        )
        for r in rows
        if (r["camera"], r["taken_at"]) in paths
    }


def _states(sample: Path) -> dict[tuple[str, str], tuple[str, str]]:
    """Path and true state of each frame, by camera and time."""
    rows = _rows(sample / "truth" / "frames.csv", "path", "camera", "taken_at", "state")
    return {(r["camera"], r["taken_at"]): (r["path"], r["state"]) for r in rows}


def _rows(path: Path, *columns: str) -> list[dict[str, str]]:
    try:
        with path.open(newline="", encoding="utf-8") as file:
            table = csv.DictReader(file)
            missing = sorted(set(columns) - set(table.fieldnames or ()))
            if missing:
                raise SeasonError(f"{path}: column {', '.join(missing)} is missing")
            return list(table)
    except OSError as error:
        raise SeasonError(f"{path}: cannot be read ({error.strerror})") from error
