"""Real servers that take alerts: HTTP posts, and mail by SMTP."""

import json
import socketserver
import threading
from contextlib import contextmanager
from http.server import BaseHTTPRequestHandler, HTTPServer


@contextmanager
def http_receiver(port=0):
    """A server for ``json://``; gives its port and the list of what was posted."""
    posted = []

    class Handler(BaseHTTPRequestHandler):
        def do_POST(self):
            posted.append(json.loads(self.rfile.read(int(self.headers["Content-Length"]))))
            self.send_response(200)
            self.end_headers()

        def log_message(self, *_):
            pass

    with _served(HTTPServer(("127.0.0.1", port), Handler)) as server:
        yield server.server_address[1], posted


@contextmanager
def mail_receiver():
    """A server for ``mailto://``; gives its port and the list of mails it took."""
    taken = []

    class Handler(socketserver.StreamRequestHandler):
        def handle(self):
            self.say("220 here")
            for line in self.rfile:
                word = line.split()[0].upper() if line.split() else b""
                if word == b"DATA":
                    self.say("354 go on")
                    lines = iter(self.rfile.readline, b".\r\n")
                    taken.append(b"".join(lines).decode())
                    self.say("250 taken")
                elif word == b"QUIT":
                    self.say("221 bye")
                    return
                else:
                    self.say("250 fine")

        def say(self, line):
            self.wfile.write(f"{line}\r\n".encode())

    with _served(socketserver.ThreadingTCPServer(("127.0.0.1", 0), Handler)) as server:
        yield server.server_address[1], taken


@contextmanager
def _served(server):
    thread = threading.Thread(target=server.serve_forever, daemon=True)
    thread.start()
    try:
        yield server
    finally:
        server.shutdown()
        thread.join()
        server.server_close()
