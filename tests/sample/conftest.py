"""The sample season's files, and its generator (which needs no Blender for truth and texts)."""

import csv
import datetime as dt
import importlib
import sys
import tomllib
from types import SimpleNamespace

import numpy as np
import pytest
from PIL import Image

from tests.conftest import CHECKOUT

SAMPLE = CHECKOUT / "sample_frames"
MASKS = sorted((SAMPLE / "truth" / "masks").glob("*.png"))


def rows_of(*parts):
    with SAMPLE.joinpath(*parts).open(newline="", encoding="utf-8") as file:
        return list(csv.DictReader(file))


def regions():
    return tomllib.loads((SAMPLE / "regions.toml").read_text("utf-8"))["region"]


def labels_of(path):
    with Image.open(path) as image:
        return np.asarray(image)


def time_of(path):
    return dt.datetime.strptime(path.stem, "%Y%m%dT%H%M%SZ").replace(tzinfo=dt.UTC)


def instant_of(path):
    """Time of a frame or mask as the truth's tables write it."""
    return f"{time_of(path):%Y-%m-%dT%H:%M:%SZ}"


def matrix_of(row):
    """Matrix from the reference view to the frame of a row of camera.csv."""
    return np.array([float(row[f"m{r}{c}"]) for r in range(3) for c in range(3)]).reshape(3, 3)


@pytest.fixture(scope="session")
def render():
    """The generator's modules."""
    sys.path.insert(0, str(SAMPLE))
    try:
        names = ("story", "truth", "growth", "layout", "season_files", "moment")
        return SimpleNamespace(**{n: importlib.import_module(f"render.{n}") for n in names})
    finally:
        sys.path.remove(str(SAMPLE))


@pytest.fixture(scope="session")
def areas():
    """areas.csv as numbers: region -> list of (instant, column -> value), in order of time."""
    found = {}
    for row in rows_of("truth", "areas.csv"):
        moment = dt.datetime.fromisoformat(row["taken_at"])
        numbers = {k: float(v) for k, v in row.items() if k.startswith(("area", "law", "leaves"))}
        found.setdefault(row["region"], []).append((moment, numbers))
    return found
