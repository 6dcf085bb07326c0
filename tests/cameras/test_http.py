"""A camera behind an address: a real server that asks for passwords, dawdles and breaks off."""

import base64
import hashlib
import os
import re
import threading
import time
from contextlib import contextmanager, suppress
from datetime import UTC, datetime
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path

import pytest

from lapsekit.cameras.http import Http
from lapsekit.errors import CameraError, SettingsError
from lapsekit.settings import HttpCamera
from tests.scenes import bench_picture, encoded

NOW = datetime(2031, 4, 1, 10, tzinfo=UTC)
PICTURE = encoded(bench_picture([]))
USER, PASSWORD, REALM, NONCE = "grower", "rocket & sorrel", "bench", "8c1f"


def md5(text):
    return hashlib.md5(text.encode()).hexdigest()


class Handler(BaseHTTPRequestHandler):
    """Serves the picture in many ways."""

    def log_message(self, *_):
        """Say nothing."""

    def do_GET(self):
        """One way a path."""
        given = self.headers.get("Authorization", "")
        path = self.path.split("?")[0]
        if path == "/basic.jpg" and given != self.basic:
            return self.refuse('Basic realm="bench"')
        if path == "/digest.jpg" and not self.digest_is_right(given):
            return self.refuse(f'Digest realm="{REALM}", qop="auth", nonce="{NONCE}"')
        if path == "/lazy.jpg" and not given:
            time.sleep(1.9)
            return self.refuse('Basic realm="bench"')
        if path == "/lazy.jpg":
            time.sleep(1.9)
        if path.startswith("/round/") and path != "/round/6":
            time.sleep(0.8)
            self.send_response(302)
            self.send_header("Location", f"/round/{int(path[-1]) + 1}")
            return self.end_headers()
        if path == "/headers.jpg":
            return self.dawdle()
        if path == "/missing.jpg":
            return self.send_error(404)
        self.send_response(200)
        if path == "/cut.jpg":
            self.send_header("Content-Length", str(len(PICTURE)))
            self.end_headers()
            return self.wfile.write(PICTURE[:1000])
        self.end_headers()
        if path == "/slow.jpg":
            for start in range(0, 100):
                self.wfile.write(PICTURE[start : start + 1])
                self.wfile.flush()
                time.sleep(0.05)
        elif path == "/stream":
            try:
                while True:
                    self.wfile.write(PICTURE)
            except OSError:
                return None
        elif path != "/empty.jpg":
            self.wfile.write(PICTURE)
        return None

    basic = "Basic " + base64.b64encode(f"{USER}:{PASSWORD}".encode()).decode()

    def dawdle(self):
        """Send headers byte by byte; after ten seconds, the picture."""
        head = f"HTTP/1.0 200 OK\r\nX-Slow: {'x' * 80}\r\n\r\n".encode()
        try:
            for byte in head:
                self.wfile.write(bytes([byte]))
                self.wfile.flush()
                time.sleep(0.1)
            self.wfile.write(PICTURE)
        except OSError:
            return

    def refuse(self, how):
        """Ask for a password."""
        self.send_response(401)
        self.send_header("WWW-Authenticate", how)
        self.end_headers()

    def digest_is_right(self, given):
        """RFC 7616, with MD5 and qop=auth."""
        if not given.startswith("Digest "):
            return False
        part = dict(re.findall(r'(\w+)="?([^",]+)"?', given))
        secret = md5(f"{USER}:{REALM}:{PASSWORD}")
        asked = md5(f"GET:{self.path}")
        told = f"{secret}:{part['nonce']}:{part['nc']}:{part['cnonce']}:auth:{asked}"
        return part["username"] == USER and part["response"] == md5(told)


class Server(ThreadingHTTPServer):
    """A server that says nothing of clients that hang up."""

    def handle_error(self, *_):
        """Say nothing."""


@pytest.fixture(scope="module")
def address():
    server = Server(("127.0.0.1", 0), Handler)
    threading.Thread(target=server.serve_forever, daemon=True).start()
    yield f"http://127.0.0.1:{server.server_address[1]}"
    server.shutdown()
    server.server_close()


@contextmanager
def camera(url, folder, password=None, **more):
    if password is not None:
        file = folder / "camera-password"
        file.write_text(f"{password}\n")
        file.chmod(0o600)
        more |= {"user": USER, "password_file": "camera-password"}
    yield Http(HttpCamera(kind="http", url=url, **more), folder)


