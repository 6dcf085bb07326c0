"""The process that opens pictures really can do nothing else: tried from inside."""

import json
import shutil
import subprocess
import sys

import pillow_heif
import pytest

from lapsekit.followers import opening
from lapsekit.followers.confining import can_filter
from lapsekit.followers.opener import ASKED, MAGIC
from lapsekit.resources import shared_folder
from tests.followers.arriving import encoded, quarters

pillow_heif.register_heif_opener()

PROBE = """
import ctypes, json, mmap, os, socket, sys, threading
from lapsekit.followers import confining
libc = ctypes.CDLL(None, use_errno=True)
inside = socket.socket()
parent = os.getppid()
confining.bound()
assert confining.confine(sys.argv[1])
assert libc.tgkill(os.getpid(), threading.get_native_id(), 0) == 0  # it may end itself

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
    "signal": tried(lambda: libc.tgkill(parent, parent, 0)),
    "ptrace": tried(lambda: libc.ptrace(16, 99_999_999, 0, 0)),
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
    assert done.stdout, done.stderr
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
        found[what]
        for what in ("read", "list", "socket", "connect", "fork", "executable", "signal")
    )


def test_a_process_without_its_filter_says_so_and_opens_nothing():
    command = [sys.executable, "-P", "-m", "lapsekit.followers.opener", "nothing"]
    done = subprocess.run(command, input=b"", capture_output=True, check=False)
    with pytest.raises(opening.Refused):
        opening._checked(done.stdout, 800)


def groups_of_systemd():
    """Its groups of system calls, by name."""
    said = subprocess.run(
        ["systemd-analyze", "syscall-filter"], capture_output=True, text=True, check=True
    )
    known, group = {}, None
    for line in said.stdout.splitlines():
        if line.startswith("@"):
            group = known.setdefault(line.strip(), [])
        elif group is not None and line.strip() and not line.strip().startswith("#"):
            group.append(line.strip())
    return known


def calls_of(group, known):
    """Names of the system calls that a group means."""
    for name in known[group]:
        yield from calls_of(name, known) if name.startswith("@") else (name,)


UNDER = """
import errno, os, sys
import pyseccomp
rules = pyseccomp.SyscallFilter(pyseccomp.ERRNO(errno.EPERM))
for name in sys.argv[1].split(","):
    try:
        rules.add_rule(pyseccomp.ALLOW, name)
    except (OSError, ValueError):
        pass
rules.load()
os.execv(sys.executable, [sys.executable, *sys.argv[2:]])
"""


def test_the_filter_can_be_laid_under_what_the_systemd_unit_allows():
    if shutil.which("systemd-analyze") is None or not can_filter():
        pytest.skip("no systemd-analyze or no libseccomp here")
    known = groups_of_systemd()
    unit = (shared_folder("config") / "lapsekit.service").read_text()
    assert "SystemCallFilter=@system-service\nSystemCallFilter=~@privileged @obsolete" in unit
    allowed = set(calls_of("@system-service", known))
    allowed -= set(calls_of("@privileged", known)) | set(calls_of("@obsolete", known))
    command = [sys.executable, "-c", UNDER, ",".join(sorted(allowed))]
    data = encoded(quarters(), "HEIF")
    done = subprocess.run(
        [*command, *opening.command("seccomp")[1:]],
        input=ASKED.pack(MAGIC, 800, len(data)) + data,
        capture_output=True,
        check=False,
    )
    assert opening._checked(done.stdout, 800).width == 320, done.stderr


FORBIDDEN = """
import errno, os, sys
import pyseccomp
rules = pyseccomp.SyscallFilter(pyseccomp.ALLOW)
rules.add_rule(pyseccomp.ERRNO(errno.EPERM), "seccomp")
rules.add_rule(pyseccomp.ERRNO(errno.EPERM), "prctl", pyseccomp.Arg(0, pyseccomp.EQ, 22))
rules.load()
os.execv(sys.executable, [sys.executable, "-c", sys.argv[1]])
"""


def test_where_the_library_is_there_and_the_filter_forbidden_another_way_is_taken():
    """As in a container that forbids it: no picture would be opened, and each be called broken."""
    if not can_filter():
        pytest.skip("no libseccomp here")
    ask = (
        "from lapsekit.followers import confining, opening\n"
        "print(confining.can_filter(), opening.confinement() or '-', opening._bwrap_works())"
    )
    done = subprocess.run(
        [sys.executable, "-c", FORBIDDEN, ask], capture_output=True, text=True, check=False
    )
    library, by, bubblewrap = done.stdout.split()
    assert (library, by) == ("True", "bubblewrap" if bubblewrap == "True" else "-"), done.stderr
    assert opening.confinement() == "seccomp"  # here, where nothing forbids it
