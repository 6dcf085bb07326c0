"""The help page and the capture process load none of the heavy libraries."""

import subprocess
import sys

import pytest

HEAVY = (
    *("cv2", "skimage", "scipy", "av", "imageio", "numpy", "matplotlib", "jinja2", "babel"),
    *("starlette", "uvicorn", "tomlkit", "argon2", "imap_tools", "smtplib", "pillow_heif"),
    *("dask", "distributed", "fsspec", "pyarrow"),
)


def loaded_after(code):
    probe = f"import sys\n{code}\nprint(*[m for m in {HEAVY!r} if m in sys.modules])"
    done = subprocess.run([sys.executable, "-c", probe], capture_output=True, text=True, check=True)
    return done.stdout.splitlines()[-1].split()


def test_help_loads_no_heavy_library():
    code = (
        "import sys; sys.argv = ['lapsekit', '--help']\n"
        "from lapsekit.cli import main\n"
        "try: main()\nexcept SystemExit as e: assert e.code == 0"
    )
    assert loaded_after(code) == []


@pytest.mark.parametrize(
    "module",
    [
        "lapsekit.unattended.capturing",
        "lapsekit.unattended.process",
        "lapsekit.cameras.usb",
        "lapsekit.cameras.rtsp",
        "lapsekit.cameras.pi",
        "lapsekit.cameras.watched",
        "lapsekit.cameras.command",
        "lapsekit.cameras.http",
        "lapsekit.cameras.replay",
    ],
)
def test_the_capture_side_loads_no_heavy_library(module):
    assert loaded_after(f"import {module}") == []


def test_taking_a_frame_loads_no_heavy_library(filled, tmp_path):
    settings = filled.folder / "season.toml"
    frame = next((filled.folder / "frames").rglob("*.png"))
    settings.write_text(
        settings.read_text().replace(
            'kind = "files"', f'kind = "command"\ncommand = ["cat", "{frame}"]'
        )
    )
    code = (
        f"import sys; sys.argv = ['lapsekit', 'capture', '--season', {str(filled.folder)!r}]\n"
        "from lapsekit.cli import main\n"
        "try: main()\nexcept SystemExit as e: assert e.code == 0"
    )
    assert loaded_after(code) == []


def test_the_probe_would_see_a_heavy_library():
    assert loaded_after("import cv2") == ["cv2", "numpy"]
