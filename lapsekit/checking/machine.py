"""The machine: its clock, its clock chip, its power, its temperature."""

from collections.abc import Iterator
from datetime import timedelta

from lapsekit.checking.finding import FINE, WATCH, WRONG, Finding, Look
from lapsekit.when import clock_is_ahead

WATCH_C, WRONG_C = 75.0, 82.0
"""Temperatures of the processor at which it will, and does, slow down."""

POWER_NOW, POWER_ONCE = 0x1, 0x10000
"""Bits of the answer of ``vcgencmd get_throttled``."""

CHIP = "/sys/class/rtc/rtc0/name"
HEAT = "/sys/class/thermal/thermal_zone0/temp"


def clock(look: Look) -> Iterator[Finding]:
    """The clock is not before the last frame, and is set by the network."""
    ahead = clock_is_ahead()
    if ahead:
        told = (
            f"jumped by {ahead / timedelta(hours=1):+.1f} h, and no time server stands behind that"
        )
        yield Finding("clock", WRONG, f"{told}; frames are dated as before. Check the connection")
        return
    last = max((f.taken_at for f in look.last_frames.values() if f), default=None)
    if last is not None and look.now < last - timedelta(minutes=5):
        told = f"says {look.now:%Y-%m-%d %H:%M} UTC, before the last frame; set it"
        yield Finding("clock", WRONG, told)
        return
    said = look.run(["timedatectl", "show", "-p", "NTPSynchronized", "--value"])
    if said is not None and said.strip() in ("yes", "no"):
        is_set = said.strip() == "yes"
        told = "set by the network" if is_set else "not set by the network; check the connection"
        yield Finding("clock", FINE if is_set else WATCH, told)


def chip(look: Look) -> Iterator[Finding]:
    """Whether a clock chip keeps the time while the power is off; asked of boards only."""
    if look.run(["vcgencmd", "get_throttled"]) is None:
        return
    if look.run(["cat", CHIP]) is not None:
        yield Finding("clock chip", FINE, "there; give it a battery if it has none")
    elif look.season.settings.capture.wait_for_clock:
        told = "none; after a power cut frames wait apart until the network has set the clock"
        yield Finding("clock chip", FINE, told)
    else:
        told = (
            "none, and wait_for_clock is off: after a power cut frames get wrong dates until "
            "somebody sets the clock"
        )
        yield Finding("clock chip", WATCH, told)


def power(look: Look) -> Iterator[Finding]:
    """Whether the supply is strong enough, where the machine tells."""
    said = look.run(["vcgencmd", "get_throttled"])
    if said is None or "=" not in said:
        return
    try:
        flags = int(said.split("=")[1].strip(), 16)
    except ValueError:
        return
    if flags & POWER_NOW:
        yield Finding("power", WRONG, "too low now; check the supply and its cable")
    elif flags & POWER_ONCE:
        yield Finding("power", WATCH, "was too low since the start; check the supply")
    else:
        yield Finding("power", FINE, "never too low since the start")


def temperature(look: Look) -> Iterator[Finding]:
    """How hot the processor is, where the machine tells."""
    said = look.run(["cat", HEAT])
    if said is not None and said.strip().isdigit():
        temp_c = int(said) / 1000
        how = WRONG if temp_c >= WRONG_C else WATCH if temp_c >= WATCH_C else FINE
        more = "" if how == FINE else "; shade it, and let air to it"
        yield Finding("temperature", how, f"processor at {temp_c:.0f} °C{more}")
