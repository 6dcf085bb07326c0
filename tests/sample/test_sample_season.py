"""The drawn sample season agrees with its own truth files."""

import csv
import datetime as dt
import importlib
import itertools
import sys
import tomllib
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from PIL import Image

SAMPLE = Path(__file__).parents[2] / "sample_frames"
MASKS = sorted((SAMPLE / "truth" / "masks").glob("*.png"))
REDRAWN = MASKS[3]
STEP_CM2, STEP_SHARE = 3.0, 0.25  # the most a plant may gain or lose in a day without an event
POTTING_PAUSE_DAYS = 10


def rows_of(*parts):
    with SAMPLE.joinpath(*parts).open(newline="", encoding="utf-8") as file:
        return list(csv.DictReader(file))


def regions():
    return tomllib.loads((SAMPLE / "regions.toml").read_text("utf-8"))["region"]


def settings():
    return tomllib.loads((SAMPLE / "season.toml").read_text("utf-8"))


def labels_of(path):
    with Image.open(path) as image:
        return np.asarray(image)


def time_of(path):
    return dt.datetime.strptime(path.stem, "%Y%m%dT%H%M%SZ").replace(tzinfo=dt.UTC)


def areas_at(moment):
    stamp = f"{moment:%Y-%m-%dT%H:%M:%SZ}"
    return {r["region"]: r for r in rows_of("truth", "areas.csv") if r["taken_at"] == stamp}


def noon_areas(name):
    """Days and areas (cm²) of one region's noon frames."""
    rows = [r for r in rows_of("truth", "areas.csv") if r["region"] == name]
    times = [dt.datetime.fromisoformat(r["taken_at"]) for r in rows]
    pairs = [
        (time.date(), float(row["area_cm2"]))
        for time, row in zip(times, rows, strict=True)
        if time.hour in (10, 11)
    ]
    return zip(*pairs, strict=True)


@pytest.fixture(scope="module")
def generator():
    sys.path.insert(0, str(SAMPLE))
    try:
        yield importlib.import_module("draw")
    finally:
        sys.path.remove(str(SAMPLE))
        for name in ("draw", "leaves"):
            sys.modules.pop(name, None)


def test_every_frame_file_is_listed_and_every_listed_frame_is_there():
    """frames.csv and the frame files name each other, once each."""
    listed = [row["path"] for row in rows_of("truth", "frames.csv")]
    there = {p.relative_to(SAMPLE).as_posix() for p in (SAMPLE / "frames").rglob("*.jpg")}
    assert len(listed) == len(set(listed))
    assert set(listed) == there


def test_usable_frames_have_one_area_for_every_region_and_mishaps_none():
    """areas.csv holds the usable frames only, each with all regions."""
    frames = rows_of("truth", "frames.csv")
    usable = {row["taken_at"] for row in frames if row["state"] == "usable"}
    names = [region["name"] for region in regions()]
    found = {(row["taken_at"], row["region"]) for row in rows_of("truth", "areas.csv")}
    assert found == set(itertools.product(usable, names))
    assert sorted(r["state"] for r in frames if r["state"] != "usable") == [
        "blown-out",
        "blurred",
        "dark",
    ]


def test_frames_are_filed_under_their_local_day():
    """A frame's folder is the local day of the UTC time in its name, and its EXIF agrees."""
    zone = ZoneInfo(settings()["season"]["time_zone"])
    for row in rows_of("truth", "frames.csv"):
        path = SAMPLE / row["path"]
        local = time_of(path).astimezone(zone)
        assert path.parent.name == f"{local:%Y-%m-%d}"
        with Image.open(path) as image:
            tags = image.getexif().get_ifd(0x8769)
        assert tags[0x9003] == f"{local:%Y:%m:%d %H:%M:%S}"
        assert tags[0x9011] == local.isoformat()[-6:]