@pytest.mark.parametrize(
    ("path", "password"),
    [("/still.jpg", None), ("/basic.jpg", PASSWORD), ("/digest.jpg", PASSWORD)],
)
def test_the_picture_comes_as_it_lies_there(address, tmp_path, path, password):
    with camera(address + path, tmp_path, password) as http:
        shot = http.take(NOW)
        assert (shot.data, shot.taken_at) == (PICTURE, NOW)
        assert http.take(NOW).data == PICTURE


@pytest.mark.parametrize("path", ["/basic.jpg", "/digest.jpg"])
def test_a_wrong_password_is_told_without_it(address, tmp_path, path):
    with (
        camera(f"{address}{path}?token=hush", tmp_path, "wrong") as http,
        pytest.raises(CameraError, match=r"401 .*check user and password_file") as told,
    ):
        http.take(NOW)
    assert "wrong" not in str(told.value) and "hush" not in str(told.value)


@pytest.mark.parametrize(
    ("path", "said"),
    [
        ("/missing.jpg", "answered 404"),
        ("/cut.jpg", "broke off after 1000 of"),
        ("/slow.jpg", "did not give a picture within 0.4 s"),
        ("/empty.jpg", "without a picture"),
        ("/stream", "not of a stream"),
    ],
)
def test_what_goes_wrong_is_said_with_what_to_check(address, tmp_path, path, said):
    limit = 0.4 if path == "/slow.jpg" else 20.0
    with (
        camera(address + path, tmp_path, time_limit_s=limit) as http,
        pytest.raises(CameraError, match=said),
    ):
        http.take(NOW)


@pytest.mark.parametrize(
    ("path", "password"),
    [("/headers.jpg", None), ("/lazy.jpg", PASSWORD), ("/round/1", None)],
    ids=["headers byte by byte", "late twice with a password between", "five late redirects"],
)
def test_one_time_limit_holds_for_the_whole_fetch(address, tmp_path, path, password):
    with camera(address + path, tmp_path, password, time_limit_s=2.0) as http:
        began = time.monotonic()
        with pytest.raises(CameraError, match="did not give a picture within 2 s"):
            http.take(NOW)
        assert time.monotonic() - began < 3.5


@pytest.mark.parametrize(("path", "password"), [("/lazy.jpg", PASSWORD), ("/round/1", None)])
def test_who_is_slow_but_within_the_limit_is_waited_for(address, tmp_path, path, password):
    with camera(address + path, tmp_path, password, time_limit_s=20.0) as http:
        assert http.take(NOW).data == PICTURE


def test_the_password_is_in_no_list_of_processes(address, tmp_path):
    seen = []
    with camera(f"{address}/lazy.jpg", tmp_path, PASSWORD) as http:
        taking = threading.Thread(target=lambda: seen.append(http.take(NOW).data))
        taking.start()
        lines = set()
        while taking.is_alive():
            for process in Path("/proc").glob("[0-9]*"):
                with suppress(OSError):
                    lines.add((process / "cmdline").read_bytes())
                    lines.add((process / "environ").read_bytes())
            time.sleep(0.05)
    assert seen == [PICTURE]
    assert any(b"lapsekit.cameras.apart" in line for line in lines)
    assert not any(PASSWORD.encode() in line for line in lines)


def test_nobody_there_is_said(tmp_path):
    with (
        camera("http://127.0.0.1:9/still.jpg", tmp_path) as http,
        pytest.raises(CameraError, match=r"cannot be reached .*refused"),
    ):
        http.take(NOW)


def test_a_password_that_others_can_read_is_refused(address, tmp_path):
    with camera(f"{address}/basic.jpg", tmp_path, PASSWORD) as http:
        (tmp_path / "camera-password").chmod(0o644)
        with pytest.raises(SettingsError, match="others can read it; run chmod 600"):
            http.take(NOW)
        (tmp_path / "camera-password").unlink()
        with pytest.raises(SettingsError, match="write the password into it"):
            http.take(NOW)


def test_a_systemd_credential_comes_first(address, tmp_path, monkeypatch):
    credentials = tmp_path / "credentials"
    credentials.mkdir()
    (credentials / "camera-password").write_text(PASSWORD)
    monkeypatch.setitem(os.environ, "CREDENTIALS_DIRECTORY", str(credentials))
    with camera(f"{address}/basic.jpg", tmp_path, "not this one") as http:
        assert http.take(NOW).data == PICTURE
