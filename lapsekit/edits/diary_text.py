"""Lines of diary.csv added, changed, taken out (pure). What is new is checked by `noting`."""

from collections.abc import Iterable

from lapsekit.diary import Event


def with_events(text: str, events: Iterable[Event]) -> str:
    """The diary with lines added at its end; raises `SettingsError` where it has no place."""
    raise NotImplementedError


def with_changed_event(text: str, was: Event, now: Event) -> str:
    """The diary with one line changed; columns of the grower's own keep their cells.

    Parameters
    ----------
    was : Event
        As `read_diary` gave it, with its line. If it stands in another line by now, that is found.
    now : Event
        Its own line does not matter.

    Raises
    ------
    ChangedMeanwhile
        If the event is not in the diary any more, or twice and in other lines.
    """
    raise NotImplementedError


def without_event(text: str, was: Event) -> str:
    """The diary without one line; finds it and raises as `with_changed_event` does."""
    raise NotImplementedError
