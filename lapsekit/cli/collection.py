"""Commands about several seasons as one collection."""

from collections.abc import Iterable
from dataclasses import asdict
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Literal

import typer

from lapsekit import telling, telling_collection
from lapsekit.cli.application import app, hint, say
from lapsekit.cli.machines import On, TlsAuthority, TlsCertificate, TlsKey, machines
from lapsekit.cli.shared import PATIENCE, AsJson, Wait, Workers, held, report_facts, tracking

if TYPE_CHECKING:
    from lapsekit.clusters.spreading import Machines
    from lapsekit.collecting.members import Member

NOT_ALL = 65

collection_app = typer.Typer(
    help="Several seasons as one: list, measure, growth across benches, an index site.",
    epilog="Each goes on where a season cannot be used, tells why, and ends with 65 then.",
    no_args_is_help=True,
    rich_markup_mode=None,
)
app.add_typer(collection_app, name="collection")

CollectionFile = Annotated[
    Path, typer.Argument(metavar="FILE", help="The collection's file (TOML).")
]


@collection_app.command("list")
def list_seasons(file: CollectionFile, as_json: AsJson = False) -> None:
    """List seasons: days, frames, what waits, what is wrong."""
    from lapsekit.collecting.listing import rows
    from lapsekit.collecting.members import open_collection

    collection = open_collection(file)
    found, broken = [], list(collection.absent)
    for done in rows(collection):
        if done.broken:
            broken.append(done.broken)
        elif as_json:
            found.append(asdict(done.result))
        else:
            say(telling_collection.listed(done.result))
    _end(as_json, [], {"title": collection.title, "seasons": found}, broken)


@collection_app.command()
def measure(
    file: CollectionFile,
    workers: Workers = None,
    on: On = None,
    frames_at: Annotated[
        str | None,
        typer.Option(
            metavar="URL",
            help="Where workers find the frames of a season, at URL/ITS FOLDER: s3://, sftp:// or "
            "file:///.",
            show_default="where each season has them",
        ),
    ] = None,
    tls_ca: TlsAuthority = None,
    tls_certificate: TlsCertificate = None,
    tls_key: TlsKey = None,
    as_json: AsJson = False,
    wait: Wait = PATIENCE,
) -> None:
    """Measure what waits in each, as lapsekit measure does."""
    from lapsekit.collecting.measuring import measure_all
    from lapsekit.collecting.members import open_collection

    collection = open_collection(file)
    found, broken = {}, list(collection.absent)
    with machines(on, workers, tls_ca, tls_certificate, tls_key, frames_at) as cluster:
        elsewhere = _elsewhere(cluster, frames_at)
        hold = partial(held, stage="measure", wait=wait)
        for done in measure_all(collection, hold, workers, tracking(as_json), elsewhere):
            if done.broken:
                broken.append(done.broken)
                continue
            found[done.member.key] = vars(done.result)
            if not as_json:
                say(telling_collection.measured(done.member.key, telling.measured(done.result)))
    _end(as_json, [], {"seasons": found}, broken)


def _elsewhere(cluster: "Machines | None", frames_at: str | None):
    """Gives what measures a season on the cluster; None without one."""
    if cluster is None:
        return None
    from lapsekit.clusters.measuring_there import MeasuringThere

    def there(member: "Member") -> MeasuringThere:
        return MeasuringThere(cluster, frames_at and member.address(frames_at))

    return there


@collection_app.command()
def growth(
    file: CollectionFile,
    out: Annotated[
        Path | None,
        typer.Option(help="Folder to write to.", show_default="growth, beside the file"),
    ] = None,
    by: Annotated[Literal["age", "date"], typer.Option(help="What the plot goes by.")] = "age",
    as_json: AsJson = False,
) -> None:
    """Write tables and a plot of all plants; compare groups."""
    from lapsekit.collecting.growth import OUT, grow_all
    from lapsekit.collecting.members import open_collection

    collection = open_collection(file)
    report = grow_all(collection, out or collection.folder / OUT, by == "age", tracking(as_json))
    lines = telling_collection.grown(report)
    _end(as_json, lines, telling_collection.grown_facts(report), report.broken)


@collection_app.command()
def site(
    file: CollectionFile,
    out: Annotated[Path, typer.Option(help="Folder of the index: a new one, or built before.")],
    as_json: AsJson = False,
) -> None:
    """Build one index over the seasons' own sites."""
    from lapsekit.collecting.index_site import build_index
    from lapsekit.collecting.members import open_collection

    report = build_index(open_collection(file), out, tracking(as_json))
    facts = {name: value for name, value in vars(report).items() if name != "broken"}
    _end(as_json, telling_collection.indexed(report), facts, report.broken)


def _end(as_json: bool, lines: Iterable[str], facts: dict, broken: list) -> None:
    """Tell what was done and what could not be; the exit code says whether that was all."""
    report_facts(as_json, lines, {**facts, "broken": [asdict(each) for each in broken]})
    hint(telling_collection.broken(broken))
    if broken:
        raise typer.Exit(NOT_ALL)
