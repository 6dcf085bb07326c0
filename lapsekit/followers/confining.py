"""What the process that opens strangers' pictures may still do: read, compute, and answer.

Everything that it needs is imported first. Then a seccomp filter lets it use the files that are
open (its standard input and output), memory that is not executable, and the clock; every other
system call fails: it opens no file, reaches no network, starts nothing. Where the filter is not to
be had, bubblewrap starts it in namespaces of its own, without network and with nothing to write
to, and with no room for another open file. Memory and processor time are bounded in either case;
bounds alone do not suffice.

Imported by the opening process, so by nothing that takes long to load.
"""

import errno
import mmap
import os
import resource
import signal
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path

SECCOMP, BWRAP = "seccomp", "bubblewrap"

MEMORY_MB = 1100
"""Address space. The largest taken, 60 megapixels, need the most as HEIC and as a PNG with
transparency."""

CPU_S, WALL_S = 40, 90
"""Seconds; a picture of 12 megapixels takes under one on a laptop, and some on a Raspberry Pi."""

_NICE = 10
_ALLOWED = (
    "brk",
    "clock_gettime",
    "clock_gettime64",
    "close",
    "exit",
    "exit_group",
    "futex",
    "futex_time64",
    "getpid",
    "getrandom",
    "gettid",
    "gettimeofday",
    "madvise",
    "mremap",
    "munmap",
    "read",
    "restart_syscall",
    "rt_sigaction",
    "rt_sigprocmask",
    "rt_sigreturn",
    "sched_getaffinity",
    "sched_yield",
    "rseq",
    "set_robust_list",
    "sigaltstack",
    "sigreturn",
    "write",
    "writev",
)
_THREAD = 0x100 | 0x800 | 0x10000
"""CLONE_VM, CLONE_SIGHAND, CLONE_THREAD: decoders of HEIC have a thread of their own. What lacks
one of them would be another process."""

_NOT_EXECUTABLE = ("mmap", "mmap2", "mprotect")  # the third argument says what the memory is for


def bound() -> None:
    """Bound memory and time of this process, let it write no file, and let others go first."""
    with suppress(OSError):  # where memory is short, this process ends and no other
        Path("/proc/self/oom_score_adj").write_text("1000")
    with suppress(OSError):
        os.nice(_NICE)
    limits = {
        resource.RLIMIT_AS: MEMORY_MB << 20,
        resource.RLIMIT_CPU: CPU_S,
        resource.RLIMIT_FSIZE: 0,
        resource.RLIMIT_CORE: 0,
    }
    for what, most in limits.items():
        resource.setrlimit(what, (most, most))
    # Ends by itself if whoever asked is gone; even while a library waits.
    signal.signal(signal.SIGALRM, signal.SIG_DFL)
    signal.setitimer(signal.ITIMER_REAL, WALL_S + 5)


def confine(by: str) -> bool:
    """Confine this process for good; whether it is.

    Parameters
    ----------
    by : {"seccomp", "bubblewrap"}
        With bubblewrap it was started inside already.
    """
    load = _filter() if by == SECCOMP else None
    resource.setrlimit(resource.RLIMIT_NOFILE, (0, 0))  # what is open stays open
    if load is not None:
        load()
        return _fails_with(errno.EPERM)
    return by == BWRAP and _fails_with(errno.EMFILE)


def can_filter() -> bool:
    """Whether the library for filters is there."""
    try:
        import pyseccomp
    except (ImportError, RuntimeError, OSError, AttributeError):  # or libseccomp is not
        return False
    return hasattr(pyseccomp, "SyscallFilter")


def _filter() -> Callable[[], None]:
    """What lays the filter on this process; libraries are loaded before."""
    import pyseccomp as seccomp

    rules = seccomp.SyscallFilter(seccomp.ERRNO(errno.EPERM))
    for name in _ALLOWED:
        with suppress(OSError, ValueError):  # other processors lack some
            rules.add_rule(seccomp.ALLOW, name)
    plain = seccomp.Arg(2, seccomp.MASKED_EQ, mmap.PROT_EXEC, 0)
    for name in _NOT_EXECUTABLE:
        with suppress(OSError, ValueError):
            rules.add_rule(seccomp.ALLOW, name, plain)
    own = seccomp.Arg(0, seccomp.EQ, os.getpid())  # its own threads, and nobody else
    rules.add_rule(seccomp.ALLOW, "tgkill", own)
    in_here = seccomp.Arg(0, seccomp.MASKED_EQ, _THREAD, _THREAD)
    rules.add_rule(seccomp.ALLOW, "clone", in_here)
    with suppress(OSError, ValueError):  # its flags lie in memory: the C library then uses clone
        rules.add_rule(seccomp.ERRNO(errno.ENOSYS), "clone3")
    return rules.load


def _fails_with(expected: int) -> bool:
    """Whether opening a file that everybody may read fails, for the reason that it should."""
    try:
        os.close(os.open("/", os.O_RDONLY))
    except OSError as error:
        return error.errno == expected
    return False
