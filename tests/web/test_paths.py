"""No address leads to a file: tricks with paths on every route, on a real socket."""

import socket
from urllib.parse import unquote

import pytest

from lapsekit.desk.app import PARTS
from lapsekit.edits.book import NAMES
from tests.web.paths import tricks
from tests.web.serving_apps import ask

TEXTS = {f"/settings/text/{name}" for name in NAMES}
TOLD = ("root:", "[season]", "SQLite format", "time_zone", "argon2id", "Traceback", "\nFile ")


def prefixes(parts):
    """Each route up to what a request fills in, and the root."""
    found = {"/", "//"}
    for part in parts:
        for route in part.ROUTES:
            found.add(route.path.partition("{")[0])
            found.add(f"{route.path.partition('{')[0]}x/")
    return sorted(found)


def answers(port, targets):
    """Status and body for each target, over connections that stay open."""
    for target in targets:
        reply = ask(port, "GET", target)
        yield target, reply


@pytest.fixture(autouse=True)
def unlimited(monkeypatch):
    """One address asks a thousand times here."""
    monkeypatch.setattr("lapsekit.web.limits.Rate.allows", lambda *_: True)


def test_no_trick_with_a_path_reads_a_file_or_upsets_the_desk(open_desk, caplog):
    targets = list(tricks(prefixes(PARTS)))
    assert len(targets) > 500
    pages = {r.path for part in PARTS for r in part.ROUTES if "GET" in r.methods}
    for target, reply in answers(open_desk, targets):
        assert reply is not None and reply.status < 500, target
        for told in TOLD:  # but for the page that shows a text of the season to be edited
            is_text = unquote(target).split("?")[0] in TEXTS
            assert told not in reply.body.decode("utf-8", "replace") or is_text, target
        if reply.status == 200 and unquote(target).split("?")[0] not in pages | TEXTS:
            assert target.startswith(("/static/", "//static/", "/?", "//?")), target
        location = reply.headers.get("location", "/")
        assert location.startswith(("/", f"http://127.0.0.1:{open_desk}/")), target
        assert not location.startswith("//"), target
    assert "Traceback" not in caplog.text


def test_a_form_filled_with_tricks_changes_nothing(open_desk, bench):
    before = _texts(bench.folder)
    page = ask(open_desk, "GET", "/")
    headers = [("Cookie", page.cookie), ("X-Form-Token", page.token)]
    kind = ("Content-Type", "multipart/form-data; boundary=b")
    for part in PARTS:
        for route in part.ROUTES:
            if "POST" not in route.methods or route.path == "/sign-out":  # it ends the session
                continue
            path = route.path.replace("{", "..%2f{").replace("{number}", "1")
            for body in (
                b"",
                b"--b",
                b"\x00\xff" * 500,
                b'--b\r\nContent-Disposition: form-data; name="x"; filename="../../season.toml"'
                b"\r\n\r\n[season]\r\n--b--\r\n",
                b"--b\r\nContent-Disposition: form-data\r\n\r\n1\r\n--b--\r\n",
                b"--b\r\n" * 3000,
            ):
                reply = ask(open_desk, "POST", path, [*headers, kind], body)
                assert reply.status in (200, 303, 400, 404, 409), (path, body[:40])
    assert _texts(bench.folder) == before


def _texts(folder):
    """The season's own texts and its frames; what measuring derives may come meanwhile.

    The catalogue is not opened: closing it again would take SQLite's locks from the server, which
    runs in this process, and a job that then finds it unused cuts off what the server has mapped.
    """
    found = (f for f in sorted(folder.rglob("*")) if f.name in NAMES or "frames" in f.parts)
    return {f: f.read_bytes() for f in found if f.is_file()}


def test_the_tricks_would_be_seen_by_a_server_that_follows_them(tmp_path):
    """The same list against a server that joins paths: it does give files away."""
    from tests.web.naive import naive

    (tmp_path / "site").mkdir()
    (tmp_path / "season.toml").write_text("[season]\n")
    with naive(tmp_path / "site") as port:
        found = [t for t in tricks(["/"]) if b"[season]" in got(port, t)]
    assert len(found) >= 3


def got(port, target):
    with socket.create_connection(("127.0.0.1", port), timeout=5) as plain:
        plain.sendall(f"GET {target} HTTP/1.0\r\n\r\n".encode())
        pieces = []
        while piece := plain.recv(65536):
            pieces.append(piece)
    return b"".join(pieces)
