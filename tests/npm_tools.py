"""Checkers from npm, pinned in ``tests/npm/package.json``; ``tests/run`` installs them."""

import shutil
import subprocess
from pathlib import Path

import pytest

FOLDER = Path(__file__).parent / "npm"
MODULES = FOLDER / "node_modules"
#: Brings the modules to what package.json says.
NPM = ("npm", "install", "--no-package-lock", "--no-audit", "--no-fund", "--prefix", str(FOLDER))
VNU = MODULES / "vnu-jar" / "build" / "dist" / "vnu.jar"
AXE = MODULES / "axe-core" / "axe.min.js"


def axe_source() -> str:
    """The script of axe; the test skips where it is not installed."""
    if not AXE.is_file():
        pytest.skip("axe is not installed; tests/run does it where npm is there")
    return AXE.read_text(encoding="utf-8")


def markup_errors(*files: Path) -> list[str]:
    """What the Nu checker finds wrong in HTML, CSS and SVG files; skips where it is not there."""
    if not VNU.is_file() or shutil.which("java") is None:
        pytest.skip("the Nu checker is not installed; tests/run does it where npm and java are")
    command = [
        "java",
        "-Xss4m",
        "-jar",
        str(VNU),
        "--errors-only",
        "--stdout",
        "--exit-zero-always",
    ]
    kinds = ("--also-check-css", "--also-check-svg")
    done = subprocess.run([*command, *kinds, *files], capture_output=True, text=True, check=True)
    return done.stdout.splitlines()
