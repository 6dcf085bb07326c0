"""Frames that are kept apart: the clock is not set yet, or their date cannot be true."""

import re
from collections.abc import Iterator
from pathlib import Path

from lapsekit.checking.finding import RECENT_DAYS, WATCH, WRONG, Finding, Look
from lapsekit.frames.names import aside_folder, read_name

BOOT_ID = Path("/proc/sys/kernel/random/boot_id")
_UNDATED = re.compile(r"(?P<boot>[0-9a-f-]{8,36}|unknown)-\d{10}\.\d{3}\.[a-z]+")


def kept_apart(look: Look) -> Iterator[Finding]:
    """What lies in each camera's folder of frames without a date."""
    boot = BOOT_ID.read_text().strip() if BOOT_ID.exists() else "unknown"
    for name in look.season.settings.cameras:
        folder = look.season.folder / aside_folder(name)
        found = [_UNDATED.fullmatch(file.name) for file in folder.glob("*")]
        boots = [each["boot"] for each in found if each]
        waiting, stranded = boots.count(boot), len(boots) - boots.count(boot)
        if waiting:
            yield Finding(
                f"waiting frames of {name}",
                WRONG,
                f"{waiting} kept apart until the clock is set; let the machine reach the network, "
                "or set its clock",
            )
        if stranded:
            yield Finding(
                f"undated frames of {name}",
                WATCH,
                f"{stranded} in {folder} are of earlier starts in which the clock was never set; "
                "they have no date and stay there",
            )
        yield from _untrue(look, name, folder)


def _untrue(look: Look, name: str, folder: Path) -> Iterator[Finding]:
    since = look.now.timestamp() - RECENT_DAYS * 86_400
    dated = [file for file in folder.glob("*") if read_name(file.name)]
    recent = [file for file in dated if file.stat().st_mtime > since]
    if recent:
        yield Finding(
            f"frames aside of {name}",
            WATCH,
            f"{len(recent)} of the last {RECENT_DAYS} days with dates that cannot be true lie in "
            f"{folder}; check the camera's clock",
        )
