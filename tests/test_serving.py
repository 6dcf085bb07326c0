"""The preview serves the site on loopback, and parts of files as a film player asks for them."""

import http.client
import threading

import pytest

from lapsekit.errors import SiteError
from lapsekit.serving import open_server

BODY = bytes(range(256)) * 400


@pytest.fixture
def site(tmp_path):
    (tmp_path / "index.html").write_text("<!doctype html><title>x</title>")
    (tmp_path / "season.mp4").write_bytes(BODY)
    return tmp_path


@pytest.fixture
def ask(site):
    server = open_server(site, 0)
    thread = threading.Thread(target=server.serve_forever, daemon=True)
    thread.start()

    def get(path, **headers):
        connection = http.client.HTTPConnection(*server.server_address, timeout=10)
        connection.request("GET", path, headers=headers)
        answer = connection.getresponse()
        body = answer.read()
        connection.close()
        return answer, body

    yield get
    server.shutdown()
    server.server_close()
    thread.join()


def test_a_whole_file_is_served(ask):
    answer, body = ask("/season.mp4")
    assert (answer.status, body) == (200, BODY)
    assert answer.headers["Content-Type"] == "video/mp4"


@pytest.mark.parametrize(
    ("asked", "first", "last"),
    [("bytes=0-99", 0, 99), ("bytes=1000-", 1000, len(BODY) - 1), ("bytes=5-999999", 5, None)],
)
def test_a_part_of_a_file_is_served(ask, asked, first, last):
    last = len(BODY) - 1 if last is None else last
    answer, body = ask("/season.mp4", Range=asked)
    assert answer.status == 206
    assert body == BODY[first : last + 1]
    assert answer.headers["Content-Range"] == f"bytes {first}-{last}/{len(BODY)}"


def test_a_part_beyond_the_end_is_refused(ask):
    answer, _ = ask("/season.mp4", Range=f"bytes={len(BODY)}-")
    assert answer.status == 416


@pytest.mark.parametrize("path", ["/../secret", "/%2e%2e/secret", "/..%2fsecret"])
def test_nothing_outside_the_site_is_served(ask, site, path):
    (site.parent / "secret").write_text("mine")
    answer, body = ask(path)
    assert answer.status == 404
    assert b"mine" not in body


def test_a_taken_port_gives_way_to_the_next(site):
    with open_server(site, 0) as first:
        port = first.server_address[1]
        with open_server(site, port) as second:
            assert second.server_address[0] == "127.0.0.1"
            assert second.server_address[1] != port


def test_without_a_site_there_is_nothing_to_serve(tmp_path):
    with pytest.raises(SiteError, match="run lapsekit site first"):
        open_server(tmp_path, 0)
