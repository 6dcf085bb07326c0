"""The guard before every page: names, methods, origins, tokens, headers, bodies."""

import socket
import time
from contextlib import suppress

import pytest

from lapsekit.web.answers import HEADERS
from lapsekit.web.bodies import token_in
from lapsekit.web.guard import Guard, Rules
from lapsekit.web.sessions import Sessions
from tests.web.serving_apps import Reply, ask, desk_app, facts, form, on_socket, post, raw

JSON = ("Accept", "application/json")


@pytest.fixture
def echo():
    """Port of a small application behind the guard that says what reached it; what it saw."""
    seen = []

    async def app(scope, receive, send):
        size, more = 0, scope["method"] == "POST"
        while more:
            message = await receive()
            size += len(message.get("body", b""))
            more = message.get("more_body", False)
        seen.append((scope["path"], size, scope["state"]["who"]))
        told = f'<input name="form_token" value="{scope["state"]["session"].form_token}">{size}'
        await send({"type": "http.response.start", "status": 200, "headers": []})
        await send({"type": "http.response.body", "body": told.encode()})

    def make(port):
        rules = Rules(
            hosts=frozenset({f"127.0.0.1:{port}"}),
            is_secure=False,
            cookie="echo",
            largest_body=lambda path: 50_000,
            body_time_s=0.6,
        )
        return Guard(app, rules, Sessions(time.monotonic))

    with on_socket(make, head_time_s=0.5) as port:
        yield port, seen


def signed_on(port, path="/", **more):
    """A session: its cookie and its token."""
    reply = ask(port, "GET", path, **more)
    assert reply.status == 200
    return reply.cookie, reply.token


@pytest.mark.parametrize(
    "host",
    [
        "rebound.example",
        "rebound.example:{port}",
        "127.0.0.1",
        "127.0.0.1:1",
        "localhost.:{port}",
        "",
    ],
)
def test_a_name_that_somebody_pointed_here_is_not_answered(open_desk, host):
    for method in ("GET", "POST"):
        reply = ask(open_desk, method, "/", host=host.format(port=open_desk) or " ")
        assert reply.status in (400, 421)
        assert "set-cookie" not in reply.headers and "season" not in reply.text


def test_the_names_of_this_machine_are_answered_in_any_case(open_desk):
    for host in (f"127.0.0.1:{open_desk}", f"LocalHost:{open_desk}", f"[::1]:{open_desk}"):
        assert ask(open_desk, "GET", "/", host=host).status == 200


def test_a_request_with_two_hosts_or_none_is_no_request(open_desk):
    own = f"Host: 127.0.0.1:{open_desk}\r\n"
    for hosts in (own + own, own + "Host: rebound.example\r\n", ""):
        reply = raw(open_desk, f"GET / HTTP/1.1\r\n{hosts}Connection: close\r\n\r\n".encode())
        assert reply.status == 400
    assert raw(open_desk, b"GET / HTTP/1.0\r\n\r\n").status == 421


@pytest.mark.parametrize("method", ["PUT", "DELETE", "OPTIONS", "TRACE", "CONNECT", "BREW"])
def test_other_methods_than_reading_and_sending_are_refused(open_desk, method):
    assert ask(open_desk, method, "/").status in (400, 405)


def test_an_address_with_another_machine_in_it_leads_nowhere(open_desk):
    cookie, _ = signed_on(open_desk)
    for target in ("http://rebound.example/", "//rebound.example/sign-in/"):
        reply = ask(open_desk, "GET", target, [("Cookie", cookie)])
        assert reply.status in (400, 404) and "location" not in reply.headers


def test_a_change_needs_the_token_of_its_own_session(open_desk):
    cookie, token = signed_on(open_desk)
    others, other_token = signed_on(open_desk)
    assert others != cookie and other_token != token
    for told in (None, "", "x", other_token, token[:-1], token + "x"):
        reply = post(open_desk, "/jobs/none/stop", cookie, told)
        assert reply.status == 403 and "earlier session" in reply.text
    assert post(open_desk, "/jobs/none/stop", None, token).status == 403
    assert post(open_desk, "/jobs/none/stop", cookie, token).status == 404  # let through


