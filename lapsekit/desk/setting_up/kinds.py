"""Kinds of cameras as a form shows them: what each is, and which settings it has (pure)."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from lapsekit.errors import SettingsError


@dataclass(frozen=True)
class Entry:
    """One setting of a kind of camera.

    Attributes
    ----------
    key : str
        In season.toml.
    label, hint : str
    form : str
        "text", "whole", "number", "tick", or "lines" (one word of a command a line).
    """

    key: str
    label: str
    form: str = "text"
    hint: str = ""
    needed: bool = False


@dataclass(frozen=True)
class Kind:
    """A kind of camera."""

    key: str
    name: str
    told: str
    entries: tuple[Entry, ...] = ()


_SIZE = (
    Entry("width", "Width, px", "whole", "Width and height together; empty: as the camera has it."),
    Entry("height", "Height, px", "whole"),
)
_EXPOSURE = Entry("exposure_ms", "Exposure, ms", "number", "Empty: automatic.")
_LOGIN = (
    Entry("user", "User", hint="Where the camera asks for one."),
    Entry("password_file", "File with the password", hint="Made when you enter a password below."),
)
_FOLDER_HINT = "A path on the machine that lapsekit runs on; it may start from the season's folder."

KINDS = (
    Kind("usb", "USB camera", "A camera on a USB plug of this machine.", (
        Entry("device", "Device number", "whole", "0 is /dev/video0."),
        *_SIZE, _EXPOSURE,
        Entry("white_balance_k", "White balance, K", "whole", "Empty: automatic."),
    )),
    Kind("pi", "Raspberry Pi camera", "The camera on the Pi's own ribbon cable.", (
        Entry("number", "Camera number", "whole", "0 is the first."),
        *_SIZE, _EXPOSURE,
        Entry("gain", "Gain", "number", "Empty: automatic."),
        Entry("focus_dioptres", "Focus, dioptres", "number", "1 ÷ metres; empty: automatic."),
        Entry("upside_down", "It hangs upside down", "tick"),
    )),
    Kind("http", "Network camera, still picture", "A picture under a web address.", (
        Entry("url", "Address", hint="Like http://10.0.0.7/still.jpg", needed=True), *_LOGIN,
    )),
    Kind("rtsp", "Network camera, video stream", "One picture out of a stream.", (
        Entry("url", "Address", hint="Like rtsp://10.0.0.7/stream", needed=True), *_LOGIN,
    )),
    Kind("watched", "Watched folder", "A phone, trail camera or card puts pictures there.", (
        Entry("folder", "Folder", hint=_FOLDER_HINT, needed=True),
        Entry("pattern", "Times from file names", hint="Like IMG_%Y%m%d_%H%M%S; empty: EXIF."),
        Entry("file_time", "Take the files' own times", "tick"),
    )),
    Kind("command", "Another program", "Any program that makes one picture.", (
        Entry("command", "Program and its words, one a line", "lines",
              "{file} stands for the file it shall write; without it, its output is read.", True),
    )),
    Kind("replay", "Frames of an earlier season", "Plays a folder of dated frames again.", (
        Entry("folder", "Folder", hint="Where frames lie that lapsekit filed, named like "
              "20310417T120000Z.jpg; folders inside it are looked through too, so any folder above "
              f"them will do. {_FOLDER_HINT}", needed=True),
    )),
    Kind("files", "I bring pictures in", "Nothing is captured; you add photographs yourself."),
)  # fmt: skip

BY_KEY = {kind.key: kind for kind in KINDS}
_OWN_KEYS = {entry.key for kind in KINDS for entry in kind.entries}
_SPECIAL = {
    "files": {"privacy", "privacy_size_px"},
}
_READ: dict[str, Callable[[str], Any]] = {
    "text": str,
    "whole": int,
    "number": lambda told: float(told.replace(",", ".")),
    "tick": lambda told: True,
    "lines": lambda told: [line.strip() for line in told.splitlines() if line.strip()],
}


def values_of(kind: Kind, told: Mapping[str, str]) -> dict[str, Any]:
    """What a form says of a camera; None for settings that are left to the default.

    Parameters
    ----------
    kind : Kind
    told : mapping of str to str
        Fields by ``KIND-KEY``; those that are empty or missing are not set.

    Raises
    ------
    SettingsError
        If a needed one is missing, or one is no number.
    """
    found: dict[str, Any] = dict.fromkeys(_OWN_KEYS | _SPECIAL.get(kind.key, set()))
    for entry in kind.entries:
        text = told.get(f"{kind.key}-{entry.key}", "").strip()
        if not text:
            if entry.needed:
                raise SettingsError(f"{entry.label}: a camera of this kind needs it")
            continue
        try:
            found[entry.key] = _READ[entry.form](text)
        except ValueError as error:
            raise SettingsError(f'{entry.label} = "{text}": write a number') from error
    return found


def shown_values(camera: Any) -> dict[str, Any]:
    """What a form shows of a camera, by ``KIND-KEY``: what season.toml says of its kind."""
    kind, found = BY_KEY[camera.kind], {}
    for entry in kind.entries:
        value = getattr(camera, entry.key)
        if entry.key not in camera.model_fields_set:
            value = None
        found[f"{kind.key}-{entry.key}"] = (
            "\n".join(value) if value and entry.form == "lines" else value
        )
    return found
