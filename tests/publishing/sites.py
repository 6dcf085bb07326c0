"""Sites that grow by a version a day, real servers to publish to, and what readers see."""

import fcntl
import hashlib
import os
import shutil
import signal
import socket
import subprocess
import sys
import time
from contextlib import contextmanager
from dataclasses import dataclass
from html.parser import HTMLParser
from pathlib import Path, PurePosixPath

from lapsekit.publishing.manifest import MANIFEST, STATE
from tests.conftest import CHECKOUT

PICTURE_BYTES = 20_000


def write_site(folder, version, days=20):
    """Version N of a season's site: a day more, one page changed, the oldest day gone."""
    shutil.rmtree(folder, ignore_errors=True)
    files = {"assets/style.css": f"/* {version} */".encode() * 400}
    shown = range(version, version + days)
    for day in shown:
        seed = hashlib.sha256(str(day).encode()).digest()
        files[f"pictures/{day}.jpg"] = seed * (PICTURE_BYTES // 32)
        links = [f'<a href="../{n}/index.html">{n}</a>' for n in (day - 1, day + 1) if n in shown]
        files[f"day/{day}/index.html"] = (
            '<link rel="stylesheet" href="../../assets/style.css">'
            f'<img src="../../pictures/{day}.jpg">{"".join(links)}' + "<p>day</p>" * 300
        ).encode()
    everything = "".join(f'<a href="day/{day}/index.html">{day}</a>' for day in shown)
    files["index.html"] = (
        f'<link rel="stylesheet" href="assets/style.css"><img src="pictures/{shown[-1]}.jpg">'
        + everything
    ).encode()
    for name, content in files.items():
        target = folder / name
        target.parent.mkdir(parents=True, exist_ok=True)
        target.write_bytes(content)
    return {name: hashlib.sha256(content).hexdigest() for name, content in files.items()}


class _References(HTMLParser):
    def __init__(self, text):
        super().__init__()
        self.found = []
        self.feed(text)

    def handle_starttag(self, tag, attributes):
        """Collect what the tag refers to."""
        self.found += [value for name, value in attributes if name in ("href", "src")]


def references(page):
    """The files of a site that a page refers to, as written there."""
    found = (reference.split("#")[0].split("?")[0] for reference in _References(page).found)
    return [path for path in found if path and ":" not in path]


def broken(folder, known):
    """What a reader who starts at the front page would find missing or half.

    `known` holds the hashes that each file may have, by its name.
    """
    if not (folder / "index.html").exists():
        return []
    waiting, seen, wrong = ["index.html"], set(), []
    while waiting:
        name = waiting.pop()
        if name in seen:
            continue
        seen.add(name)
        file = folder / name
        content = file.read_bytes() if file.is_file() else None
        if content is None or hashlib.sha256(content).hexdigest() not in known.get(name, ()):
            wrong.append(f"{name} is {'missing' if content is None else 'not whole'}")
        elif name.endswith(".html"):
            for reference in _References(content.decode()).found:
                joined = os.path.normpath(PurePosixPath(name).parent / reference)
                waiting.append(joined)
    return wrong


def contents(folder):
    """Hashes of all files of a folder, without lapsekit's own two."""
    return {
        file.relative_to(folder).as_posix(): hashlib.sha256(file.read_bytes()).hexdigest()
        for file in folder.rglob("*")
        if file.is_file() and file.name not in (MANIFEST, STATE)
    }


def free_port():
    """A port that nothing listens on."""
    with socket.socket() as found:
        found.bind(("127.0.0.1", 0))
        return found.getsockname()[1]


def await_port(port, process):
    """Wait until a server answers."""
    deadline = time.monotonic() + 20
    while time.monotonic() < deadline:
        assert process.poll() is None, f"the server ended with {process.returncode}"
        with socket.socket() as probe:
            if probe.connect_ex(("127.0.0.1", port)) == 0:
                return
        time.sleep(0.05)
    raise AssertionError(f"nothing answers on port {port}")


@contextmanager
def serving(command, port):
    """A server while it is needed."""
    # A pipe that nobody reads would fill with its log and stop it
    silent = {"stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL}
    process = subprocess.Popen(command, **silent, env=os.environ | QUIET)
    try:
        await_port(port, process)
        yield
    finally:
        process.terminate()
        process.wait()


QUIET = {"RCLONE_LOG_LEVEL": "ERROR"}


@contextmanager
def sshd(folder):
    """A real OpenSSH server on loopback; gives its port and the key that it lets in."""
    program = shutil.which("sshd") or "/usr/sbin/sshd"
    folder.mkdir(parents=True, exist_ok=True)
    for name in ("host", "own"):
        subprocess.run(
            ["ssh-keygen", "-q", "-t", "ed25519", "-N", "", "-f", folder / name], check=True
        )
    shutil.copy(folder / "own.pub", folder / "allowed")
    (folder / "allowed").chmod(0o600)
    port = free_port()
    (folder / "config").write_text(
        f"Port {port}\nListenAddress 127.0.0.1\nHostKey {folder / 'host'}\n"
        f"AuthorizedKeysFile {folder / 'allowed'}\nPidFile none\nStrictModes no\nUsePAM no\n"
        "PasswordAuthentication no\nSubsystem sftp internal-sftp\n"
    )
    if os.geteuid() == 0:
        Path("/run/sshd").mkdir(exist_ok=True)
    with serving([program, "-D", "-e", "-f", folder / "config"], port):
        yield port, folder / "own"


@dataclass(frozen=True)
class Target:
    """A place to publish to: its ``[publish]`` table, and where its files come to lie."""

    settings: str
    folder: Path


@contextmanager
def target(kind, folder, through=lambda port: port):
    """One of the kinds of place, served for real; `through` may put something before its port."""
    there = folder / "there"
    if kind == "folder":
        yield Target(f'to = "folder"\ntarget = "{there}"\n', there)
    elif kind == "rsync":
        with sshd(folder / "ssh") as (own_port, key), _trusted(folder, port := through(own_port)):
            text = f'to = "rsync"\ntarget = "127.0.0.1:{there}"\nssh_port = {port}\n'
            yield Target(text + f'ssh_key = "{key}"\n', there)
    elif kind == "sftp":
        with sshd(folder / "ssh") as (own_port, key):
            lines = ["type = sftp", "host = 127.0.0.1", f"port = {through(own_port)}"]
            lines.append(f"key_file = {key}")
            yield _rclone(folder, [*lines, f"user = {os.environ.get('USER', 'root')}"], there)
    else:
        there.mkdir()
        own_port = free_port()
        port = through(own_port)
        served = "webdav" if kind == "rclone-webdav" else kind
        command = ["rclone", "serve", served, "--addr", f"127.0.0.1:{own_port}", str(folder)]
        command += ["--auth-key", "an-id,a-secret"] if kind == "s3" else []
        if kind == "webdav":
            command += ["--user", "grower", "--pass", "rocket"]
            with serving(command, own_port):
                yield _webdav(folder, port, there)
            return
        lines = {
            "s3": ["type = s3", "provider = Rclone", f"endpoint = http://127.0.0.1:{port}",
                   "access_key_id = an-id", "secret_access_key = a-secret",
                   "use_multipart_uploads = false"],
            "rclone-webdav": ["type = webdav", "vendor = other", f"url = http://127.0.0.1:{port}"],
        }[kind]  # fmt: skip
        with serving(command, own_port):
            yield _rclone(folder, lines, there, "there")


def _webdav(folder, port, there):
    word = folder / "web-password"
    word.write_text("rocket\n")
    word.chmod(0o600)
    text = f'to = "webdav"\ntarget = "http://127.0.0.1:{port}/there"\nuser = "grower"\n'
    return Target(text + f'password_file = "{word}"\n', there)


def _rclone(folder, lines, there, path=None):
    config = folder / "rclone.conf"
    config.write_text("[far]\n" + "\n".join(lines) + "\n")
    config.chmod(0o600)
    text = f'to = "rclone"\ntarget = "far:{path or there}"\nrclone_config = "{config}"\n'
    return Target(text, there)


@contextmanager
def _trusted(folder, port):
    """Makes this user's ssh trust the server's key, and forget it again."""
    home = Path.home() / ".ssh"
    home.mkdir(mode=0o700, exist_ok=True)
    known = home / "known_hosts"
    key = (folder / "ssh" / "host.pub").read_text().split()[:2]
    line = f"[127.0.0.1]:{port} {' '.join(key)}\n"
    with _alone(home), known.open("a") as file:
        file.write(line)
    try:
        yield
    finally:
        with _alone(home):
            known.write_text(known.read_text().replace(line, ""))


@contextmanager
def _alone(home):
    """One process at a time edits what other tests use too."""
    with (home / ".lapsekit-tests").open("a") as file:
        fcntl.flock(file.fileno(), fcntl.LOCK_EX)
        yield


PUBLISH = """
import sys
from pathlib import Path
from lapsekit.publishing import publish
from lapsekit.season import Season
publish(Season(Path(sys.argv[1])), wait=lambda seconds: None)
"""


def started(season_folder):
    """`publish` in a process of its own, in a group that can be killed with all it started."""
    return subprocess.Popen(
        [sys.executable, "-c", PUBLISH, str(season_folder)],
        cwd=CHECKOUT,
        stderr=subprocess.PIPE,
        text=True,
        start_new_session=True,
        env=os.environ | QUIET,
    )


def cut_off(season_folder, after_s):
    """Publish, and kill it with all it started after so long; whether it was still at work."""
    process = started(season_folder)
    try:
        process.communicate(timeout=after_s)
    except subprocess.TimeoutExpired:
        os.killpg(process.pid, signal.SIGKILL)
        process.communicate()
        return True
    return False


def published(season_folder):
    """Publish to the end; the seconds that it took."""
    began = time.monotonic()
    process = started(season_folder)
    complaint = process.communicate()[1]
    assert process.returncode == 0, complaint
    return time.monotonic() - began
