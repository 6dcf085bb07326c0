"""A real browser on a real server: what tests of pages share."""

import threading
from contextlib import contextmanager

CHROMIUM_ARGUMENTS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-dev-shm-usage",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]


@contextmanager
def running(server):
    """`server` answering on a thread; its address."""
    thread = threading.Thread(target=server.serve_forever, daemon=True)
    thread.start()
    try:
        yield f"http://127.0.0.1:{server.server_address[1]}/"
    finally:
        server.shutdown()
        thread.join()
        server.server_close()


@contextmanager
def opened(browser, start, **options):
    """A page at `start`; afterwards: no console message, and every request stayed below it."""
    context = browser.new_context(**options)
    page = context.new_page()
    messages, requests = [], []
    page.on("console", lambda message: messages.append(message.text))
    page.on("pageerror", lambda error: messages.append(str(error)))
    page.on("request", lambda request: requests.append(request.url))
    page.on("response", lambda r: r.status >= 400 and messages.append(f"{r.status} {r.url}"))
    page.goto(start, wait_until="load")
    yield page
    context.close()
    below = start.removesuffix("index.html")
    assert messages == []
    local = (below, "blob:")
    assert [url for url in requests if not url.startswith(local)] == []