def test_a_token_counts_in_a_header_and_nowhere_but_at_the_head_of_a_form(open_desk):
    cookie, token = signed_on(open_desk)
    bare = form(change="x")
    named = [*bare["headers"], ("Cookie", cookie)]
    path = "/jobs/none/stop"
    reply = ask(open_desk, "POST", path, [*named, ("X-Form-Token", token)], bare["body"])
    assert reply.status == 404
    late = form(padding="x" * 5000, form_token=token)
    assert ask(open_desk, "POST", path, named, late["body"]).status == 403
    assert ask(open_desk, "POST", f"{path}?form_token={token}", named, bare["body"]).status == 403


def test_a_token_is_read_whole_however_a_form_is_cut_into_packets():
    kind, body = b"application/x-www-form-urlencoded", b"form_token=abcdef&x=1"
    for end in range(len(b"form_token=abcdef") + 1):
        assert token_in(body[:end], kind, False) is None
    assert token_in(body, kind, False) == token_in(body[:17], kind, True) == b"abcdef"
    parts = (
        b'--b\r\nContent-Disposition: form-data; name="form_token"\r\n\r\nabcdef\r\n'
        b'--b\r\nContent-Disposition: form-data; name="x"\r\n\r\nform_token\r\n--b--\r\n'
    )
    cut = parts.index(b"abcdef") + 6
    assert token_in(parts[:cut], b"multipart/form-data; boundary=b", False) is None
    assert token_in(parts, b"multipart/form-data; boundary=b", True) == b"abcdef"
    swapped = b'--b\r\nContent-Disposition: form-data; name="y"\r\n\r\n1\r\n' + parts
    assert token_in(swapped, b"multipart/form-data; boundary=b", True) is None


@pytest.mark.parametrize(
    "told",
    [
        [("Origin", "http://elsewhere.example")],
        [("Origin", "null")],
        [("Origin", "https://127.0.0.1:{port}")],
        [("Origin", "http://127.0.0.1:1")],
        [("Origin", "http://127.0.0.1")],
        [("Origin", "http://localhost:{port}")],
        [("Origin", "http://127.0.0.1:{port}.elsewhere.example")],
        [("Origin", "http://x@127.0.0.1:{port}")],
        [("Origin", "http://[")],
        [("Origin", "http://127.0.0.1:{port}"), ("Origin", "http://127.0.0.1:{port}")],
        [("Sec-Fetch-Site", "cross-site")],
        [("Sec-Fetch-Site", "same-site")],
        [("Sec-Fetch-Site", "cross-site"), ("Sec-Fetch-Mode", "navigate")],
    ],
)
def test_a_change_from_a_page_of_another_origin_is_refused_even_with_the_token(open_desk, told):
    cookie, token = signed_on(open_desk)
    headers = [(name, value.format(port=open_desk)) for name, value in told]
    reply = post(open_desk, "/jobs/none/stop", cookie, token, headers)
    assert reply.status == 403 and "another site" in reply.text


def test_a_change_from_our_own_page_is_let_through(open_desk):
    cookie, token = signed_on(open_desk)
    own = [("Origin", f"http://127.0.0.1:{open_desk}"), ("Sec-Fetch-Site", "same-origin")]
    assert post(open_desk, "/jobs/none/stop", cookie, token, own).status == 404


@pytest.mark.parametrize("site", ["cross-site", "same-site"])
def test_other_sites_neither_read_nor_embed(open_desk, site):
    for mode, where in (("no-cors", "image"), ("cors", "empty"), ("navigate", "iframe")):
        fetched = [("Sec-Fetch-Site", site), ("Sec-Fetch-Mode", mode), ("Sec-Fetch-Dest", where)]
        for path in ("/", "/static/desk.css", "/static/desk.js"):
            assert ask(open_desk, "GET", path, fetched).status == 403


