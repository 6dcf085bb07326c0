"""What comes in, by whichever way, before anything of it is believed.

Mail, upload page and folder each make an :class:`Arrival`; `lapsekit.followers.receiving.take_in`
alone opens it.
"""

import re
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Literal

Way = Literal["mail", "upload", "folder"]

LONGEST = {
    "file_name": 100,
    "name": 60,
    "plant": 60,
    "caption": 500,
    "contact": 254,  # RFC 5321
    "parent": 80,
    "how": 200,
}
"""Letters of a stranger's words that are kept."""

_ADDRESS = re.compile(
    r"[A-Za-z0-9!#$%&'*+/=?^_`{|}~.-]{1,64}@[A-Za-z0-9](?:[A-Za-z0-9.-]{0,250}[A-Za-z0-9])?"
)


def is_address(text: str) -> bool:
    """Whether a text is a mail address that letters can be sent to."""
    fits = len(text) <= LONGEST["contact"] and ".." not in text
    return fits and _ADDRESS.fullmatch(text) is not None


@dataclass(frozen=True, kw_only=True)
class Consent:
    """What somebody agreed to.

    Attributes
    ----------
    wording : str
        Version of the text that was agreed to, as `lapsekit.followers.wordings` names it.
    language : str
        In which it was shown, like ``de``.
    agreed_at : datetime
        UTC instant.
    how : str
        In which way it was said: ``ticked on the upload page``, ``I agree: yes, in a mail``.
    is_adult : bool
        Whether whoever sent it says to be of age; otherwise `parent` must be there.
    parent : str
        Name of the parent or guardian who agrees for a minor; never shown.
    """

    wording: str
    language: str
    agreed_at: datetime
    how: str
    is_adult: bool
    parent: str = ""


@dataclass(frozen=True, kw_only=True)
class Arrival:
    """A picture as it came in; every field but `came_at`, `by` and `source` is a stranger's.

    Attributes
    ----------
    data : bytes
        Content of what says to be a picture; opened in a process of its own only.
    came_at : datetime
        UTC instant.
    by : {"mail", "upload", "folder"}
    source : str
        The same for the same picture if it comes again (Message-ID and part, say): then it is
        passed over.
    file_name : str
        As it was told, for people to read; never a path.
    name : str
        The name that is shown with the picture; "" for none.
    plant : str
        What the follower calls the plant, or a region's name.
    sown : date or None
        When they sowed it.
    taken_on : date or None
        When they took the picture, where they say so; otherwise its EXIF date counts, or the day
        on which it came.
    caption : str
    contact : str
        Mail address for answers; "" for none. It proves nothing, and is never shown.
    language : str
        In which answers are written, like ``de``.
    consent : Consent or None
        None while nobody agreed: such a picture can be looked at, and not be shown.
    """

    data: bytes = field(repr=False)
    came_at: datetime
    by: Way
    source: str
    file_name: str = ""
    name: str = ""
    plant: str = ""
    sown: date | None = None
    taken_on: date | None = None
    caption: str = ""
    contact: str = ""
    language: str = "en"
    consent: Consent | None = None
