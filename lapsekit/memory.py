"""How much memory heavy work may take, and how many things at once fit into it.

Results never depend on it: only how many frames, pictures or parts of a film are under way at the
same time. What each takes is measured by ``python -m tests.bench.memory``.
"""

import os
import resource
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

MACHINE_SHARE = 0.7
"""Of the machine's memory, by default: captures, system and file cache need the rest."""

UNTOUCHED_MB = 100
"""What the linear algebra of numpy, scipy and OpenCV maps when it is loaded (33.6 MB each on x86)
and hardly ever touches. It takes no memory, but a limit by RLIMIT_DATA counts it."""

_PLENTY_MB = 1500
_SPARING = ((-8, 1), (-3, 1 << 20), (-1, 1 << 20))
"""Numbers of glibc's mallopt: M_ARENA_MAX, M_MMAP_THRESHOLD, M_TRIM_THRESHOLD."""

_CONTROL_GROUPS = Path("/sys/fs/cgroup")


@dataclass(frozen=True)
class Need:
    """What a stage takes, in MB: by itself, and for each thing that it works on at once."""

    held_mb: float
    each_mb: float


def at_once(need: Need, workers: int | None = None, memory_mb: float | None = None) -> int:
    """How many things a stage may work on at once; never less than one.

    Parameters
    ----------
    need : Need
        What the stage takes.
    workers : int, optional
        Asked for; stands above all else.
    memory_mb : float, optional
        What may be taken; by default 70 % of what this process can have (`available_mb`).

    Returns
    -------
    int
        At most one a core.
    """
    if workers:
        return workers
    may_take = memory_mb or MACHINE_SHARE * available_mb()
    fitting = (may_take - need.held_mb) // need.each_mb
    return int(max(1, min(os.cpu_count() or 1, fitting)))


def give_back() -> None:
    """Let the system have what was taken and freed, which the C library of Linux keeps.

    Kept, it lies in pieces between what is in use, and memory grows from one thing to the next:
    twenty parts of a film in AV1 at 1080p took 750 MB, and take 290.
    """
    import ctypes

    with suppress(OSError, AttributeError, TypeError):  # another C library
        ctypes.CDLL(None).malloc_trim(0)


def be_sparing(memory_mb: float | None) -> None:
    """Where memory is short, have the C library keep less of what was freed; before threads begin.

    All threads take from one store, and what is large is given back as soon as it is free. Building
    a site of 12-megapixel pictures had 540 MB mapped at its end, and has 285.

    Parameters
    ----------
    memory_mb : float or None
        What may be taken, if somebody said so; else what there is decides.
    """
    import ctypes

    if memory_mb is None and available_mb() > _PLENTY_MB:
        return
    with suppress(OSError, AttributeError, TypeError):  # another C library
        for name, value in _SPARING:
            ctypes.CDLL(None).mallopt(name, value)


def available_mb() -> float:
    """Memory that this process can have: the machine's, or less by its limit or control group."""
    found = [os.sysconf("SC_PAGE_SIZE") * os.sysconf("SC_PHYS_PAGES")]
    limit, _ = resource.getrlimit(resource.RLIMIT_DATA)
    if limit != resource.RLIM_INFINITY:
        found.append(limit - UNTOUCHED_MB * 10**6)
    return min([*found, *_of_control_group()]) / 1e6


def _of_control_group() -> list[int]:
    """Limits (cgroup v2) of the groups that this process is in, where they can be read."""
    try:
        lines = Path("/proc/self/cgroup").read_text().splitlines()
    except OSError:
        return []
    group = next((line[3:] for line in lines if line.startswith("0::")), "/")
    return limits_of_groups(_CONTROL_GROUPS, group)


def limits_of_groups(root: Path, group: str) -> list[int]:
    """Limits in bytes, hard and soft, of a control group and of all that it lies in.

    Parameters
    ----------
    root : pathlib.Path
        Where control groups (version 2) are mounted.
    group : str
        As ``/proc/self/cgroup`` tells it; in a container it may not be there below `root`.
    """
    inner = root / group.lstrip("/")
    found = []
    for folder in (inner, *inner.parents):
        if not folder.is_relative_to(root):
            break
        for name in ("memory.max", "memory.high"):
            with suppress(OSError, ValueError):  # not there, or "max"
                found.append(int((folder / name).read_text()))
    return found
