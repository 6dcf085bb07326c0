"""The commands. The only package that prints or exits."""

import errno
import os
import signal
import sys
from pathlib import Path
from typing import Annotated, NoReturn

import typer

from lapsekit import __version__
from lapsekit.cli.application import Interrupted, app, say
from lapsekit.errors import LapsekitError
from lapsekit.safely import remedy_of


@app.callback(invoke_without_command=True)
def _root(
    version: Annotated[bool, typer.Option("--version", help="Print the version.")] = False,
) -> None:
    if version:
        say([f"lapsekit {__version__}"])
        raise typer.Exit


def _interrupt(number: int, _: object) -> NoReturn:
    signal.signal(number, signal.SIG_DFL)  # a second Ctrl+C ends at once
    raise Interrupted


def main() -> NoReturn:
    """Run the command line; every foreseen error becomes a message and an exit code."""
    os.environ.setdefault("OPENCV_LOG_LEVEL", "ERROR")  # we tell in our own words
    for stream in (sys.stdout, sys.stderr):
        stream.reconfigure(errors="backslashreplace")  # file names need not be text
    signal.signal(signal.SIGINT, _interrupt)
    signal.signal(signal.SIGTERM, _interrupt)  # what a command started ends with it
    # Workers share the cores already; without this each would start as many threads again.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    try:
        app()
    except LapsekitError as error:
        _fail(str(error), error.exit_code)
    except Interrupted:
        _fail("interrupted; run the same command again to go on", 130)
    except OSError as error:
        _fail(_of_disk(error), 74)
    except Exception as error:
        if os.environ.get("LAPSEKIT_TRACEBACK"):
            raise
        _fail(
            f"a fault of lapsekit's own ({type(error).__name__}: {error}); what was filed is safe. "
            "Run it again with LAPSEKIT_TRACEBACK=1 to see where, and report that",
            70,
        )
    sys.exit(0)


def _of_disk(error: OSError) -> str:
    where = f"{error.filename}: " if error.filename else ""
    remedy = remedy_of(error) if error.errno != errno.EACCES else None  # it may be to be read
    told = f"{where}{error.strerror or error}"
    return f"{told}: {remedy}" if remedy else f"{told}; check the disk and its permissions"


def _fail(message: str, code: int) -> NoReturn:
    for line in message.splitlines():
        print(f"lapsekit: {_with_place(line)}", file=sys.stderr)
    sys.exit(code)


def _with_place(line: str) -> str:
    """A message with the season folder's name, where it begins with a dot for it."""
    return f"{Path.cwd()}{line[1:]}" if line.startswith((".:", ". ")) else line