def test_a_link_of_another_site_opens_the_page_and_takes_no_session_away(open_desk):
    link = [("Sec-Fetch-Site", "cross-site"), ("Sec-Fetch-Mode", "navigate")]
    link.append(("Sec-Fetch-Dest", "document"))
    for path, led in (
        ("/changes/", "./"),
        ("/changes/?a=%22%3E&b=<", "./?a=%22%3E&amp;b=&lt;"),
        ("//elsewhere.example", "./elsewhere.example"),
        ("/javascript:x", "./javascript:x"),
    ):
        reply = ask(open_desk, "GET", path, link)
        assert reply.status == 200 and "set-cookie" not in reply.headers
        assert f'content="0; url={led}"' in reply.text


def test_every_answer_has_the_policy_and_is_not_kept(open_desk):
    cookie, token = signed_on(open_desk)
    sent = form(form_token=token)["body"]
    own = f"Host: 127.0.0.1:{open_desk}\r\n"
    replies = [
        ask(open_desk, "GET", "/"),
        ask(open_desk, "GET", "/nothing"),
        ask(open_desk, "GET", "/static/nothing"),
        ask(open_desk, "GET", "/sign-in/"),
        ask(open_desk, "GET", "/", host="x.example"),
        ask(open_desk, "PUT", "/"),
        ask(open_desk, "POST", "/", [("Cookie", cookie), ("X-Form-Token", token)], sent),
        post(open_desk, "/sign-in", cookie, "x"),
        raw(open_desk, f"GET / HTTP/1.1\r\n{own}{own}\r\n".encode()),
        raw(open_desk, b"\x16\x03\x01 nonsense\r\n\r\n"),
    ]
    assert [each.status for each in replies] == [
        *(200, 404, 404, 307, 421, 405, 405, 403, 400, 400)
    ]
    for reply in replies:
        for name, value in HEADERS:
            assert reply.headers[name.decode()] == value.decode()
        assert reply.headers["cache-control"] == "no-store"
        assert "server" not in reply.headers


def test_pictures_and_files_are_asked_for_again_each_time(open_desk, bench):
    moment = next((bench.folder / "frames").rglob("*.png")).stem
    for path in ("/static/desk.css", f"/picture/bench/{moment}?side=240"):
        reply = ask(open_desk, "GET", path)
        assert reply.status == 200 and "no-cache" in reply.headers["cache-control"]
        again = ask(open_desk, "GET", path, [("If-None-Match", reply.headers["etag"])])
        assert again.status == 304 and again.body == b""


def test_a_body_above_the_limit_is_refused_whether_its_length_is_told_or_not(echo):
    port, seen = echo
    cookie, token = signed_on(port)
    seen.clear()
    headers = [("Cookie", cookie), ("X-Form-Token", token)]
    assert ask(port, "POST", "/", headers, b"x" * 50_000).text.endswith("50000")
    told = ask(port, "POST", "/", headers, b"x" * 50_001)
    assert told.status == 413 and "0.05 MB" in told.text
    for length in ("9" * 15, "9" * 30, "-1", "1e3"):
        head = f"POST / HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\nContent-Length: {length}\r\n"
        lines = "".join(f"{name}: {value}\r\n" for name, value in headers)
        reply = raw(port, f"{head}{lines}Connection: close\r\n\r\n".encode() + b"x" * 10, wait=60)
        assert reply is None or reply.status in (400, 408, 413)
    chunk = b"1000\r\n" + b"x" * 4096 + b"\r\n"
    head = f"POST / HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\nTransfer-Encoding: chunked\r\n{lines}\r\n"
    assert raw(port, head.encode() + chunk * 40 + b"0\r\n\r\n").status == 413
    assert seen == [("/", 50_000, "127.0.0.1")]


def test_a_body_that_does_not_come_to_an_end_is_given_up(echo):
    port, seen = echo
    cookie, token = signed_on(port)
    seen.clear()
    head = (
        f"POST / HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\nCookie: {cookie}\r\n"
        f"X-Form-Token: {token}\r\nContent-Length: 900\r\n\r\n"
    )
    with socket.create_connection(("127.0.0.1", port), timeout=20) as slow:
        slow.sendall(head.encode())
        for _ in range(9):
            time.sleep(0.1)
            slow.sendall(b"x")
        slow.sendall(b"x" * 891)
        assert Reply(slow.recv(65536)).status == 408
    assert seen == []


