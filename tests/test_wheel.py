"""The built wheel does the whole job outside the checkout."""

import os
import subprocess
import sys
import zipfile

import pytest

from tests.conftest import CHECKOUT


@pytest.fixture(scope="module")
def installed(tmp_path_factory):
    """A folder with nothing but the unpacked wheel, put before everything else on the path."""
    pytest.importorskip("build")
    pytest.importorskip("hatchling")
    built = tmp_path_factory.mktemp("wheel")
    subprocess.run(
        [sys.executable, "-m", "build", "--wheel", "--no-isolation", "--outdir", built, CHECKOUT],
        check=True,
        capture_output=True,
    )
    (wheel,) = built.glob("*.whl")
    folder = tmp_path_factory.mktemp("installed")
    subprocess.run(
        [sys.executable, "-m", "pip", "install", "-q", "--no-deps", "--target", folder, wheel],
        check=True,
        capture_output=True,
    )
    return wheel, folder


def run(installed, cwd, *arguments):
    return subprocess.run(
        [sys.executable, "-P", "-m", "lapsekit", *map(str, arguments)],
        capture_output=True,
        text=True,
        cwd=cwd,
        env=os.environ | {"PYTHONPATH": str(installed[1])},
        check=False,
    )


def test_the_wheel_is_small_and_carries_no_frames(installed):
    wheel, _ = installed
    assert wheel.stat().st_size < 5_000_000
    names = zipfile.ZipFile(wheel).namelist()
    assert not [n for n in names if n.endswith(".jpg") or n.startswith(("tests/", "sample_frames"))]
    assert "lapsekit/_shared/config/season.toml" in names
    assert "lapsekit/vision/canopy_model.json" in names
    assert "lapsekit/collecting/templates/collection.html" in names
    assert "lapsekit/collecting/static/collection.css" in names


def test_what_runs_is_the_wheel(installed, tmp_path):
    code = "import lapsekit; print(lapsekit.__file__)"
    done = subprocess.run(
        [sys.executable, "-P", "-c", code],
        capture_output=True,
        text=True,
        cwd=tmp_path,
        check=True,
        env=os.environ | {"PYTHONPATH": str(installed[1])},
    )
    assert done.stdout.startswith(str(installed[1]))


def test_without_the_checkout_the_demo_says_how_to_name_its_frames(installed, tmp_path):
    done = run(installed, tmp_path, "demo", "--no-serve")
    assert done.returncode == 66
    assert "--frames DIR" in done.stderr


def test_the_wheel_makes_imports_measures_and_builds(installed, tmp_path):
    frames = CHECKOUT / "sample_frames"
    few = tmp_path / "few"
    (few / "frames").mkdir(parents=True)
    for name in ("season.toml", "regions.toml", "diary.csv"):
        (few / name).write_bytes((frames / name).read_bytes())
    for day in ("2026-04-20", "2026-04-21", "2026-04-22", "2026-04-23"):
        (few / "frames" / day).symlink_to(frames / "frames" / "bench" / day)
    done = run(installed, tmp_path, "demo", "--frames", few, "--folder", "bench", "--no-serve")
    assert done.returncode == 0, done.stderr
    assert "20 frames captured" in done.stdout
    site = tmp_path / "bench" / "site"
    assert (site / "day" / "2026-04-22" / "index.html").is_file()
    assert len(list((tmp_path / "bench" / "growth").glob("daily.csv"))) == 1
