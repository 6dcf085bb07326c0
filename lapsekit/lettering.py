"""Letters and inks of the pictures that Pillow draws, in the almanac's look."""

from functools import lru_cache

from PIL import ImageFont

from lapsekit.resources import caption_font

PAPER, INK, FAINT = (250, 246, 236), (43, 38, 34), (112, 102, 90)


@lru_cache(maxsize=16)
def font(size: int) -> ImageFont.FreeTypeFont:
    """The almanac's letters, `size` px high."""
    return ImageFont.truetype(caption_font(), size)