@pytest.mark.parametrize("path", MASKS, ids=lambda path: path.stem)
def test_masks_agree_with_areas(path):
    """Pixels in a mask match areas.csv within 0.5 %, or within the sampling of a small outline."""
    labels = labels_of(path)
    px_per_cm = settings()["cameras"]["bench"]["px_per_cm"]
    areas = areas_at(time_of(path))
    for number, region in enumerate(regions(), start=1):
        row = areas[region["name"]]
        area_px, area_cm2 = float(row["area_px"]), float(row["area_cm2"])
        assert area_cm2 == pytest.approx(area_px / px_per_cm**2, abs=1e-4)
        counted = np.count_nonzero(labels == number)
        sampling_px = 0.5 * np.sqrt(edge_px(labels == number))
        assert counted == pytest.approx(area_px, rel=0.005, abs=max(2.0, 3 * sampling_px))


def edge_px(mask):
    """Number of changes between neighbouring pixels."""
    return sum(np.count_nonzero(np.diff(mask.astype(np.int8), axis=axis)) for axis in (0, 1))


@pytest.mark.parametrize("path", MASKS, ids=lambda path: path.stem)
def test_outlines_contain_their_plants(path):
    """Every labelled pixel lies in the outline of its region that is valid on that day."""
    labels = labels_of(path)
    for number, region in enumerate(regions(), start=1):
        valid = [o for o in region["outline"] if o["from"] <= time_of(path).date()][-1]
        (left, top), (right, bottom) = np.min(valid["points"], 0), np.max(valid["points"], 0)
        rows, columns = np.nonzero(labels == number)
        assert left <= columns.min() <= columns.max() < right, region["name"]
        assert top <= rows.min() <= rows.max() < bottom, region["name"]


def test_outlines_do_not_overlap():
    """No two regions' upright boxes share a pixel."""
    boxes = [
        (*np.min(outline["points"], 0), *np.max(outline["points"], 0))
        for region in regions()
        for outline in region["outline"][-1:]
    ]
    for a, b in itertools.combinations(boxes, 2):
        assert a[2] <= b[0] or b[2] <= a[0] or a[3] <= b[1] or b[3] <= a[1]


@pytest.mark.parametrize("name", [region["name"] for region in regions()])
def test_growth_is_smooth_between_events(name):
    """From noon to noon an area changes little, except on a day the plant was cut."""
    cuts = {r["date"] for r in rows_of("diary.csv") if r["region"] == name and r["event"] == "cut"}
    days, areas = noon_areas(name)
    for (day, area), (later, next_area) in itertools.pairwise(zip(days, areas, strict=True)):
        if any(str(day) < cut <= str(later) for cut in cuts):
            continue
        bound = (later - day).days * (STEP_CM2 + STEP_SHARE * area)
        assert abs(next_area - area) <= bound, (day, area, next_area)


def test_the_story_shows_in_the_areas():
    """The basil pauses after potting on and the cut pak choi loses two fifths, then grows."""
    days, areas = noon_areas("basil")
    basil = dict(zip(days, areas, strict=True))
    potted = dt.date(2026, 4, 10)
    pause = dt.timedelta(POTTING_PAUSE_DAYS)
    assert basil[potted + pause] < 1.25 * basil[potted]
    assert basil[potted + 2 * pause] > 2 * basil[potted + pause]
    days, areas = noon_areas("pak-choi")
    pak_choi = dict(zip(days, areas, strict=True))
    assert pak_choi[dt.date(2026, 4, 22)] < 0.6 * pak_choi[dt.date(2026, 4, 21)]
    assert pak_choi[dt.date(2026, 5, 8)] > 2 * pak_choi[dt.date(2026, 4, 22)]


def test_redrawing_a_frame_gives_its_mask(generator):
    """A frame drawn again has the committed label map.

    The last bit of a resampled edge may differ between OpenCV versions and processors, so one
    pixel in two thousand may.
    """
    _, labels = generator.draw_scene(time_of(REDRAWN))
    different = generator.frame_labels(labels) != labels_of(REDRAWN)
    assert np.mean(different) <= 0.0005


def test_the_generator_knows_the_season(generator):
    """Generator, settings and regions agree on scale, sowing day and names."""
    assert settings()["cameras"]["bench"]["px_per_cm"] == generator.PX_PER_CM
    assert settings()["season"]["sown"] == generator.SOWN
    assert [region["name"] for region in regions()] == [p.name for p in generator.PLANTS]
