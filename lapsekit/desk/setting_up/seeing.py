"""Pictures that a camera shows now, as pages tell them."""

from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

if TYPE_CHECKING:
    from lapsekit.aiming import Look


def told_of(look: "Look", zone: ZoneInfo) -> dict:
    """What a picture says, in numbers and in words."""
    from lapsekit.telling_aiming import LOST_MUCH, NEAR_BEST, rest_told

    share = look.sharpness / look.best if look.best else 0.0
    lines = rest_told(look)
    return {
        "at": f"{look.taken_at.astimezone(zone):%Y-%m-%d %H:%M:%S}",
        "width": look.width,
        "height": look.height,
        "sharpness": round(look.sharpness, 2),
        "best": round(look.best, 2),
        "share": round(share, 3),
        "is_best": share >= NEAR_BEST,
        "brightness": round(look.brightness, 2),
        "clipped": round(100 * look.clipped, 1),
        "is_clipped": look.clipped > LOST_MUCH,
        "light": lines[0],
        "view": lines[1:],
    }
