"""The help page reads no command, and it and the capture process load no heavy library."""

import subprocess
import sys

import pytest
from typer.main import get_command

from lapsekit.cli import app
from lapsekit.cli.application import COMMANDS

HEAVY = (
    *("cv2", "skimage", "scipy", "av", "imageio", "numpy", "matplotlib", "jinja2", "babel"),
    *("starlette", "uvicorn", "tomlkit", "argon2", "imap_tools", "smtplib", "pillow_heif"),
    *("dask", "distributed", "fsspec", "pyarrow"),
)


NOT_FOR_HELP = ("pydantic", "sqlite3", "rich", "zoneinfo", "lapsekit.season", "lapsekit.cli.shared")
NOT_FOR_A_FRAME = ("apscheduler", "asyncio", "rich", "lapsekit.site", "lapsekit.language")


def loaded_after(code, watched=HEAVY):
    probe = f"import sys\n{code}\nprint(*[m for m in {watched!r} if m in sys.modules])"
    done = subprocess.run([sys.executable, "-c", probe], capture_output=True, text=True, check=True)
    return done.stdout.splitlines()[-1].split()


def test_help_loads_no_heavy_library():
    code = (
        "import sys; sys.argv = ['lapsekit', '--help']\n"
        "from lapsekit.cli import main\n"
        "try: main()\nexcept SystemExit as e: assert e.code == 0"
    )
    assert loaded_after(code, HEAVY + NOT_FOR_HELP) == []


@pytest.mark.parametrize("name", COMMANDS)
def test_the_help_says_of_each_command_what_it_says_of_itself(name):
    command = get_command(app).commands[name]
    assert command.name == name
    assert " ".join(command.help.split("\n\n")[0].split()) == COMMANDS[name]


def test_every_command_that_a_module_has_is_in_the_help():
    application = get_command(app)
    for name in COMMANDS:
        application.get_command(None, name)
    assert {c.name or c.callback.__name__ for c in app.registered_commands} | {
        group.name for group in app.registered_groups
    } == set(COMMANDS)


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
    assert loaded_after(code, HEAVY + NOT_FOR_A_FRAME) == []


def test_the_probe_would_see_a_heavy_library():
    assert loaded_after("import cv2") == ["cv2", "numpy"]
