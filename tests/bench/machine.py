"""The machine that a benchmark runs on, and the versions of what it runs."""

import os
import platform
import subprocess
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path

LIBRARIES = ("numpy", "opencv-python-headless", "scipy", "scikit-image", "pillow", "av", "pydantic")


def machine() -> dict[str, object]:
    """Processor, cores, memory in MB, kernel, and how busy it is now."""
    return {
        "processor": _processor(),
        "cores": os.cpu_count(),
        "memory_mb": round(os.sysconf("SC_PAGE_SIZE") * os.sysconf("SC_PHYS_PAGES") / 1e6),
        "kernel": f"{platform.system()} {platform.release()} {platform.machine()}",
        "load": round(os.getloadavg()[0], 1),
    }


def versions() -> dict[str, str]:
    """Python, the commit of lapsekit, and the libraries."""
    found = {"python": platform.python_version(), "lapsekit": _commit()}
    for name in LIBRARIES:
        try:
            found[name] = version(name)
        except PackageNotFoundError:
            found[name] = "not installed"
    return found


def _processor() -> str:
    try:
        lines = Path("/proc/cpuinfo").read_text().splitlines()
    except OSError:
        return platform.processor() or "unknown"
    told = dict(line.split(":", 1) for line in lines if ":" in line)
    by_name = {key.strip(): value.strip() for key, value in told.items()}
    return by_name.get("Model") or by_name.get("model name") or platform.machine()


def _commit() -> str:
    command = ["git", "describe", "--always", "--dirty", "--abbrev=10"]
    here = Path(__file__).parent
    done = subprocess.run(command, cwd=here, capture_output=True, text=True, check=False)
    return done.stdout.strip() or "no commit known"
