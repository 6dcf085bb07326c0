"""A camera on USB as OpenCV sees one: Video4Linux calls, answered by a device made of a library.

The kernel of a build machine has no video device, and none can be loaded into it; the library
stands where the kernel would (tests/cameras/v4l2_device.c). Where a real one is, as
/dev/video0, it is asked too.
"""

import io
import shutil
import subprocess
import time
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from lapsekit.cameras.usb import Usb
from lapsekit.errors import CameraError
from lapsekit.settings import UsbCamera

NOW = datetime(2031, 4, 1, 10, tzinfo=UTC)


@pytest.fixture(scope="module")
def library(tmp_path_factory):
    if shutil.which("gcc") is None:
        pytest.skip("no gcc here, to build the device with")
    made = tmp_path_factory.mktemp("device") / "v4l2_device.so"
    source = Path(__file__).with_name("v4l2_device.c")
    command = ["gcc", "-shared", "-fPIC", "-O1", "-o", str(made), str(source), "-ldl"]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    if "No such file" in done.stderr:
        pytest.skip(f"no headers here, to build the device with: {done.stderr.splitlines()[0]}")
    assert done.returncode == 0, done.stderr
    return made


@pytest.fixture
def device(library, tmp_path, monkeypatch):
    """Plugs the device in, with what ails it; the file holds its controls."""
    monkeypatch.setenv("LD_PRELOAD", str(library))
    monkeypatch.setenv("DEVICE_STATE", str(tmp_path / "controls"))

    def plugged_in(**ails):
        for name, value in ails.items():
            monkeypatch.setenv(f"DEVICE_{name.upper()}", str(value))
        return tmp_path / "controls"

    return plugged_in


def take(**more):
    model = UsbCamera(kind="usb", device=42, **{"time_limit_s": 20.0, **more})
    return Usb(model).take(NOW)


def shown_by(shot):
    with Image.open(io.BytesIO(shot.data)) as picture:
        return np.asarray(picture).astype(float)


def grey(exposure_ms):
    """What the device shows: luma 16 + a tenth of the exposure, in the range of video."""
    return (exposure_ms * 10 // 10) * 255 / 219


def test_the_device_gives_a_picture_of_the_exposure_asked_for(device):
    controls = device(warm_up=5)
    shot = take(exposure_ms=80.0, white_balance_k=5200, warm_up_frames=6)
    assert shown_by(shot).shape == (480, 640, 3) and shot.notes == () and shot.taken_at == NOW
    assert np.abs(shown_by(shot) - grey(80)).max() < 4
    assert controls.read_text().split() == ["1", "800", "0", "5200"]


def test_too_few_warm_up_frames_show_a_dark_picture(device):
    device(warm_up=5)
    assert shown_by(take(exposure_ms=80.0, warm_up_frames=2)).max() < 4


def test_what_is_fixed_no_longer_is_left_to_the_camera_again(device):
    controls = device()
    take(exposure_ms=80.0, white_balance_k=5200)
    take()
    assert controls.read_text().split()[::2] == ["3", "1"]


def test_what_the_device_does_not_take_is_told_with_the_picture(device):
    device(plain=1)
    shot = take(exposure_ms=20.0, width=1920, height=1080)
    assert shown_by(shot).shape == (720, 1280, 3)
    assert sorted(shot.notes) == [
        "/dev/video42 did not take exposure_ms = 20: it has no such control",
        "/dev/video42 gives 1280 x 720 px, not 1920 x 1080: it does not know that size",
    ]


def test_an_exposure_beyond_the_device_is_told(device):
    device()
    assert take(exposure_ms=5000.0).notes == (
        "/dev/video42 did not take exposure_ms = 5000: it says 2047",
    )


def test_a_device_that_hangs_is_left_within_the_limit(device):
    device(hangs=1)
    began = time.monotonic()
    with pytest.raises(CameraError, match=r"/dev/video42 did not end within 5 s; check the cable"):
        take(time_limit_s=5.0)
    assert time.monotonic() - began < 8


def test_a_device_that_goes_away_says_what_to_check(device):
    device(gone_after=3)
    with pytest.raises(CameraError, match="opened but gave no picture; unplug"):
        take(time_limit_s=60.0)


def test_a_real_device_gives_a_picture():
    if not Path("/dev/video0").exists():
        pytest.skip("no /dev/video0 here, and its kernel takes no modules")
    assert shown_by(Usb(UsbCamera(kind="usb")).take(NOW)).ndim == 3
