"""A page of another origin in a real browser: what it tries with the desk comes to nothing."""

import threading
from contextlib import contextmanager
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer

import pytest

from lapsekit.web.passwords import hashed
from tests.web.serving_apps import PASSWORD, desk_app, on_socket

PAGE = """<!doctype html><meta charset="utf-8"><title>elsewhere</title>
<a id="link" href="{desk}">to the desk</a>
<form id="form" method="post" action="{desk}sign-out"><button>x</button></form>
<iframe id="frame" src="{desk}"></iframe>
<script src="{desk}static/desk.js"></script>
"""
TRIES = """async (desk) => {
    const picture = (address) => new Promise((done) => {
        const image = new Image();
        image.onload = () => done("seen");
        image.onerror = () => done("not seen");
        image.src = address;
    });
    const fetched = async (how) => {
        try {
            const answer = await fetch(desk, {credentials: "include", ...how});
            return answer.type === "opaque" ? "opaque" : await answer.text();
        } catch (error) { return "refused"; }
    };
    return {
        picture: await picture(`${desk}static/desk.svg`),
        read: await fetched({}),
        blind: await fetched({mode: "no-cors"}),
        sent: await fetched({method: "POST", body: new URLSearchParams({form_token: "x"})}),
        headed: await fetched({method: "POST", headers: {"x-form-token": "x"}}),
        script: typeof desk_is_there === "undefined" && typeof window.desk,
    };
}"""


@contextmanager
def elsewhere(page):
    """Address of a site with one page."""

    class One(BaseHTTPRequestHandler):
        def do_GET(self):
            self.send_response(200)
            self.send_header("content-type", "text/html")
            self.end_headers()
            self.wfile.write(page.encode())

        def log_message(self, *_):
            pass

    with ThreadingHTTPServer(("127.0.0.1", 0), One) as server:
        threading.Thread(target=server.serve_forever, daemon=True).start()
        yield f"http://localhost:{server.server_address[1]}/", server.server_address[1]
        server.shutdown()


@pytest.mark.browser
@pytest.mark.parametrize("name", ["127.0.0.1", "localhost"])
def test_a_page_of_another_origin_reads_embeds_and_changes_nothing(browser, bench, name):
    """From another site, and from another port of the same name, which shares its cookies."""
    kept = hashed(PASSWORD)
    with on_socket(desk_app(bench.folder, password_hash=kept)) as port:
        desk = f"http://127.0.0.1:{port}/"
        with elsewhere(PAGE.format(desk=desk)) as (_, other_port):
            context = browser.new_context()
            page = context.new_page()
            page.goto(desk)
            page.fill("#password", PASSWORD)
            page.click("button.main")
            page.wait_for_selector(".camera")
            session = context.cookies()[0]["value"]

            page.goto(f"http://{name}:{other_port}/")
            found = page.evaluate(TRIES, desk)
            assert (
                found
                == {
                    **{"picture": "not seen", "read": "refused", "blind": "refused"},
                    **{"sent": "refused", "headed": "refused", "script": "undefined"},
                }
                or found["blind"] == "opaque"
            )
            assert found["picture"] == "not seen" and found["read"] == "refused"
            frame = page.frame_locator("#frame").locator(".camera")
            assert frame.count() == 0
            with page.expect_response("**/sign-out") as answer:
                page.click("#form button")
            assert answer.value.status == 403

            page.goto(f"http://{name}:{other_port}/")
            page.click("#link")  # a link is fine, and the session lives on
            page.wait_for_selector(".camera")
            assert [c["value"] for c in context.cookies() if "desk" in c["name"]] == [session]
            context.close()


@pytest.mark.browser
def test_a_link_from_elsewhere_leaves_a_form_in_another_window_good(browser, bench):
    with on_socket(desk_app(bench.folder, password_hash=hashed(PASSWORD))) as port:
        desk = f"http://127.0.0.1:{port}/"
        with elsewhere(PAGE.format(desk=desk)) as (other, _):
            context = browser.new_context()
            first, second = context.new_page(), context.new_page()
            first.goto(desk)
            second.goto(other)
            second.click("#link")
            second.wait_for_selector("#password")
            first.fill("#password", PASSWORD)
            first.click("button.main")
            first.wait_for_selector(".camera")
            context.close()
