"""What ``aim`` says: cautions first, then a line or two a picture."""

from __future__ import annotations

from dataclasses import asdict
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

if TYPE_CHECKING:
    from lapsekit.aiming import Look
    from lapsekit.vision.movement import Movement

BAR = 30
NEAR_BEST = 0.97
"""A hand on the ring stirs the picture by about 1 %; what is so near the best is the best."""

LOST_MUCH, DARK, BRIGHT = 0.02, 0.15, 0.75
STILL_PX, STILL_DEG, STILL_SHARE, STILL_TILT_PX = 3.0, 0.2, 0.005, 6.0
"""Below these nobody can set a camera by hand, and registration puts frames back by itself."""

CAUTIONS = (
    "Before you climb:",
    "  Stand on a ladder on firm, level ground, and let somebody hold it; come down to type.",
    "  Tie camera, arm and lamps with a second line each: nothing may fall on people or water.",
    "  Mains and water: adapters and plugs stay dry, above the bench, behind a residual-current",
    "  device; leave fixed wiring to an electrician. Unplug lamps before you reach past them.",
    "  Aim at the bench, not at people, paths or neighbours; tell those who work there.",
)


def cautions() -> list[str]:
    """Before the first picture."""
    return [*CAUTIONS, ""]


def look_told(look: Look, zone: ZoneInfo) -> list[str]:
    """One picture: sharpness with its bar, light, and where the view lies."""
    at = f"{look.taken_at.astimezone(zone):%H:%M:%S}"
    return [f"{at}  {sharpness_told(look)}", *(f"{'':10}{line}" for line in rest_told(look))]


def sharpness_told(look: Look) -> str:
    """The number to turn the ring by."""
    share = look.sharpness / look.best if look.best else 0.0
    full = round(BAR * share)
    said = "best so far" if share >= NEAR_BEST else f"{share:.0%} of the best; turn back"
    bar = "#" * full + "." * (BAR - full)
    return f"sharpness {look.sharpness:6.2f} [{bar}] best {look.best:.2f}  {said}"


def picture_told(look: Look) -> list[str]:
    """What stands below the picture."""
    share = look.sharpness / look.best if look.best else 0.0
    return [
        f"sharpness {look.sharpness:.2f}, {share:.0%} of the best so far ({look.best:.2f})",
        *rest_told(look),
    ]


def rest_told(look: Look) -> list[str]:
    """Light, view, and what the camera did not do."""
    lines = [_light(look)]
    if look.movement is not None:
        lines += _view(look.movement, look.cm_per_px, look.is_rough)
    elif look.unplaced:
        lines.append(f"view: not found again ({look.unplaced}); lay the edges over by eye")
    return lines + [f"note: {note}" for note in look.notes]


def _light(look: Look) -> str:
    told = f"brightness {look.brightness:.2f}, colour lost in {look.clipped:.1%}"
    if look.clipped > LOST_MUCH or look.brightness > BRIGHT:
        return f"{told}: too bright; shade the glare, or a shorter exposure_ms"
    if look.brightness < DARK:
        return f"{told}: dark; more light, or a longer exposure_ms"
    return told


def _view(moved: Movement, cm_per_px: float | None, is_rough: bool) -> list[str]:
    shifts = " and ".join(_shifts(moved, cm_per_px))
    parts = [*([f"- point it {shifts}"] if shifts else []), *_turns(moved)]
    if not parts:
        return ["view: as in the reference view" + (", as far as can be told" if is_rough else "")]
    roughly = "roughly, " if is_rough else ""
    return [f"view, to be as before ({roughly}directions as in the picture):", *parts]


def _shifts(moved: Movement, cm_per_px: float | None) -> list[str]:
    """What lies too far right comes back when the camera points further right."""
    found = []
    ways = ((moved.right_px, "right", "left"), (moved.down_px, "down", "up"))
    for off, forth, back in ways:
        if abs(off) >= STILL_PX:
            cm = f" ({abs(off) * cm_per_px:.1f} cm on the bench)" if cm_per_px else ""
            found.append(f"{abs(off):.0f} px{cm} further {forth if off > 0 else back}")
    return found


def _turns(moved: Movement) -> list[str]:
    found = []
    if abs(moved.turned_deg) >= STILL_DEG:
        way = "clockwise" if moved.turned_deg > 0 else "anticlockwise"
        found.append(f"- turn it {abs(moved.turned_deg):.1f}° {way}")
    if abs(moved.larger) >= STILL_SHARE:
        way = "away from" if moved.larger > 0 else "towards"
        found.append(f"- move it {abs(moved.larger):.1%} of its distance {way} the bench")
    if moved.tilted_px >= STILL_TILT_PX:
        found.append(f"- level it: corners are up to {moved.tilted_px:.0f} px askew")
    return found


def ended(best: float) -> list[str]:
    """After Ctrl+C."""
    return [f"stopped; the best sharpness was {best:.2f}. Nothing was filed"]


def look_facts(look: Look) -> dict[str, object]:
    """One picture for scripts."""
    return asdict(look)
