"""The wheel of this checkout, and wheels for AArch64, brought by this machine's own pip."""

import subprocess
import sys
from pathlib import Path

CHECKOUT = Path(__file__).parents[3]
CONSTRAINTS = CHECKOUT / "config" / "constraints.txt"
_WHEELS_ONLY = ("--only-binary", ":all:")
_OLDEST, _NEWEST = 17, 36
"""Minor versions of glibc that wheels may be built for: manylinux2014's to Debian 12's."""


def built(into: Path) -> Path:
    """The wheel of this checkout, built into a folder."""
    for old in into.glob("lapsekit-*.whl"):
        old.unlink()
    _done("-m", "build", "--wheel", "--no-isolation", "--outdir", into, CHECKOUT)
    (wheel,) = into.glob("lapsekit-*.whl")
    return wheel


def fetch_for_arm(wheel: Path, extras: str, python: str) -> list[str]:
    """Bring all that a wheel needs on AArch64 into its folder; names of the compiled wheels.

    pip asks here what this machine needs, not what the other one does; if that differs, installing
    there names what is missing.
    """
    kinds = ["manylinux2014_aarch64", "linux_aarch64"]
    kinds += [f"manylinux_2_{minor}_aarch64" for minor in range(_OLDEST, _NEWEST + 1)]
    platforms = [word for kind in kinds for word in ("--platform", kind)]
    target = ("--implementation", "cp", "--python-version", python, *platforms)
    options = ("-q", "-d", wheel.parent, "-c", CONSTRAINTS, *_WHEELS_ONLY, *target)
    _done("-m", "pip", "download", *options, f"{wheel}[{extras}]")
    return sorted(file.name for file in wheel.parent.glob("*aarch64.whl"))


def install_commands(
    python: str, wheel: Path, extras: str, *where_from: object
) -> list[list[object]]:
    """What makes ``venv`` beside the folder that a wheel lies in, and installs the wheel into it.

    lapsekit itself once more at the end: an earlier build of the same version may be there.
    """
    pip = ["venv/bin/python", "-m", "pip", "install", "-q", "--disable-pip-version-check"]
    lying = f"{wheel.parent.name}/{wheel.name}"
    return [
        [python, "-m", "venv", "venv"],
        [*pip, *_WHEELS_ONLY, *where_from, f"./{lying}[{extras}]"],
        [*pip, "--no-index", "--no-deps", "--force-reinstall", f"./{lying}"],
    ]


def _done(*arguments: object) -> None:
    command = [sys.executable, *map(str, arguments)]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    if done.returncode:
        sys.exit((done.stderr or done.stdout).strip())
