"""A WebDAV server that is slow, lists odd names, or meets a local fault harms and holds nothing."""

import contextlib
import threading
import time
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer

import pytest

from lapsekit.errors import TransferError
from lapsekit.places import WebDav
from lapsekit.places.trying import Tries
from lapsekit.settings import CopiesTable

LIMIT_S = 1.0


@contextlib.contextmanager
def serving(answer):
    """A server whose `answer` is told the request's handler; its address."""

    class Handler(BaseHTTPRequestHandler):
        protocol_version = "HTTP/1.1"

        def _do(self):
            self.rfile.read(int(self.headers.get("Content-Length", 0)))
            with contextlib.suppress(OSError):
                answer(self)

        do_GET = do_PUT = do_PROPFIND = do_MKCOL = do_MOVE = _do

        def log_message(self, *_):
            pass

    server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
    server.daemon_threads = True
    thread = threading.Thread(target=server.serve_forever)
    thread.start()
    try:
        yield f"http://127.0.0.1:{server.server_port}/roof"
    finally:
        server.shutdown()
        thread.join()
        server.server_close()


def place(address, limit_s=LIMIT_S, **more):
    return WebDav(CopiesTable(to="webdav", target=address, time_limit_s=limit_s, **more), None)


def answered(handler, content, code=200):
    handler.send_response(code)
    handler.send_header("Content-Length", str(len(content)))
    handler.end_headers()
    handler.wfile.write(content)


def dripping(handler, first):
    """A byte now and then, never so late that the limit between two of them would be met."""
    handler.wfile.write(first)
    for _ in range(100):
        time.sleep(0.1)
        handler.wfile.write(b"x")


def in_its_head(handler):
    dripping(handler, b"HTTP/1.1 200 OK\r\nX-Slow: ")


def in_its_body(handler):
    dripping(handler, b"HTTP/1.1 200 OK\r\nContent-Length: 100\r\n\r\n")


def without_a_length(handler):
    dripping(handler, b"HTTP/1.1 200 OK\r\nConnection: close\r\n\r\n")


def not_at_all(handler):
    time.sleep(10)


@pytest.mark.parametrize("slowly", [in_its_head, in_its_body, without_a_length, not_at_all])
def test_a_server_that_answers_ever_more_slowly_is_left_at_the_limit(slowly, tmp_path):
    (tmp_path / "a.txt").write_text("a")
    with serving(slowly) as address:
        for call in (
            lambda: place(address).fetch(["a.txt"], tmp_path / "into"),
            lambda: place(address).send(tmp_path, ["a.txt"]),
            lambda: place(address).listed("."),
        ):
            began = time.monotonic()
            with pytest.raises(TransferError, match="did not end within 1 s"):
                call()
            assert LIMIT_S <= time.monotonic() - began < 3 * LIMIT_S
    assert not (tmp_path / "into" / "a.txt").exists()


def test_a_file_that_the_bandwidth_lets_through_too_slowly_ends_at_the_limit(tmp_path):
    (tmp_path / "big").write_bytes(bytes(2_000_000))
    with serving(lambda handler: answered(handler, b"", 201)) as address:
        began = time.monotonic()
        with pytest.raises(TransferError, match="did not end within 1 s"):
            place(address, bandwidth_kb_s=100).send(tmp_path, ["big"])
        assert time.monotonic() - began < 3 * LIMIT_S


def listing(*entries):
    """What a server says is in a folder: addresses, those of folders with a slash at their end."""
    told = "".join(
        f"<d:response><d:href>{entry}</d:href><d:propstat><d:prop><d:resourcetype>"
        f"{'<d:collection/>' if entry.endswith('/') else ''}"
        "</d:resourcetype></d:prop></d:propstat></d:response>"
        for entry in entries
    )
    return f'<?xml version="1.0"?><d:multistatus xmlns:d="DAV:">{told}</d:multistatus>'.encode()


def test_names_that_lead_elsewhere_are_not_believed():
    odd = ["/roof/../", "/roof/./", "/roof/%2e%2e/", "/roof/..", "/", "//", "/roof/%2Fetc%2Fpasswd"]
    odd += ["/roof/..%2F..%2Fx", "/roof/a%2Fb", "/roof/..%5Cx", "/roof/x%5C/", ""]
    with serving(
        lambda handler: answered(
            handler,
            listing("/roof/", *odd, "/roof/a%20b.txt", "/roof/in/")
            if handler.path == "/roof/"
            else listing("/roof/in/", "/roof/in/", "/roof/in/c.txt"),
            207,
        )
    ) as address:
        assert place(address).listed(".") == ["a b.txt", "in/c.txt"]
        assert place(address).top() == ["a b.txt", "in"]


def test_a_server_that_makes_up_ever_deeper_folders_is_told():
    def answer(handler):
        answered(handler, listing(handler.path, f"{handler.path}deeper/"), 207)

    with serving(answer) as address, pytest.raises(TransferError, match="without end"):
        place(address, limit_s=60.0).listed("frames")


def test_a_fault_of_this_machine_is_told_with_its_file_and_can_be_tried_again(tmp_path):
    (tmp_path / "in-the-way").write_text("a file")
    with serving(lambda handler: answered(handler, b"content")) as address:
        with pytest.raises(TransferError, match=r"in-the-way/a\.txt"):
            place(address).fetch(["a.txt"], tmp_path / "in-the-way")
        with pytest.raises(TransferError, match=r"gone\.txt: No such file"):
            place(address).differing(tmp_path, ["gone.txt"])


def test_sizes_over_a_poor_line_go_on_where_they_broke_off_and_are_asked_anew_after():
    """Every third question fails: of seven asked from the first again, one always would."""
    asked = []

    def answer(handler):
        asked.append(handler.path)
        if len(asked) % 3 == 0:
            answered(handler, b"", 503)
        else:
            answered(handler, listing(handler.path, f"{handler.path}a.jpg"), 207)

    names = [f"frames/{day}/a.jpg" for day in range(7)]
    with serving(answer) as address:
        there = place(address)
        tries = Tries(lambda seconds: None, lambda line: None, TransferError)
        for _ in range(2):
            asked.clear()
            assert tries(lambda: there.sizes(names)) == dict.fromkeys(names)
            assert len(asked) == 10 and len(set(asked)) == 7
