"""Runs a command of lapsekit and writes down what it took, in the process that ran it.

    python -m tests.bench.watched REPORT.json LIMIT_MB WORDS...

The limit (0 for none) is the kernel's. Where systemd runs the machine, it is a control group's
MemoryMax, without swap; else RLIMIT_DATA, which counts all that a process may write to and shares
with none, touched or not, and which no malloc gets past: so it is set higher by what libraries map
at loading and leave untouched (`lapsekit.memory.UNTOUCHED_MB`), and what was really held stands
beside it. Programs that it starts have the limit too, with RLIMIT_DATA each of its own.

Peak memory is VmHWM, which begins anew with the program: `ru_maxrss` of a child would be at least
what its parent held when it was forked. Imports nothing heavy itself.
"""

import json
import os
import re
import resource
import shutil
import subprocess
import sys
import tempfile
import time
from dataclasses import asdict, dataclass, field
from pathlib import Path

from lapsekit.memory import UNTOUCHED_MB


@dataclass(frozen=True)
class Took:
    """What a command took: exit code, processor time with its children, peaks, what it said."""

    code: int
    processor_s: float
    peak_mb: float
    children_mb: float
    told: str = ""
    complaint: str = ""
    facts: dict = field(default_factory=dict)


def run(words: list[str], limit_mb: int = 0, code: str | None = None) -> Took:
    """Run ``lapsekit WORDS`` in a process of its own; or `code`, with WORDS as its arguments."""
    with tempfile.TemporaryDirectory() as scratch:
        report = Path(scratch, "took.json")
        grouped = bool(limit_mb) and by_control_group()
        whole = _grouped(limit_mb) if grouped else []
        whole += [sys.executable, "-m", __spec__.name, str(report), str(0 if grouped else limit_mb)]
        whole += ["--code", code] if code else []
        done = subprocess.run([*whole, *words], capture_output=True, text=True, check=False)
        facts = json.loads(report.read_text()) if report.exists() else {}
    took = {name: facts.get(name, 0.0) for name in ("processor_s", "peak_mb", "children_mb")}
    return Took(done.returncode, **took, told=done.stdout, complaint=done.stderr[-2000:])


def by_control_group() -> bool:
    """Whether limits are those of control groups here."""
    return Path("/run/systemd/system").is_dir() and shutil.which("systemd-run") is not None


def how_limited() -> str:
    """In words."""
    if by_control_group():
        return "a control group's MemoryMax, without swap"
    return f"RLIMIT_DATA, {UNTOUCHED_MB} MB above it for what libraries map and never touch"


def _grouped(limit_mb: int) -> list[str]:
    user = [] if os.geteuid() == 0 else ["--user"]
    limits = ["-p", f"MemoryMax={limit_mb}000000", "-p", "MemorySwapMax=0"]
    return ["systemd-run", "--scope", "--quiet", *user, *limits]


def peak_mb() -> float:
    """Most memory that this process has held, in MB of a million bytes."""
    status = Path("/proc/self/status").read_text()
    return int(re.search(r"VmHWM:\s+(\d+) kB", status)[1]) * 1024 / 1e6


def _watch(report: Path, limit_mb: int, words: list[str]) -> None:
    if limit_mb:
        limit = (limit_mb + UNTOUCHED_MB) * 1_000_000
        resource.setrlimit(resource.RLIMIT_DATA, (limit, limit))
    code = 1
    try:
        if words[:1] == ["--code"]:
            sys.argv = ["-c", *words[2:]]
            exec(compile(words[1], "<bench>", "exec"), {"__name__": "__main__"})
            code = 0
        else:
            sys.argv = ["lapsekit", *words]
            from lapsekit.cli import main

            main()
            code = 0
    except SystemExit as ended:
        code = ended.code if isinstance(ended.code, int) else int(ended.code is not None)
    finally:
        inner = resource.getrusage(resource.RUSAGE_CHILDREN)
        spent = time.process_time() + inner.ru_utime + inner.ru_stime
        took = Took(code, spent, peak_mb(), inner.ru_maxrss * 1024 / 1e6)
        report.write_text(json.dumps(asdict(took)))
    sys.stdout.flush()
    os._exit(code)


if __name__ == "__main__":
    _watch(Path(sys.argv[1]), int(sys.argv[2]), sys.argv[3:])
