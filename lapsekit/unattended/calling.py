"""What is told to those who are called, and when. Pure: state, conditions and time in, message out.

A condition that begins is told once, told again after so many days while it goes on, and when it
has been gone for a while an all-clear is sent. One that comes back within a day of its all-clear
has to be gone four times as long before the next, up to a day, so that what comes and goes does
not call each time. News is told once and has no all-clear. All of one moment goes into one message.
In quiet hours nothing is told: at their end, what stands then, and news.
"""

from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import datetime, time, timedelta

CLEAR_AFTER = timedelta(hours=1)
"""How long a condition has to be gone before it is called over."""

SLOWER, SLOWEST, AGAIN_WITHIN = 4, timedelta(days=1), timedelta(days=1)
"""One that comes back within the last is called over after so many times the time, up to a day."""

REMEMBER_NEWS = timedelta(days=60)


@dataclass(frozen=True)
class Condition:
    """Something that stands, or stood until a short while ago.

    Attributes
    ----------
    key : str
        The same words each time.
    sentence : str
        As it was last found.
    since : datetime
    told_at : datetime or None
        When it was last told; None while it was not.
    gone_since : datetime or None
        When it was first not found any more.
    clear_after : timedelta
        How long it has to be gone before it is called over.
    over_at : datetime or None
        When the all-clear was sent; it is then kept only for what it teaches.
    """

    key: str
    sentence: str
    since: datetime
    told_at: datetime | None = None
    gone_since: datetime | None = None
    clear_after: timedelta = CLEAR_AFTER
    over_at: datetime | None = None


@dataclass(frozen=True)
class News:
    """Something that happened; told once under its key."""

    key: str
    sentence: str
    came_at: datetime
    told_at: datetime | None = None


@dataclass(frozen=True)
class State:
    """All that is remembered between two looks."""

    conditions: tuple[Condition, ...] = ()
    news: tuple[News, ...] = ()


@dataclass(frozen=True)
class Message:
    """What is told at one moment; each part may be empty."""

    begun: tuple[Condition, ...] = ()
    still: tuple[Condition, ...] = ()
    over: tuple[Condition, ...] = ()
    news: tuple[News, ...] = ()

    def __bool__(self) -> bool:
        return bool(self.begun or self.still or self.over or self.news)


@dataclass(frozen=True)
class Decision:
    """What to tell, and what to remember: `told` once that has gone out, else `observed`."""

    message: Message
    observed: State
    told: State


def decide(
    state: State,
    found: Iterable[tuple[str, str]],
    now: datetime,
    *,
    is_quiet: bool,
    remind_after: timedelta,
    is_blind: bool = False,
) -> Decision:
    """What to tell now.

    Parameters
    ----------
    state : State
        As it was remembered.
    found : iterable of (key, sentence)
        Every condition that stands now.
    now : datetime
    is_quiet : bool
        Whether it is a quiet hour.
    remind_after : timedelta
        After how long what goes on is told again.
    is_blind : bool
        Whether it could not be looked for everything: what is not found may still stand then.

    Returns
    -------
    Decision
    """
    observed = _observed(_not_ahead(state, now), dict(found), now, is_blind)
    if is_quiet:
        return Decision(Message(), observed, observed)
    standing = [c for c in observed.conditions if c.gone_since is None and c.over_at is None]
    gone = [c for c in observed.conditions if c.gone_since is not None and c.over_at is None]
    message = Message(
        begun=tuple(c for c in standing if c.told_at is None),
        still=tuple(c for c in standing if c.told_at and now - c.told_at >= remind_after),
        over=tuple(c for c in gone if now - c.gone_since >= c.clear_after),
        news=tuple(n for n in observed.news if n.told_at is None),
    )
    return Decision(message, observed, _after(observed, message, now))


def with_news(state: State, news: Iterable[tuple[str, str]], now: datetime) -> State:
    """`state` with news that it does not know under these keys yet."""
    known = {each.key for each in state.news}
    new = tuple(News(key, sentence, now) for key, sentence in news if key not in known)
    return replace(state, news=state.news + new)


def is_quiet(local: time, quiet_from: time, quiet_until: time) -> bool:
    """Whether a time of day lies in the quiet hours, which may pass midnight; none if they agree.

    The clock on the wall counts: an hour that an autumn night has twice is quiet twice.
    """
    if quiet_from <= quiet_until:
        return quiet_from <= local < quiet_until
    return local >= quiet_from or local < quiet_until


def _not_ahead(state: State, now: datetime) -> State:
    """Moments that a wrong clock wrote down as later than now are taken for now."""

    def past(moment: datetime | None) -> datetime | None:
        return min(moment, now) if moment else None

    conditions = tuple(
        replace(
            c,
            since=past(c.since),
            told_at=past(c.told_at),
            gone_since=past(c.gone_since),
            over_at=past(c.over_at),
        )
        for c in state.conditions
    )
    news = tuple(replace(n, came_at=past(n.came_at), told_at=past(n.told_at)) for n in state.news)
    return State(conditions, news)


def _observed(state: State, found: dict[str, str], now: datetime, is_blind: bool) -> State:
    """What is known once it was looked, before anything is told."""
    conditions = [c for c in (_seen(c, found, now, is_blind) for c in state.conditions) if c]
    known = {c.key for c in conditions}
    conditions += [Condition(key, told, now) for key, told in found.items() if key not in known]
    kept = [n for n in state.news if n.told_at is None or now - n.told_at < REMEMBER_NEWS]
    return State(tuple(conditions), tuple(kept))


def _seen(c: Condition, found: dict[str, str], now: datetime, is_blind: bool) -> Condition | None:
    """One known condition after a look; None once it can be forgotten."""
    if c.key in found:
        if c.over_at is None:
            return replace(c, sentence=found[c.key], gone_since=None)
        patience = CLEAR_AFTER
        if now - c.over_at < AGAIN_WITHIN:
            patience = min(SLOWER * c.clear_after, SLOWEST)
        return Condition(c.key, found[c.key], now, clear_after=patience)
    if c.over_at is not None:
        return c if now - c.over_at < AGAIN_WITHIN else None
    if is_blind:
        return c
    if c.told_at is None:
        return None  # it came and went unsaid
    return c if c.gone_since else replace(c, gone_since=now)


def _after(state: State, message: Message, now: datetime) -> State:
    """What is known once the message has gone out."""
    told = {c.key for c in (*message.begun, *message.still)}
    over = {c.key for c in message.over}
    conditions = [
        replace(c, told_at=now)
        if c.key in told
        else replace(c, over_at=now)
        if c.key in over
        else c
        for c in state.conditions
    ]
    news = [n if n.told_at else replace(n, told_at=now) for n in state.news]
    return State(tuple(conditions), tuple(news))
