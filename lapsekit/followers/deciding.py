"""What the grower, or the follower, decides of a picture; every decision is noted in its record."""

from collections.abc import Sequence
from datetime import date
from typing import Literal

from lapsekit.followers.records import Box, Record
from lapsekit.season import Season


def cannot_be_shown(season: Season, record: Record) -> str | None:
    """Why a picture must not be shown, in a sentence; None if it may be, once the grower says yes."""
    raise NotImplementedError


def show(season: Season, record_id: str) -> Record:
    """Say yes: the next site shows it. What was to be blurred is blurred for good now.

    Raises
    ------
    FollowerError
        If nobody agreed to it, or a minor without a parent, or the sender did not confirm.
    """
    raise NotImplementedError


def decline(season: Season, record_id: str) -> Record:
    """Say no; it is deleted after ``keep_declined_days``."""
    raise NotImplementedError


def back_to_waiting(season: Season, record_id: str) -> Record:
    """Take a yes or a no back."""
    raise NotImplementedError


def ask_again(season: Season, record_id: str, what: str) -> Record:
    """Note what is to be asked of the sender (`what`: ``consent``, or words of the grower's)."""
    raise NotImplementedError


def crop(season: Season, record_id: str, box: Box | None) -> Record:
    """Show only a part; None for the whole picture again."""
    raise NotImplementedError


def blur(season: Season, record_id: str, boxes: Sequence[Box]) -> Record:
    """Blur these areas and no others; for good once the picture is shown, at once if it is."""
    raise NotImplementedError


def correct(
    season: Season,
    record_id: str,
    *,
    caption: str | None = None,
    name: str | None = None,
    plant: str | None = None,
    region: str | None = None,
    sown: date | Literal[""] | None = None,
    taken_on: date | Literal[""] | None = None,
) -> Record:
    """Correct what was told; None leaves it as it is, "" empties it."""
    raise NotImplementedError


def agree(season: Season, record_id: str, consent) -> Record:
    """Note that somebody agreed after all."""
    raise NotImplementedError


def renew_code(season: Season, record_id: str) -> str:
    """A new take-down code, told here once; the one before is void."""
    raise NotImplementedError


def take_down(season: Season, code: str) -> str | None:
    """Delete the picture that a take-down code belongs to, at once; its id, None for no such code."""
    raise NotImplementedError


def take_down_by_id(season: Season, record_id: str) -> None:
    """Delete a picture at once, whatever it was; its id stays in ``followers/taken-down.csv``."""
    raise NotImplementedError
