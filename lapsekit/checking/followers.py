"""Followers' pictures: whether they come in and can be opened safely, what waits."""

from collections.abc import Iterator
from datetime import timedelta

from lapsekit.checking.finding import FINE, WATCH, WRONG, Finding, Look
from lapsekit.errors import SettingsError
from lapsekit.followers.inbox import inbox_of
from lapsekit.followers.mail_memory import remembered
from lapsekit.followers.opening import confinement
from lapsekit.followers.records import damaged, records

LATE = timedelta(hours=6)
"""A mailbox that could not be looked through for so long is called for."""


def received(look: Look) -> Iterator[Finding]:
    """What waits for the grower's yes or no; nothing where no pictures are taken in."""
    wanted = look.season.settings.followers
    if wanted.contact is None:
        return
    by = confinement()
    if not by:
        told = (
            "cannot be opened safely, so none is taken in: install libseccomp2 and the extra "
            "[followers], or bubblewrap"
        )
        yield Finding("followers' pictures", WRONG, told)
    try:
        inbox_of(look.season.folder, look.season.settings)
    except SettingsError as error:
        yield Finding("followers' pictures", WRONG, str(error))
    for told in damaged(look.season):
        yield Finding("followers' pictures", WRONG, told)
    waiting = records(look.season, "waiting")
    if len(waiting) >= wanted.most_waiting:
        told = f"{len(waiting)} wait, and no more are taken in; look at some"
        yield Finding("followers' pictures", WATCH, told)
    elif by:
        since = f", since {waiting[0].came_at:%Y-%m-%d}" if waiting else ""
        told = f"{len(waiting)} wait{since}; opened in a process confined by {by}"
        yield Finding("followers' pictures", FINE, told)


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
