"""The yardstick: measured against true days on a few days of the sample season."""

import json
import os
import shutil
import subprocess
import sys
from statistics import median

import pytest

from tests.conftest import CHECKOUT
from tests.sample.conftest import SAMPLE, rows_of

DAYS = ("2026-04-28", "2026-05-03")


@pytest.fixture(scope="module")
def few(tmp_path_factory):
    """Two days of the sample season, with the whole truth."""
    folder = tmp_path_factory.mktemp("few")
    for name in ("season.toml", "regions.toml"):
        shutil.copy(SAMPLE / name, folder)
    (folder / "truth").mkdir()
    for name in ("areas.csv", "frames.csv", "camera.csv"):
        shutil.copy(SAMPLE / "truth" / name, folder / "truth")
    for day in DAYS:
        shutil.copytree(SAMPLE / "frames" / "bench" / day, folder / "frames" / "bench" / day)
    return folder


def prove(few, *arguments):
    command = [sys.executable, "-m", "lapsekit", "prove", "--frames", few, *arguments]
    without = {name: value for name, value in os.environ.items() if name != "LAPSEKIT_PHOTOS"}
    return subprocess.run(
        command, capture_output=True, text=True, cwd=CHECKOUT, check=False, env=without
    )


def test_the_truth_of_a_day_is_the_middle_of_its_usable_frames(few):
    done = prove(few, "--json")
    assert done.returncode == 0, done.stderr
    (day,) = (d for d in json.loads(done.stdout)["days"]["green-lettuce"] if d["day"] == DAYS[0])
    seen = {
        r["taken_at"]: float(r["area_cm2"])
        for r in rows_of("truth", "areas.csv")
        if r["region"] == "green-lettuce" and r["taken_at"].startswith(DAYS[0])
    }
    hidden = seen.pop("2026-04-28T11:30:00Z")  # an arm lies over it
    assert len(seen) == 4
    assert median([*seen.values(), hidden]) != pytest.approx(median(seen.values()), rel=1e-4)
    assert day["true_cm2"] == pytest.approx(median(seen.values()))
    assert day["measured_cm2"] == pytest.approx(day["true_cm2"], rel=0.03)


def test_the_table_names_every_region_and_what_has_no_value(few, tmp_path):
    done = prove(few, "--plot", tmp_path / "agreement.png", "--folder", tmp_path / "kept")
    assert done.returncode == 0, done.stderr
    lines = {line.split()[0]: line.split() for line in done.stdout.splitlines() if line.strip()}
    assert lines["placed"], "how well frames were placed is said"
    days, without = map(int, lines["basil"][1:3])
    assert days - without == len(DAYS)
    assert lines["all"]
    assert (tmp_path / "agreement.png").read_bytes().startswith(b"\x89PNG")
    assert not any(line.startswith("their growth curves") for line in done.stdout.splitlines())
    again = prove(few, "--folder", tmp_path / "kept")
    assert again.stdout.splitlines()[:5] == done.stdout.splitlines()[:5]


@pytest.mark.photographs
def test_photographs_are_judged_too_where_they_are(few, photographs, tmp_path):
    """Three photographs of one plot, by the model that has not seen it; no data, no lines."""
    data = tmp_path / "data" / "field-wheat"  # whatever the season, which has no models itself
    for folder in ("img", "mask"):
        (data / folder).mkdir(parents=True)
        for path in sorted((photographs / "field-wheat" / folder).glob("FPWW0280001_*"))[-3:]:
            shutil.copy(path, data / folder)
    done = prove(few, "--data", data.parent, "--json")
    assert done.returncode == 0, done.stderr
    found = json.loads(done.stdout)["photographs"]["agreement"]["mask"]["all"]
    assert found["pictures"] == 3
    assert found["median_dice"] > 0.85
    told = prove(few, "--data", data.parent).stdout
    assert "excess green" in told
    assert "doi:10.3929" in told
    assert prove(few, "--data", tmp_path).returncode == 78
    assert "photographs" not in prove(few).stdout


def test_a_season_without_truth_is_refused_by_name(few, tmp_path):
    bare = tmp_path / "bare"
    shutil.copytree(few, bare, ignore=shutil.ignore_patterns("truth"))
    done = prove(bare)
    assert done.returncode == 66
    assert "frames.csv" in done.stderr
    assert "Traceback" not in done.stderr
