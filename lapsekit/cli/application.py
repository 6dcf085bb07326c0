"""The application: which commands there are; a command's module is read when it is called.

Nothing heavy is imported here: the list of commands is told without reading any of them.
"""

import sys
from collections.abc import Iterable
from importlib import import_module
from typing import Any

import typer
from typer.core import TyperGroup
from typer.main import get_command

#: First sentence of each command, in the order of the help.
COMMANDS = {
    "new": "Make a season folder with commented settings that work as they are.",
    "import": "Bring photographs in, by EXIF time unless told otherwise.",
    "index": "Bring the catalogue into step with the frame files.",
    "capture": "Take one frame now.",
    "run": "Capture on schedule and run the morning chain once a day, until stopped.",
    "morning": "The morning chain: measure, growth, followers' pictures tidied, site.",
    "demo": "The whole job on the sample season, then its site on this machine.",
    "desk": "Open the desk: web pages on this machine to set a season up and to look after it.",
    "aim": "Mount and focus a camera: live sharpness, light, and how far the view is off.",
    "check": "Look at all that a visit would: camera to clock; ends with 69 if something is wrong.",
    "alert": "Tell those who are called what is wrong, and what no longer is; lapsekit run does.",
    "trust": "Let a season folder run its camera's program, publish, copy and send alerts.",
    "copy": (
        "Copy frames and the season's own texts to where [copies] says; ends with 65 if not whole."
    ),
    "restore": (
        "Bring a season back from its copies into an empty folder; ends with 65 if not whole."
    ),
    "thin": "Thin out old frames as [thinning] says; what they gave is written down first.",
    "mask": "Write what counts as canopy as an 8-bit mask (255 = canopy) and print the cover.",
    "measure": "Measure the frames that are not measured yet.",
    "lens": "Find a lens's distortion from chessboards, for season.toml.",
    "propose": "Propose outlines of regions from containers that are seen and from what grows.",
    "explain": "Draw how a region's value of a day came about: frames, outlines, interval.",
    "prove": "Compare the sample season, and real photographs where they are, with their truth.",
    "growth": (
        "Write the growth tables and plots, and tell rates, pauses, losses and what lies ahead."
    ),
    "beside": "Hold this season's plants against an earlier season's.",
    "contrast": "Compare groups of plants at the same age, or say why no claim can be made.",
    "responses": (
        "Say what followed each event of the diary, against other plants on the same days."
    ),
    "plan": "Tell how many plants a side a difference needs.",
    "weather": "Bring a logger's readings in; without a file, list the days' weather.",
    "film": "Make films of the season: whole, of last days, of plants, of a day (H.264 MP4).",
    "site": "Build the season site, or bring it up to date.",
    "publish": "Bring the site up to date and send it to where readers find it.",
    "serve": "Show the site on this machine (loopback only) until interrupted.",
    "receive": "Open the page where followers send pictures, and take them back by their codes.",
    "frames": "List frames with the reasons why some are left out; say yes or no to one.",
    "diary": "List what was done and seen; add to it.",
    "followers": "Pictures that followers sent: taken in, listed, shown, declined, taken down.",
    "collection": "Several seasons as one: list, measure, growth across benches, an index site.",
}

#: In which module each of them is.
_MODULES = {
    "seasons": "new import index capture run morning demo",
    "desking": "desk",
    "mounting": "aim",
    "minding": "check alert trust",
    "keeping": "copy restore thin",
    "pictures": "mask measure lens propose explain prove frames",
    "plants": "growth beside contrast responses plan",
    "notes": "weather diary",
    "filming": "film",
    "showing": "site publish serve",
    "receiving": "receive",
    "following": "followers",
    "collection": "collection",
}
_MODULE_OF = {name: module for module, names in _MODULES.items() for name in names.split()}


class _Commands(dict):
    """Commands by name; one that is asked for is read."""

    def __init__(self, read: dict[str, Any]):
        super().__init__({name: read.get(name) for name in COMMANDS})

    def __getitem__(self, name: str) -> Any:
        if super().__getitem__(name) is None:
            import_module(f"lapsekit.cli.{_MODULE_OF[name]}")
            self.update(get_command(app).commands)
        return super().__getitem__(name)

    def get(self, name: str, default: Any = None) -> Any:
        """The command of that name."""
        return self[name] if name in COMMANDS else default


class _Group(TyperGroup):
    """The commands, each of which is read when it is called."""

    def __init__(self, **told: Any):
        super().__init__(**told)
        self.commands = _Commands(self.commands)

    def format_commands(self, _: Any, formatter: Any) -> None:
        """Names and first sentences, without reading a command."""
        with formatter.section("Commands"):
            formatter.write_dl(list(COMMANDS.items()))


app = typer.Typer(
    cls=_Group,
    help="One season's plants, seed to harvest: captured on schedule, measured in square "
    "centimetres, shown every morning, filmed at the end.",
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
)


class Interrupted(BaseException):
    """Ctrl+C. Not a KeyboardInterrupt, which the command-line library would answer itself."""


def say(lines: Iterable[str]) -> None:
    """Lines on standard output."""
    for line in lines:
        print(line, flush=True)


def hint(lines: Iterable[str]) -> None:
    """Lines beside it: what a script does not want to read."""
    for line in lines:
        print(line, file=sys.stderr, flush=True)
