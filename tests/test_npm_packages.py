"""tests/run asks npm's registry first, so that nobody waits for minutes where none answers."""

import base64
import hashlib
import io
import json
import os
import shutil
import socket
import subprocess
import tarfile
import threading
import time
from contextlib import contextmanager
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer

import pytest

from tests.conftest import CHECKOUT

LEAF = json.dumps({"name": "leaf", "version": "1.0.0"}).encode()

pytestmark = pytest.mark.skipif(shutil.which("npm") is None, reason="npm is not installed")


def packed():
    """The archive of a package that holds its package.json alone."""
    out = io.BytesIO()
    with tarfile.open(fileobj=out, mode="w:gz") as archive:
        entry = tarfile.TarInfo("package/package.json")
        entry.size = len(LEAF)
        archive.addfile(entry, io.BytesIO(LEAF))
    return out.getvalue()


@contextmanager
def registry(knows_ping):
    """A registry that has one package, and its address."""
    archive = packed()
    integrity = "sha512-" + base64.b64encode(hashlib.sha512(archive).digest()).decode()

    class Answers(BaseHTTPRequestHandler):
        def do_GET(self):
            base = f"http://{self.headers['Host']}"
            dist = {"tarball": f"{base}/leaf.tgz", "integrity": integrity}
            versions = {"1.0.0": {"name": "leaf", "version": "1.0.0", "dist": dist}}
            told = {"name": "leaf", "dist-tags": {"latest": "1.0.0"}, "versions": versions}
            found = {"/leaf": json.dumps(told).encode(), "/leaf.tgz": archive}
            if knows_ping:
                found["/-/ping"] = b"{}"
            content = found.get(self.path.split("?")[0])
            self.send_response(404 if content is None else 200)
            self.end_headers()
            self.wfile.write(content or b"{}")

        def log_message(self, *_):
            pass

    with ThreadingHTTPServer(("127.0.0.1", 0), Answers) as server:
        threading.Thread(target=server.serve_forever, daemon=True).start()
        yield f"http://127.0.0.1:{server.server_port}/"
        server.shutdown()


@contextmanager
def silence():
    """An address where every connection is taken and nothing is ever said."""
    with socket.create_server(("127.0.0.1", 0), backlog=64) as server:
        yield f"http://127.0.0.1:{server.getsockname()[1]}/"


def prepared(folder, address, **more):
    """What installing into a folder says, and how many seconds it took."""
    folder.mkdir()
    (folder / "package.json").write_text('{"private": true, "dependencies": {"leaf": "1.0.0"}}')
    own = {"npm_config_registry": address, "npm_config_cache": str(folder / "cache")} | more
    script = f"set -eu; . {CHECKOUT}/tests/npm/prepare.sh; npm_packages {folder}; echo and on"
    began = time.monotonic()
    done = subprocess.run(
        [shutil.which("bash"), "-c", script],
        capture_output=True,
        text=True,
        env=os.environ | own,
        check=True,
    )
    return done.stdout, time.monotonic() - began


@pytest.mark.parametrize("knows_ping", [True, False], ids=["ping", "no ping"])
def test_where_a_registry_answers_packages_are_installed_and_nothing_is_said(tmp_path, knows_ping):
    with registry(knows_ping) as address:
        said, _ = prepared(tmp_path / "npm", address)
    assert said == "and on\n"
    assert (tmp_path / "npm" / "node_modules" / "leaf" / "package.json").read_bytes() == LEAF


def test_where_none_answers_it_is_said_within_the_patience_of_one_request(tmp_path):
    with silence() as address:
        said, seconds = prepared(tmp_path / "npm", address)
    assert said.startswith("npm could not install axe and the Nu checker (its registry does not an")
    assert said.endswith("and on\n") and seconds < 40
    assert not (tmp_path / "npm" / "node_modules").exists()


def test_where_npm_is_missing_that_is_said_and_not_that_nobody_answers(tmp_path):
    said, _ = prepared(tmp_path / "npm", "http://127.0.0.1:9/", PATH=str(tmp_path))
    assert "(npm itself is missing)" in said and said.endswith("and on\n")


def test_where_nothing_listens_it_is_said_at_once(tmp_path):
    with socket.create_server(("127.0.0.1", 0)) as server:
        address = f"http://127.0.0.1:{server.getsockname()[1]}/"
    said, _ = prepared(tmp_path / "npm", address)
    assert "its registry does not answer" in said


def test_a_package_that_the_registry_does_not_have_is_said_to_be_missing(tmp_path):
    with registry(True) as address:
        said, _ = prepared(tmp_path / "npm", address + "elsewhere/")
    assert "npm could not install axe and the Nu checker (npm install --prefix " in said
