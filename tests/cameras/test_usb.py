"""A camera on USB: what is asked of the device, and what is told when it does not do it."""

import time

import numpy as np
import pytest

from lapsekit.cameras.apart import attempted
from lapsekit.cameras.usb import picture_from
from lapsekit.errors import CameraError

cv2 = pytest.importorskip("cv2")

WANTED = {
    "device": 3,
    "width": None,
    "height": None,
    "warm_up_frames": 4,
    "exposure_ms": None,
    "white_balance_k": None,
}


class Device:
    """Controls as a device keeps them: within limits, or not at all; pictures are numbered."""

    def __init__(self, controls=(), size=(640, 480), gives=1000):
        self.controls, self.size, self.gives, self.asked = dict(controls), size, gives, {}
        self.read_so_far = 0

    def set(self, control, value):
        self.asked[control] = value
        low, high = self.controls.get(control, (0, -1))
        if low <= high:
            self.controls[control] = (low, high)
            self.asked[control, "taken"] = min(max(value, low), high)
        return low <= high

    def get(self, control):
        return self.asked.get((control, "taken"), -1)

    def read(self):
        self.read_so_far += 1
        if self.read_so_far > self.gives:
            return False, None
        return True, np.full((*self.size[::-1], 3), self.read_so_far, np.uint8)


def taken(device, until=None, **wanted):
    notes = []
    until = time.monotonic() + 60 if until is None else until
    return picture_from(device, WANTED | wanted, until, notes.append), notes


EVERY_CONTROL = {
    cv2.CAP_PROP_EXPOSURE: (1, 5000),
    cv2.CAP_PROP_WB_TEMPERATURE: (2800, 6500),
    cv2.CAP_PROP_AUTO_EXPOSURE: (0, 3),
    cv2.CAP_PROP_AUTO_WB: (0, 1),
}


def test_the_picture_after_the_warm_up_frames_is_taken():
    picture, notes = taken(Device())
    assert picture[0, 0, 0] == 5 and notes == []


def test_what_is_fixed_is_no_longer_automatic_and_in_the_kernels_units():
    device = Device(EVERY_CONTROL)
    _, notes = taken(device, exposure_ms=8.0, white_balance_k=5200)
    assert notes == []
    assert device.asked[cv2.CAP_PROP_AUTO_EXPOSURE] == 1
    assert device.asked[cv2.CAP_PROP_EXPOSURE] == 80  # of 100 µs
    assert device.asked[cv2.CAP_PROP_AUTO_WB] == 0
    assert device.asked[cv2.CAP_PROP_WB_TEMPERATURE] == 5200


def test_what_is_not_fixed_is_left_to_the_camera_again():
    device = Device(EVERY_CONTROL)
    taken(device)
    assert device.asked[cv2.CAP_PROP_AUTO_EXPOSURE] == 3 and device.asked[cv2.CAP_PROP_AUTO_WB] == 1
    assert cv2.CAP_PROP_EXPOSURE not in device.asked


def test_a_control_that_the_device_does_not_take_is_told():
    _, notes = taken(Device(EVERY_CONTROL), exposure_ms=900.0)
    assert notes == ["/dev/video3 did not take exposure_ms = 900: it says 5000"]
    _, notes = taken(Device(), white_balance_k=5200)
    assert notes == ["/dev/video3 did not take white_balance_k = 5200: it has no such control"]


def test_another_size_than_asked_for_is_told():
    _, notes = taken(Device(), width=1920, height=1080)
    assert notes == ["/dev/video3 gives 640 x 480 px, not 1920 x 1080: it does not know that size"]


def test_a_device_that_stops_giving_pictures_says_what_to_check():
    with pytest.raises(CameraError, match=r"/dev/video3 opened but gave no picture; unplug"):
        taken(Device(gives=3))


def test_a_device_that_is_too_slow_for_its_warm_up_says_what_to_check():
    with pytest.raises(CameraError, match="gave only 1 pictures in time; ask for fewer"):
        taken(Device(), until=time.monotonic() - 1)


def test_a_first_attempt_that_fails_is_made_once_more_and_no_more():
    tries = []

    def read(wanted, until, note):
        tries.append(until)
        if len(tries) < wanted["works_at"]:
            raise CameraError(f"attempt {len(tries)}")
        return b"picture"

    until = time.monotonic() + 20
    assert attempted(read, {"until": until, "works_at": 2}, print) == b"picture"
    assert tries[0] < until - 9 and tries[1] == pytest.approx(until)
    tries.clear()
    with pytest.raises(CameraError, match="attempt 2"):
        attempted(read, {"until": until, "works_at": 3}, print)
