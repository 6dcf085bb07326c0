"""The sample season: where it lies, a season folder made of it, and its truth."""

import csv
import json
import re
from collections import defaultdict
from datetime import date
from pathlib import Path
from statistics import median
from zoneinfo import ZoneInfo

from lapsekit.errors import SeasonError
from lapsekit.founding import make_folder
from lapsekit.season import DIARY_FILE, REGIONS_FILE, SETTINGS_FILE
from lapsekit.when import from_utc_text, local_day

WEATHER_FILE = "weather.csv"


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
    usable = {
        (r["camera"], r["taken_at"])
        for r in _rows(sample / "truth" / "frames.csv", "camera", "taken_at", "state")
        if r["state"] == "usable"
    }
    seen: dict[str, dict[date, list[float]]] = defaultdict(lambda: defaultdict(list))
    for r in _rows(sample / "truth" / "areas.csv", "camera", "taken_at", "region", "area_cm2"):
        if (r["camera"], r["taken_at"]) in usable:
            day = local_day(from_utc_text(r["taken_at"]), zone)
            seen[r["region"]][day].append(float(r["area_cm2"]))
    return {
        region: {day: median(areas) for day, areas in days.items()} for region, days in seen.items()
    }


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
