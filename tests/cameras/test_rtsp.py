"""A camera behind a stream: a real RTSP server with and without passwords, and one that is none."""

import io
import signal
import socket
import subprocess
import threading
import time
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from lapsekit.cameras.rtsp import Rtsp
from lapsekit.errors import CameraError
from lapsekit.settings import RtspCamera
from tests.scenes import bench_picture, encoded

NOW = datetime(2031, 4, 1, 10, tzinfo=UTC)
PICTURE = bench_picture([(150, 120, 60), (450, 300, 90)], size=(640, 480))
USER, PASSWORD = "grower", "a&b :@/c%41"
DEBIAN_PYTHON = "/usr/bin/python3"
SERVER = Path(__file__).with_name("rtsp_server.py")


@contextmanager
def serving(folder, *lock):
    shown = folder / "shown.png"
    shown.write_bytes(encoded(PICTURE))
    command = [DEBIAN_PYTHON, "-W", "ignore", str(SERVER), str(shown), *lock]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as server:
        try:
            yield server, f"rtsp://127.0.0.1:{server.stdout.readline().strip()}"
        finally:
            server.kill()


@pytest.fixture(scope="module")
def server_is_there():
    needed = "import gi; gi.require_version('GstRtspServer', '1.0')"
    try:
        subprocess.run([DEBIAN_PYTHON, "-c", needed], check=True, capture_output=True)
    except (OSError, subprocess.CalledProcessError):
        pytest.skip("no gir1.2-gst-rtsp-server-1.0 with python3-gi here; tests/run installs them")


@pytest.fixture(scope="module")
def address(server_is_there, tmp_path_factory):
    with serving(tmp_path_factory.mktemp("rtsp")) as (_, url):
        yield url


def camera(url, folder, password=None, **more):
    if password is not None:
        file = folder / "camera-password"
        file.write_text(f"{password}\n")
        file.chmod(0o600)
        more |= {"user": USER, "password_file": "camera-password"}
    return Rtsp(RtspCamera(kind="rtsp", url=url, **{"time_limit_s": 30.0, **more}), folder)


def shown_by(shot):
    with Image.open(io.BytesIO(shot.data)) as picture:
        return np.asarray(picture).astype(int)


@pytest.mark.parametrize("path", ["/h264", "/mjpeg", "/rare"])
def test_the_picture_is_what_the_camera_sees(address, tmp_path, path):
    shot = camera(address + path, tmp_path, time_limit_s=12.0).take(NOW)
    off = shown_by(shot) - PICTURE
    # Video keeps colour at half the size, and the soil's grain with it; JPEG by GStreamer is pale.
    assert np.abs(off).mean() < 6 and np.abs(off.mean((0, 1))).max() < 6
    assert shot.taken_at == NOW


@pytest.mark.parametrize("method", ["basic", "digest"])
def test_a_password_opens_the_stream_and_is_never_told(server_is_there, tmp_path, method):
    with serving(tmp_path, method, USER, PASSWORD) as (_, url):
        assert shown_by(camera(f"{url}/h264", tmp_path, PASSWORD).take(NOW)).shape == PICTURE.shape
        with pytest.raises(CameraError, match="asks for a password"):
            camera(f"{url}/h264", tmp_path).take(NOW)
        with pytest.raises(CameraError, match="check user and password_file") as told:
            camera(f"{url}/h264?token=hush", tmp_path, "wrong").take(NOW)
    assert "wrong" not in str(told.value) and "hush" not in str(told.value)


def test_the_password_stands_in_no_list_of_processes(tmp_path):
    with nobody_answers() as (url, _):
        rtsp = camera(url, tmp_path, "mint-and-thyme", time_limit_s=4.0)
        asking = threading.Thread(target=_fails, args=(rtsp,))
        asking.start()
        seen = []
        while asking.is_alive():
            for entry in Path("/proc").glob("[0-9]*"):
                try:
                    told = (entry / "cmdline").read_bytes() + (entry / "environ").read_bytes()
                except OSError:
                    continue
                seen.append(b"lapsekit.cameras.apart" in told)
                assert b"mint-and-thyme" not in told
        asking.join()
    assert any(seen)


def _fails(rtsp):
    with pytest.raises(CameraError):
        rtsp.take(NOW)


@pytest.mark.parametrize(
    ("path", "said"),
    [
        ("/none", "knows no such stream"),
        ("/few", "gave 10 whole pictures in time, and 11 are needed"),
        ("/sound", "no video, only sound"),
    ],
)
def test_what_goes_wrong_is_said_with_what_to_check(address, tmp_path, path, said):
    with pytest.raises(CameraError, match=said):
        camera(address + path, tmp_path).take(NOW)


def test_nobody_there_is_said(tmp_path):
    with pytest.raises(CameraError, match=r"cannot be reached .*check its power"):
        camera("rtsp://127.0.0.1:9/h264", tmp_path).take(NOW)


def test_a_server_that_stops_in_the_middle_is_told_within_the_limit(server_is_there, tmp_path):
    with serving(tmp_path) as (server, url):
        rtsp = camera(f"{url}/h264", tmp_path, warm_up_frames=300, time_limit_s=10.0)
        threading.Timer(3.0, server.send_signal, [signal.SIGSTOP]).start()
        began = time.monotonic()
        with pytest.raises(CameraError, match=r"whole pictures in time|did not answer in time"):
            rtsp.take(NOW)
        assert time.monotonic() - began < 11


def test_a_server_that_dies_and_comes_back_is_reopened(server_is_there, tmp_path):
    with serving(tmp_path) as (server, url):
        port = url.rsplit(":", 1)[1]
        rtsp = camera(f"{url}/h264", tmp_path, warm_up_frames=60, time_limit_s=20.0)
        reborn = []

        def die_and_return():
            server.kill()
            server.wait()
            command = [DEBIAN_PYTHON, "-W", "ignore", str(SERVER), str(tmp_path / "shown.png")]
            reborn.append(subprocess.Popen([*command, "", "", "", port]))

        threading.Timer(3.0, die_and_return).start()
        try:
            assert shown_by(rtsp.take(NOW)).shape == PICTURE.shape
        finally:
            assert reborn, "it died too late for this test to show anything"
            reborn[0].kill()
            reborn[0].wait()


@contextmanager
def nobody_answers():
    """A server that takes every connection and says nothing."""
    with socket.create_server(("127.0.0.1", 0)) as server:
        yield f"rtsp://127.0.0.1:{server.getsockname()[1]}/x", server


def test_a_server_that_never_answers_is_left_within_the_limit(tmp_path):
    with nobody_answers() as (url, _):
        began = time.monotonic()
        with pytest.raises(CameraError, match="did not answer in time"):
            camera(url, tmp_path, time_limit_s=4.0).take(NOW)
        assert time.monotonic() - began < 4.5
