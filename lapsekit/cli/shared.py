"""What the commands have in common: their options, how they speak."""

import json
import sys
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from datetime import date
from pathlib import Path
from typing import Annotated, Any
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

import typer

from lapsekit import telling
from lapsekit.cli.application import Interrupted, hint, say
from lapsekit.day_texts import not_a_day, read_day
from lapsekit.errors import SettingsError
from lapsekit.locks import LOCK_FILE
from lapsekit.memory import be_sparing
from lapsekit.season import Season

DAY = "YYYY-MM-DD"

SeasonFolder = Annotated[
    Path,
    typer.Option(
        "--season", "-s", envvar="LAPSEKIT_SEASON", help="The season folder.", show_default="here"
    ),
]


def day_written(text: str) -> date:
    """A day as an option or argument tells it; its refusal says how a day is written."""
    found = read_day(text)
    if found is None:
        today = date.today()
        raise typer.BadParameter(f'"{text}" {not_a_day(text, date.min, today)}')
    return found


FirstDay = Annotated[
    date | None,
    typer.Option("--from", parser=day_written, metavar=DAY, help="First day.", show_default="all"),
]
LastDay = Annotated[
    date | None,
    typer.Option("--until", parser=day_written, metavar=DAY, help="Last day.", show_default="all"),
]
AsJson = Annotated[bool, typer.Option("--json", help="Print one JSON object for scripts.")]


Workers = Annotated[
    int | None, typer.Option(min=1, max=256, help="Frames worked on at once.", show_default="cores")
]


Wait = Annotated[
    float, typer.Option(min=0, help="Seconds to wait if another stage holds the season.")
]


Port = Annotated[int, typer.Option(min=0, max=65535, help="Port to try first; 0 for any.")]


Host = Annotated[
    str, typer.Option(help="Address to listen at; 0.0.0.0 for every one of this machine.")
]


Certificate = Annotated[
    Path | None, typer.Option(exists=True, dir_okay=False, help="PEM file, for TLS.")
]


CertificateKey = Annotated[
    Path | None, typer.Option(exists=True, dir_okay=False, help="Its private key, PEM.")
]


Behind = Annotated[
    list[str] | None,
    typer.Option(metavar="ADDRESS", help="A proxy's address, which speaks TLS for it."),
]


FurtherNames = Annotated[
    list[str] | None, typer.Option(help="A further name by which browsers reach it.")
]


SampleFolder = Annotated[
    Path | None,
    typer.Option("--frames", help="The sample season's folder.", show_default="the checkout's"),
]


HERE = Path()


PATIENCE = 600.0


LEAST_TRUE_CM2 = 15.0


def report_facts(as_json: bool, lines: Iterable[str], facts: dict[str, Any]) -> None:
    """What was done, in words or as one JSON object."""
    if as_json:
        print(json.dumps(facts, default=str, indent=2))
    else:
        say(lines)


@contextmanager
def held(season: Season, stage: str, wait: float, file_name: str = LOCK_FILE) -> Iterator[bool]:
    """Hold a season's stage lock, or another of its locks, and tell whom it waits for.

    Work that holds one is heavy: it is sparing with memory where there is little. Gives True, as
    `settled` does where it holds one.
    """

    def told(holder: str) -> None:
        print(f"waiting for {holder}", file=sys.stderr, flush=True)

    be_sparing(season.settings.compute.memory_mb)
    with season.lock(stage, wait, told, file_name):
        yield True


@contextmanager
def settled(season: Season, stage: str, wait: float, file_name: str = LOCK_FILE) -> Iterator[bool]:
    """Keep other stages out, as `held` does, for a command that writes nothing into the season.

    One that cannot be written to cannot be held, and is read as it stands: gives False then.
    """
    if season.is_writable:
        with held(season, stage, wait, file_name) as is_held:
            yield is_held
        return
    be_sparing(season.settings.compute.memory_mb)
    with season.catalogue_to_read():
        yield False


def tracking(quiet: bool) -> Any:
    """What tells progress: a bar to people, a line at each quarter to logs, nothing to scripts."""
    from lapsekit.progress import silent

    if quiet:
        return silent
    return _bar if sys.stderr.isatty() else _plain


def _bar(items: Iterable[Any], total: int, label: str) -> Iterator[Any]:
    from rich.console import Console
    from rich.progress import track

    if total:
        items = track(items, label, total, console=Console(stderr=True), transient=True)
    yield from items


def _plain(items: Iterable[Any], total: int, label: str) -> Iterator[Any]:
    """A line at each quarter of a long loop."""
    told = 0
    for number, item in enumerate(items, start=1):
        yield item
        if total >= 20 and number * 4 // total > told:
            told = number * 4 // total
            print(f"{label}: {number} of {total}", file=sys.stderr, flush=True)


def require_both(certificate: Path | None, key: Path | None) -> None:
    """Refuse a certificate without its key, or a key alone."""
    if (certificate is None) != (key is None):
        raise SettingsError("--certificate and --key belong together; give both, or neither")


def serve_folder(folder: Path, port: int) -> None:
    """Show a folder on this machine until interrupted."""
    from lapsekit import telling
    from lapsekit.serving import serve

    try:
        serve(folder, port, lambda address: say(telling.served(address)))
    except Interrupted:
        say(["stopped"])


def zone_named(key: str, option: str = "--time-zone") -> ZoneInfo:
    """A time zone of the IANA database."""
    try:
        return ZoneInfo(key)
    except (ZoneInfoNotFoundError, ValueError, OSError) as error:
        raise SettingsError(
            f'{option} "{key}" is not in the IANA database; write one like UTC or Area/City'
        ) from error


def days_asked(since: date | None, until: date | None) -> tuple[date | None, date | None]:
    """The days of ``--from`` and ``--until``; refused where no day lies between them."""
    if since and until and since > until:
        raise SettingsError(
            f"--from {since} is later than --until {until}: no day lies between them; give the "
            "earlier day first"
        )
    return since, until


def either_season(context: typer.Context, season: Path) -> Path:
    """The season named after ``use`` or ``hold``, or before it."""
    return season if season != HERE else context.parent.params["season"]


def hint_of_waiting(season: Season) -> None:
    """Tell of frames that are not measured, or not judged, by today's settings."""
    from lapsekit.judging import verdicts_waiting
    from lapsekit.measuring import frames_waiting

    hint(telling.waiting(frames_waiting(season), not verdicts_waiting(season)))


def to_read(context: typer.Context, folder: Path) -> Season:
    """The season of a command that writes nothing into it: it may be read-only."""
    season = Season(folder)
    context.with_resource(season.catalogue_to_read())
    return season
