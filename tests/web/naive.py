"""A server as it must not be: it joins what it is asked for to its folder."""

import threading
from contextlib import contextmanager
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from urllib.parse import unquote


@contextmanager
def naive(folder):
    """Port of a server of `folder` that believes paths."""

    class Believes(BaseHTTPRequestHandler):
        def do_GET(self):
            try:
                data = (folder / unquote(self.path).lstrip("/")).read_bytes()
            except (OSError, ValueError):
                data = b""
            self.send_response(200)
            self.end_headers()
            self.wfile.write(data)

        def log_message(self, *_):
            pass

    with ThreadingHTTPServer(("127.0.0.1", 0), Believes) as server:
        threading.Thread(target=server.serve_forever, daemon=True).start()
        yield server.server_address[1]
        server.shutdown()
