"""A real Dovecot and a real SMTP server, each private to the tests, on loopback."""

import email
import email.policy
import imaplib
import os
import shutil
import socket
import ssl
import subprocess
import tempfile
import time
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path

import pytest

CAME_AT = '"20-May-2025 09:00:00 +0000"'
"""In the past: Dovecot takes no date that is to come."""

PASSWORD, USER = "hunter2 of the bench", "plants"
CONFIG = """\
base_dir = {home}/run
state_dir = {home}/run
log_path = {home}/log
protocols = imap
listen = 127.0.0.1
ssl = required
ssl_cert = <{home}/cert.pem
ssl_key = <{home}/key.pem
auth_mechanisms = plain login
auth_failure_delay = 0
mail_location = maildir:{home}/mail/%u
mail_max_userip_connections = 100
first_valid_uid = 1
{users}
service imap-login {{
  chroot =
  inet_listener imap {{
    port = {starttls}
  }}
  inet_listener imaps {{
    port = {tls}
    ssl = yes
  }}
}}
service anvil {{
  chroot =
}}
service stats {{
  chroot =
}}
passdb {{
  driver = passwd-file
  args = {home}/users
}}
userdb {{
  driver = static
  args = uid={uid} gid={gid} home={home}/mail/%u
}}
"""


@dataclass
class Imap:
    """A running Dovecot: its ports, its certificate, and a client to put mail into it."""

    tls: int
    starttls: int
    certificate: Path

    def client(self):
        context = ssl.create_default_context(cafile=self.certificate)
        client = imaplib.IMAP4_SSL("localhost", self.tls, ssl_context=context)
        client.login(USER, PASSWORD)
        return client

    def put(self, *messages, folder="INBOX", flags=None):
        with self.client() as client:
            for message in messages:
                data = message if isinstance(message, bytes) else message.as_bytes()
                assert client.append(folder, flags, CAME_AT, data)[0] == "OK"

    def messages(self, folder="INBOX"):
        """Flags and bytes of every message of a folder."""
        with self.client() as client:
            if client.select(f'"{folder}"', readonly=True)[0] != "OK":
                return []
            uids = client.uid("SEARCH", "ALL")[1][0].split()
            return [client.uid("FETCH", u, "(FLAGS BODY.PEEK[])")[1][0][:2] for u in uids]

    def empty(self):
        """A mailbox as on its first day."""
        with self.client() as client:
            for folder in ("INBOX", '"Pictures seen"'):
                told, count = client.select(folder)
                if told == "OK" and int(count[0]):
                    client.store("1:*", "+FLAGS", "\\Deleted")
                    client.expunge()


def free_ports(number):
    opened = [socket.create_server(("127.0.0.1", 0)) for _ in range(number)]
    ports = [each.getsockname()[1] for each in opened]
    for each in opened:
        each.close()
    return ports


def make_certificate(folder):
    if shutil.which("openssl") is None:
        pytest.skip("no openssl on this machine to make a certificate with")
    command = ["openssl", "req", "-x509", "-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:P-256"]
    command += ["-nodes", "-days", "2", "-subj", "/CN=localhost", "-addext"]
    command += ["subjectAltName=DNS:localhost", "-keyout", folder / "key.pem"]
    subprocess.run([*command, "-out", folder / "cert.pem"], check=True, capture_output=True)
    return folder / "cert.pem"


@contextmanager
def dovecot():
    """A Dovecot with one user; skips where there is none."""
    program = shutil.which("dovecot", path=f"{os.environ['PATH']}:/usr/sbin")
    if program is None:
        pytest.skip("no dovecot on this machine; tests/run installs it")
    home = Path(tempfile.mkdtemp(prefix="imap"))
    home.chmod(0o755)
    (home / "mail").mkdir(mode=0o777)
    certificate = make_certificate(home)
    (home / "users").write_text(f"{USER}:{{PLAIN}}{PASSWORD}\n")
    tls, starttls = free_ports(2)
    uid, gid, users = os.getuid(), os.getgid(), ""
    if uid == 0:  # it refuses to serve root's mail
        uid = gid = 65534
        (home / "mail").chmod(0o777)
    else:
        own = subprocess.run(["id", "-un"], capture_output=True, text=True, check=True).stdout
        users = f"default_internal_user = {own}default_login_user = {own}"
        users += f"default_internal_group = {gid}"
    told = {"home": home, "tls": tls, "starttls": starttls, "uid": uid, "gid": gid}
    (home / "dovecot.conf").write_text(CONFIG.format(**told, users=users))
    process = subprocess.Popen([program, "-F", "-c", home / "dovecot.conf"])
    try:
        served = Imap(tls, starttls, certificate)
        _wait_for(served, process, home)
        yield served
    finally:
        process.terminate()
        process.wait(10)
        shutil.rmtree(home, ignore_errors=True)


def _wait_for(served, process, home):
    for _ in range(100):
        try:
            served.client().logout()
            return
        except OSError:
            time.sleep(0.1)
    log = (home / "log").read_text() if (home / "log").exists() else ""
    raise AssertionError(f"dovecot does not serve ({process.poll()}): {log}")


@dataclass
class Smtp:
    """A running SMTP server, and what it took: (envelope recipients, message)."""

    port: int = 0
    taken: list = field(default_factory=list)
    refuses: set = field(default_factory=set)

    def letters(self, to):
        return [message for recipients, message in self.taken if recipients == [to]]


@contextmanager
def smtp():
    """An SMTP server on loopback that keeps what it takes."""
    from aiosmtpd.controller import Controller

    served = Smtp(port=free_ports(1)[0])

    class Keeping:
        async def handle_RCPT(self, server, session, envelope, address, options):
            if address in served.refuses:
                return "550 no such mailbox"
            envelope.rcpt_tos.append(address)
            return "250 fine"

        async def handle_DATA(self, server, session, envelope):
            message = email.message_from_bytes(envelope.content, policy=email.policy.default)
            served.taken.append((envelope.rcpt_tos, message))
            return "250 taken"

    controller = Controller(Keeping(), hostname="127.0.0.1", port=served.port)
    controller.start()
    try:
        yield served
    finally:
        controller.stop()
