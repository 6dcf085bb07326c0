"""Whether followers' pictures come in by mail, and wait for somebody to look at them."""

from collections.abc import Iterator
from datetime import timedelta

from lapsekit.checking.finding import FINE, WATCH, WRONG, Finding, Look
from lapsekit.followers.mail_memory import remembered
from lapsekit.followers.records import records

LATE = timedelta(hours=6)
"""A mailbox that could not be looked through for so long is called for."""


def mailbox(look: Look) -> Iterator[Finding]:
    """Whether the mailbox could be looked through lately."""
    season = look.season
    if season.settings.followers.mail is None:
        return
    memory = remembered(season.folder)
    if memory.failing is not None:
        how = WRONG if look.now - memory.failing >= LATE else WATCH
        yield Finding("mailbox", how, f"cannot be looked through: {memory.why}")
    elif memory.last_look is None:
        yield Finding("mailbox", WATCH, "not looked through yet; lapsekit followers take-in does")
    else:
        at = f"{memory.last_look.astimezone(season.zone):%Y-%m-%d %H:%M}"
        is_late = look.now - memory.last_look >= LATE
        told = f"last looked through {at}" + ("; is lapsekit run running?" if is_late else "")
        yield Finding("mailbox", WRONG if is_late else FINE, told)


def waiting_pictures(look: Look) -> Iterator[Finding]:
    """How many of followers' pictures wait for a yes or a no."""
    season = look.season
    wanted = season.settings.followers
    if wanted.contact is None:
        return
    number = len(records(season, "waiting"))
    if number >= wanted.most_waiting:
        told = f"{number} wait, and no more are taken in; say yes or no to some"
        yield Finding("followers' pictures", WRONG, told)
    elif number:
        told = "1 waits for you" if number == 1 else f"{number} wait for you"
        yield Finding("followers' pictures", WATCH, f"{told}; lapsekit followers list names them")