def test_whoever_asks_for_nothing_is_hung_up_on(echo):
    port, _ = echo
    for said in (b"", b"GET / HTTP/1.1\r\nHost: 127"):
        with socket.create_connection(("127.0.0.1", port), timeout=5) as slow:
            slow.sendall(said)
            with suppress(ConnectionResetError):
                assert slow.recv(100) == b""
    assert ask(port, "GET", "/").status == 200


def test_one_address_cannot_hold_all_connections(echo):
    from lapsekit.web.connections import MOST_OF_ONE

    port, _ = echo
    held = [socket.create_connection(("127.0.0.1", port)) for _ in range(MOST_OF_ONE + 8)]
    try:
        held[-1].settimeout(3)
        held[-1].sendall(b"GET / HTTP/1.1\r\n")
        with pytest.raises(ConnectionError):
            if held[-1].recv(10) == b"":
                raise ConnectionResetError
    finally:
        for each in held:
            each.close()
    for _ in range(50):
        time.sleep(0.02)
        if reply := raw(port, f"GET / HTTP/1.0\r\nHost: 127.0.0.1:{port}\r\n\r\n".encode()):
            break
    assert reply.status == 200


def test_a_sender_who_hangs_up_in_the_middle_leaves_no_traceback(bench, caplog):
    with on_socket(desk_app(bench.folder)) as port:
        cookie, token = signed_on(port)
        head = (
            f"POST /sign-in HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\nCookie: {cookie}\r\n"
            "Content-Type: application/x-www-form-urlencoded\r\nContent-Length: 900\r\n\r\n"
            f"form_token={token}&change="
        )
        with socket.create_connection(("127.0.0.1", port)) as broken:
            broken.sendall(head.encode())
            time.sleep(0.1)
        time.sleep(0.2)
        assert ask(port, "GET", "/").status == 200
    assert "Traceback" not in caplog.text


def test_a_strangers_forwarded_address_is_not_believed(echo):
    port, seen = echo
    ask(port, "GET", "/", [("X-Forwarded-For", "203.0.113.9")])
    assert seen[-1][2] == "127.0.0.1"


def test_behind_a_proxy_the_address_it_saw_counts_and_nobody_else_is_answered(bench):
    from lapsekit.web.limits import whose

    reach = {"is_secure": True, "names": ["bench.example"]}
    with on_socket(desk_app(bench.folder, proxies=frozenset({"127.0.0.1"}), **reach)) as port:
        guard_saw = ask(port, "GET", "/sign-in/", host="bench.example")
        assert guard_saw.status == 307
        assert guard_saw.headers["location"] == "https://bench.example/sign-in"
    with on_socket(desk_app(bench.folder, proxies=frozenset({"192.0.2.1"}), **reach)) as port:
        passed = ask(port, "GET", "/", host="bench.example")
        assert (
            passed.status == 403 and "proxy" in passed.text and "set-cookie" not in passed.headers
        )
    assert whose("2001:db8:1:2:3::9") == whose("2001:db8:1:2::77") != whose("2001:db8:1:3::9")
    assert whose("::ffff:192.0.2.7") == "192.0.2.7" and whose("fe80::1%eth0") == whose("fe80::2")


def test_too_many_requests_of_one_address_are_refused(echo):
    port, _ = echo
    found = [ask(port, "GET", "/").status for _ in range(300)]
    assert found[0] == 200 and 429 in found[240:]


def test_what_a_page_refuses_is_told_as_data_to_a_script(open_desk):
    cookie, token = signed_on(open_desk)
    assert post(open_desk, "/sign-in", cookie, token, [JSON], password="x").status == 200
    for _ in range(5):
        reply = post(open_desk, "/sign-in", cookie, token, [JSON], password="x")
    assert "wait" in facts(reply)["error"]
