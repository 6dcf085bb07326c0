"""Why a picture is not kept: numbers between processes, sentences for whoever sent it.

Imported by the process that opens pictures, so by itself it loads nothing.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from lapsekit.language.words import Words

FINE, EMPTY, WRONG_KIND, DAMAGED, TOO_LARGE, TOO_SMALL, NO_HEIF, NOT_CONFINED = range(8)
"""What the process tells."""

BROKE, TOO_LONG, TOO_HEAVY, TOO_MANY, NO_MINORS = range(8, 13)
"""What it never tells: its end, and what is found out without it."""


def sentence(reason: int, words: Words) -> str:
    """A reason in the language of whoever sent the picture."""
    if reason == EMPTY:
        return words.text("There is nothing in the file. Please send the picture again.")
    if reason == WRONG_KIND:
        return words.text(
            "This is no picture of a kind that can be read here. Please send a JPEG, PNG, WebP or "
            "HEIC file, as phones and cameras make them."
        )
    if reason == DAMAGED:
        return words.text("The picture is damaged or did not arrive whole. Please send it again.")
    if reason == TOO_LARGE:
        return words.text(
            "The picture has more than 60 megapixels, or needs more memory than there is. Please "
            "send it in a smaller size."
        )
    if reason == TOO_SMALL:
        return words.text("The picture is smaller than 64 pixels. Please send a larger one.")
    if reason == NO_HEIF:
        return words.text("HEIC pictures cannot be read here. Please send it as a JPEG.")
    if reason == TOO_LONG:
        return words.text("Reading the picture took too long. Please send it in a smaller size.")
    if reason == TOO_HEAVY:
        return words.text(
            "The file has more than 64 MB. Please send the picture in a smaller size."
        )
    if reason == TOO_MANY:
        return words.text(
            "So many pictures wait to be looked at that no more are taken just now. Please send "
            "yours again in some days."
        )
    if reason == NO_MINORS:
        return words.text("Pictures of children and young people are not taken here.")
    return words.text(
        "The picture could not be read. Please send another, or the same one saved as a JPEG."
    )
