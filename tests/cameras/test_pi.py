"""The Pi camera's still tool, played by a program that checks what it is asked for.

No Raspberry Pi is at hand here: nothing here shows that the tool itself takes these arguments.
"""

import sys
from datetime import UTC, datetime

import pytest

from lapsekit.cameras.pi import Pi
from lapsekit.errors import CameraError
from lapsekit.settings import PiCamera
from tests.scenes import bench_picture, encoded

NOW = datetime(2031, 4, 1, 10, tzinfo=UTC)
PICTURE = encoded(bench_picture([]), "JPEG")

STAND_IN = """\
#!{python}
import argparse, pathlib, sys
options = argparse.ArgumentParser(allow_abbrev=False)
for flag in ("--nopreview", "--immediate"):
    options.add_argument(flag, action="store_true")
for name in ("--camera", "--quality", "--width", "--height", "--timeout", "--shutter"):
    options.add_argument(name, type=int)
for name in ("--gain", "--lens-position"):
    options.add_argument(name, type=float)
options.add_argument("--encoding", choices=["jpg", "png"])
options.add_argument("--autofocus-mode", choices=["manual", "auto", "continuous"])
options.add_argument("--rotation", type=int, choices=[0, 180])
options.add_argument("--awbgains", type=lambda text: [float(n) for n in text.split(",")])
options.add_argument("--output", required=True)
given = options.parse_args()
pathlib.Path({folder!r}, "given").write_text(repr({{k: v for k, v in vars(given).items() if v}}))
{then}
"""
WRITES = "sys.stdout.buffer.write(pathlib.Path({folder!r}, 'x.jpg').read_bytes())"


@pytest.fixture
def stand_in(tmp_path, monkeypatch):
    monkeypatch.setenv("PATH", str(tmp_path))
    (tmp_path / "x.jpg").write_bytes(PICTURE)

    def made(name="rpicam-still", then=WRITES):
        then = then.format(folder=str(tmp_path))
        program = tmp_path / name
        program.write_text(STAND_IN.format(python=sys.executable, folder=str(tmp_path), then=then))
        program.chmod(0o755)
        return lambda: eval((tmp_path / "given").read_text())

    return made


@pytest.mark.parametrize("name", ["rpicam-still", "libcamera-still"])
def test_either_still_tool_gives_its_picture(stand_in, name):
    given = stand_in(name)
    shot = Pi(PiCamera(kind="pi")).take(NOW)
    assert (shot.data, shot.taken_at) == (PICTURE, NOW)
    asked = given()
    assert asked.pop("output") == "-"  # standard output: no disk sees the picture
    assert asked == {"nopreview": True, "quality": 92, "timeout": 2000, "encoding": "jpg"}


def test_what_season_toml_fixes_is_asked_for_and_needs_no_look_around(stand_in):
    given = stand_in()
    Pi(
        PiCamera(
            kind="pi",
            number=1,
            width=2304,
            height=1296,
            exposure_ms=12.5,
            gain=1.5,
            white_balance_gains=(1.9, 1.6),
            focus_dioptres=0.8,
            upside_down=True,
            jpeg_quality=95,
        )
    ).take(NOW)
    asked = given()
    asked.pop("output")
    assert asked == {
        "nopreview": True,
        "immediate": True,
        "camera": 1,
        "quality": 95,
        "width": 2304,
        "height": 1296,
        "shutter": 12500,
        "gain": 1.5,
        "awbgains": [1.9, 1.6],
        "autofocus_mode": "manual",
        "lens_position": 0.8,
        "rotation": 180,
        "encoding": "jpg",
    }


@pytest.mark.parametrize(
    ("then", "said"),
    [
        ("sys.exit('ERROR: *** no cameras available ***')", "ribbon cable at both ends"),
        ("sys.exit('Failed to acquire: Device or resource busy')", "another program holds"),
        ("", "without a picture; try rpicam-still --nopreview"),
    ],
)
def test_what_goes_wrong_is_said_with_what_to_check(stand_in, then, said):
    stand_in(then=then)
    with pytest.raises(CameraError, match=said):
        Pi(PiCamera(kind="pi")).take(NOW)


def test_a_tool_that_hangs_is_ended(stand_in):
    stand_in(then="import time; time.sleep(60)")
    with pytest.raises(CameraError, match="did not end within 1 s"):
        Pi(PiCamera(kind="pi", time_limit_s=1.0)).take(NOW)


def test_a_machine_without_the_tool_is_told_how_to_get_it(tmp_path, monkeypatch):
    monkeypatch.setenv("PATH", str(tmp_path))
    with pytest.raises(CameraError, match="apt install rpicam-apps"):
        Pi(PiCamera(kind="pi")).take(NOW)
