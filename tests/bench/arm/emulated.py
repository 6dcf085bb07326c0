"""A Debian for arm64 in a folder, and programs run in it under qemu's user emulation.

The kernel is told in a user namespace of its own (Linux 6.7) what runs ARM programs, so that
nothing about this machine changes; where it is told for the whole machine already, that is used.
"""

import os
import shutil
import subprocess
import sys
from pathlib import Path

NEEDED = {"debootstrap": "debootstrap", "qemu-aarch64-static": "qemu-user-static"}
"""Programs, and the Debian packages they come in."""

WORK = "bench"
_HANDLERS = Path("/proc/sys/fs/binfmt_misc")
_SYSTEM = {"PATH": "/usr/sbin:/usr/bin:/sbin:/bin", "LC_ALL": "C.UTF-8", "HOME": "/root"}
_USERS = 65536

_MAGIC = r"\x7fELF\x02\x01\x01\x00\x00\x00\x00\x00\x00\x00\x00\x00\x02\x00\xb7\x00"
_MASK = r"\xff\xff\xff\xff\xff\xff\xff\x00\xff\xff\xff\xff\xff\xff\xff\xff\xfe\xff\xff\xff"
"""Head of an ELF program for AArch64, and which bits of it count."""

_GATE = 'echo ready; read -r _; exec "$@"'
"""Waits, in the new namespace, until it is told which users it has."""

_ENTER = """\
set -eu
root=$1 handler=$2
shift 2
mount -t proc proc /proc
if [ -n "$handler" ]; then
    mount -t binfmt_misc binfmt_misc /proc/sys/fs/binfmt_misc
    printf '%s' "$handler" >/proc/sys/fs/binfmt_misc/register
fi
mount --bind /proc "$root/proc"
mount --rbind /dev "$root/dev"
exec chroot "$root" /usr/bin/env -i "$@"
"""


class Emulated:
    """A Debian for arm64 whose programs run under emulation.

    Parameters
    ----------
    root : pathlib.Path
        Where its file system lies, or will lie once `bootstrap` has made it.
    """

    def __init__(self, root: Path):
        self.root = root
        self.work = root / WORK

    def bootstrap(self, suite: str, log: Path) -> bool:
        """Make it, from where this machine has its own packages; False if it was there already."""
        if (self.root / "usr/bin/python3").exists() and not (self.root / "debootstrap").exists():
            return False
        shutil.rmtree(self.root, ignore_errors=True)
        with log.open("w") as told:
            first = ["--arch=arm64", "--foreign", "--variant=minbase", "--include=python3-venv"]
            command = ["debootstrap", *first, suite, self.root, _mirror(suite)]
            subprocess.run(command, stdout=told, stderr=told, env=_through_apts_proxy(), check=True)
            # debootstrap makes no device files where it knows of a container, and needs none here.
            second = self._entered(
                ["container=lxc", "/debootstrap/debootstrap", "--second-stage"], "/"
            )
            told.write(second.stdout + second.stderr)
        if second.returncode:
            sys.exit(
                f"debootstrap did not finish; its words are in {log}. If binfmt_misc could not be "
                "mounted, Linux is older than 6.7: install binfmt-support, which tells the kernel "
                "for the whole machine, and run this again"
            )
        self.work.mkdir()
        return True

    def run(self, *command: object) -> subprocess.CompletedProcess:
        """Run a program in the working folder; its words are caught."""
        return self._entered(list(map(str, command)), f"/{WORK}")

    def python(self) -> str:
        """Version of its Python, such as 3.11, without running it."""
        return (self.root / "usr/bin/python3").readlink().name.removeprefix("python")

    def _entered(self, command: list[str], folder: str) -> subprocess.CompletedProcess:
        around = [f"--chdir={folder}", *(f"{name}={value}" for name, value in _SYSTEM.items())]
        enter = ["sh", "-c", _ENTER, "sh", str(self.root), _handler(), *around, *command]
        apart = ["unshare", "--user", "--mount", "--pid", "--fork", "--kill-child"]
        with subprocess.Popen(
            [*apart, "sh", "-c", _GATE, "sh", *enter],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
        ) as process:
            if not process.stdout.readline():
                sys.exit(f"no namespace of its own could be had: {process.stderr.read().strip()}")
            for name in ("uid_map", "gid_map"):
                Path(f"/proc/{process.pid}/{name}").write_text(f"0 0 {_USERS}\n")
            out, err = process.communicate("go\n")
        return subprocess.CompletedProcess(command, process.returncode, out, err)


def _handler() -> str:
    """What the kernel is told of ARM programs; empty where it knows already."""
    if (_HANDLERS / "qemu-aarch64").exists():
        return ""
    return f":aarch64:M::{_MAGIC}:{_MASK}:{shutil.which('qemu-aarch64-static')}:F"


def _through_apts_proxy() -> dict[str, str]:
    """This process's environment, with the proxy that apt goes through if there is one."""
    asked = ["apt-config", "shell", "proxy", "Acquire::http::Proxy"]
    told = subprocess.run(asked, capture_output=True, text=True, check=True).stdout
    proxy = told.strip().removeprefix("proxy=").strip("'")
    return os.environ | ({"http_proxy": proxy} if proxy else {})


def _mirror(suite: str) -> str:
    """Where this machine has the packages of a suite from, by its own apt."""
    form = ["--format", "$(RELEASE) $(REPO_URI)", "Created-By: Packages"]
    asked = subprocess.run(
        ["apt-get", "indextargets", *form], capture_output=True, text=True, check=True
    )
    found = [line.split() for line in asked.stdout.splitlines()]
    for release, *address in found:
        if release == suite and address:
            return address[0]
    names = ", ".join(sorted({release for release, *_ in found}))
    sys.exit(f"apt of this machine has no {suite}; it has {names}. Name one with --suite")
