"""The process that opens pictures really can do nothing else: tried from inside."""

import json
import subprocess
import sys

import pytest

from lapsekit.followers import opening
from lapsekit.followers.confining import can_filter

PROBE = """
import ctypes, json, mmap, os, socket, sys
from lapsekit.followers import confining
libc = ctypes.CDLL(None, use_errno=True)
inside = socket.socket()
confining.bound()
assert confining.confine(sys.argv[1])

def tried(what):
    try:
        result = what()
    except OSError as error:
        return error.errno
    if isinstance(result, int) and result < 0:
        return ctypes.get_errno()
    return 0

def wrote():
    handle = os.open("/tmp/written-by-probe", os.O_WRONLY | os.O_CREAT)
    os.write(handle, b"x")

def forked():
    if os.fork() == 0:
        os._exit(0)

found = {
    "read": tried(lambda: os.open("/etc/passwd", os.O_RDONLY)),
    "write": tried(wrote),
    "list": tried(lambda: len(os.listdir("/"))),
    "socket": tried(lambda: bool(socket.socket())),
    "connect": tried(lambda: inside.connect(("127.0.0.1", int(sys.argv[2])))),
    "exec": tried(lambda: os.execv("/nowhere", ["nowhere"])),
    "fork": tried(forked),
    "kill": tried(lambda: os.kill(1, 0)),
    "ptrace": tried(lambda: libc.ptrace(0, 0, 0, 0)),
    "executable": tried(lambda: bool(mmap.mmap(-1, 4096, prot=7))),
    "unlink": tried(lambda: os.unlink("/tmp/not-there")),
    "chmod": tried(lambda: os.chmod("/tmp", 0o777)),
    "limit": tried(lambda: libc.prctl(4, 1, 0, 0, 0)),
}
os.write(1, json.dumps(found).encode())
os._exit(0)
"""


@pytest.fixture
def port():
    """Of a server that would answer."""
    import socket

    with socket.socket() as server:
        server.bind(("127.0.0.1", 0))
        server.listen()
        yield server.getsockname()[1]


def probed(by, port, before=()):
    command = [*before, sys.executable, "-c", PROBE, by, str(port)]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    return json.loads(done.stdout)


def test_under_the_filter_nothing_but_reading_and_answering_is_left(port):
    if not can_filter():
        pytest.skip("no libseccomp here")
    assert set(probed("seccomp", port).values()) == {1}  # EPERM, each of them


def test_inside_bubblewrap_no_file_can_be_opened_and_no_network_reached(port):
    if not opening._bwrap_works():
        pytest.skip("no bubblewrap that works here")
    found = probed("bubblewrap", port, opening._namespaces())
    for what in ("read", "write", "list", "socket", "connect", "unlink", "chmod"):
        assert found[what] > 0, what


def test_the_probe_would_see_a_process_that_is_not_confined(port):
    free = PROBE.replace("assert confining.confine(sys.argv[1])", "")
    command = [sys.executable, "-c", free, "seccomp", str(port)]
    found = json.loads(subprocess.run(command, capture_output=True, check=True).stdout)
    assert not any(
        found[what] for what in ("read", "list", "socket", "connect", "fork", "executable")
    )


def test_a_process_without_its_filter_says_so_and_opens_nothing():
    command = [sys.executable, "-P", "-m", "lapsekit.followers.opener", "nothing"]
    done = subprocess.run(command, input=b"", capture_output=True, check=False)
    with pytest.raises(opening.Refused):
        opening._checked(done.stdout, 800)
