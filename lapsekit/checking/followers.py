"""Followers' pictures: whether they can be opened safely, what waits, what cannot be read."""

from collections.abc import Iterator

from lapsekit.checking.finding import FINE, WATCH, WRONG, Finding, Look
from lapsekit.followers.opening import confinement
from lapsekit.followers.records import damaged, records


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
