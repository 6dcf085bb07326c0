"""Stage: what stands against a season -> a message to those who are called."""

from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import timedelta

from lapsekit.checking import standing
from lapsekit.checking.finding import Run
from lapsekit.posting import UNUSABLE, Address, read_addresses, send
from lapsekit.season import Season
from lapsekit.trust import require_trust
from lapsekit.unattended.call_state import remembered
from lapsekit.unattended.calling import Condition, Message, decide, is_quiet, with_news

TITLE_LETTERS = 80


@dataclass(frozen=True)
class CallReport:
    """What was found and told.

    Attributes
    ----------
    is_on : bool
        Whether anybody is to be called.
    is_quiet : bool
    standing : list of str
        What stands now, a line each.
    title, text : str
        The message; "" where there is none.
    sent : int
        How many addresses took it.
    failed : list of Address
        Those that did not; in a dry run, those that cannot take any.
    notes : list of str
        What else the grower should know.
    """

    is_on: bool = True
    is_quiet: bool = False
    standing: list[str] = field(default_factory=list)
    title: str = ""
    text: str = ""
    sent: int = 0
    failed: list[Address] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)


def call(season: Season, *, dry_run: bool = False, run: Run | None = None) -> CallReport:
    """Tell those who are called what began, goes on, or ended; nothing where nothing did.

    It counts as told once one address took it. Until then it is kept, and tried again by the next
    call, with what came up since. That another did not take it is news for the next.

    Parameters
    ----------
    season : Season
        Its stage lock is not needed: alerts do not wait for a stage that hangs.
    dry_run : bool
        Send and remember nothing; the addresses are read and looked at all the same.
    run : callable, optional
        As `lapsekit.checking.check` takes it.

    Raises
    ------
    NotTrusted
        If alerts are on and the season folder is not trusted.
    SettingsError, MissingExtra
        If there is something to tell, or in a dry run, and the addresses cannot be read or used.
    """
    table = season.settings.alerts
    if table.to_file is None:
        return CallReport(is_on=False)
    require_trust(season.folder, "send alerts")
    addresses = read_addresses(table.to_file, season.folder) if dry_run else []
    found, now = standing(season, run), season.clock()
    local = now.astimezone(season.zone).time()
    with remembered(season.folder) as memory:
        decision = decide(
            memory.state,
            [(f.what, f.told) for f in found.findings],
            now,
            is_quiet=is_quiet(local, table.quiet_from, table.quiet_until),
            remind_after=timedelta(days=table.remind_days),
            is_blind=found.is_blind,
        )
        report = CallReport(
            is_quiet=is_quiet(local, table.quiet_from, table.quiet_until),
            standing=[f"{f.what}: {f.told}" for f in found.findings],
            title=_title(season, decision.message),
            text="\n".join(_lines(season, decision.message)),
            failed=[each for each in addresses if each.kind == UNUSABLE],
        )
        if memory.damaged is not None:
            report.notes.append(f"the memory of what was told was damaged; see {memory.damaged}")
        if dry_run:
            return report
        kept = decision.observed
        try:
            if decision.message:
                addresses = read_addresses(table.to_file, season.folder)
                report.failed.extend(send(addresses, report.title, report.text))
                if len(report.failed) < len(addresses):
                    kept = with_news(decision.told, map(_unreached, report.failed), now)
                report = _with_sent(report, len(addresses))
        finally:
            if not memory.keep(kept):
                report.notes.append("what was told could not be remembered; it may come again")
    return report


def call_test(season: Season) -> tuple[list[Address], list[Address]]:
    """Send a message that says it is a test; every address, and those that did not take it.

    Raises as `call` does, and a SettingsError where alerts are off.
    """
    require_trust(season.folder, "send alerts")
    addresses = read_addresses(season.settings.alerts.to_file, season.folder)
    title = f"{_named(season)}: a test"
    text = "This is a test of lapsekit alert. Nothing is wrong; what is wrong comes this way."
    return addresses, send(addresses, title, text)


def note_news(season: Season, news: Iterable[tuple[str, str]]) -> None:
    """Remember news, as (key, sentence), for the next call; nothing where alerts are off."""
    if season.settings.alerts.to_file is None:
        return
    with remembered(season.folder) as memory:
        memory.keep(with_news(memory.state, news, season.clock()))


def _unreached(address: Address) -> tuple[str, str]:
    """News for the others: an address that is wrong would else be missed by nobody."""
    name = f"address {address.number} ({address.kind}) of those who are called"
    return name, f"{name} did not take the last message; lapsekit alert --test tries it"


def _with_sent(report: CallReport, addresses: int) -> CallReport:
    return CallReport(**vars(report) | {"sent": addresses - len(report.failed)})


def _named(season: Season) -> str:
    return season.settings.season.title[:TITLE_LETTERS]


def _title(season: Season, message: Message) -> str:
    if not message:
        return ""
    new = len(message.begun) + len(message.news)
    if new:
        return f"{_named(season)}: {new} to look at"
    return f"{_named(season)}: {'still so' if message.still else 'all clear'}"


def _lines(season: Season, message: Message) -> list[str]:
    """The message, part by part; what ended says since when."""

    def since(condition: Condition, moment: str) -> str:
        return f"{getattr(condition, moment).astimezone(season.zone):%Y-%m-%d %H:%M}"

    parts = {
        "To look at:": [f"{c.key}: {c.sentence}" for c in message.begun],
        "News of the plants:": [n.sentence for n in message.news],
        "Still so:": [f"{c.key}, since {since(c, 'since')}: {c.sentence}" for c in message.still],
        "All clear:": [f"{c.key}: over since {since(c, 'gone_since')}" for c in message.over],
    }
    lines = []
    for heading, told in parts.items():
        if told:
            lines += ["", heading, *(f"- {each}" for each in told)]
    return lines[1:]
