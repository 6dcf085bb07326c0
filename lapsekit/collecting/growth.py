"""Stage: a collection -> growth of all plants across benches: tables, a plot, groups compared."""

import json
from collections import Counter
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager, suppress
from dataclasses import dataclass, field
from pathlib import Path

from lapsekit.collecting.groups import Compared, by_group, compare
from lapsekit.collecting.members import Broken, Collection, Member, in_turn
from lapsekit.collecting.tables import (
    DAYS,
    PAUSES,
    PLANTS,
    WHOSE,
    PlantRows,
    contrasts_table,
    plant_rows,
)
from lapsekit.contrasting import plants_of
from lapsekit.errors import SeasonError, SettingsError
from lapsekit.growing import Growth, grow
from lapsekit.growth.plants import Plant
from lapsekit.long_tables import TableFile
from lapsekit.measuring import frames_waiting
from lapsekit.progress import Track, silent
from lapsekit.safely import PART, write_safely
from lapsekit.season import SETTINGS_FILE, Season
from lapsekit.tables import Table, data_package, has_parquet

OUT = "growth"
PACKAGE, PACKAGE_NAME = "datapackage.json", "growth-of-collection"


@dataclass
class CropTold:
    """What is told of one crop: plants and seasons, and its plants' areas at their last day."""

    plants: int = 0
    seasons: Counter[str] = field(default_factory=Counter)
    last_cm2: list[float] = field(default_factory=list)
    pauses: int = 0


@dataclass
class CollectionGrowth:
    """What was found and written.

    Attributes
    ----------
    seasons, plants, days : int
        Seasons that were read; plants with a value; rows of the table of days.
    waiting : dict of str to int
        Frames that are not measured by today's settings, of seasons that have such.
    without_scale : int
        Plants that have a cover only; they are in the tables and not in the plot.
    crops : dict of str to CropTold
    compared : list of Compared
    broken : list of Broken
    written : list of pathlib.Path
    """

    seasons: int = 0
    plants: int = 0
    days: int = 0
    waiting: dict[str, int] = field(default_factory=dict)
    without_scale: int = 0
    crops: dict[str, CropTold] = field(default_factory=dict)
    compared: list[Compared] = field(default_factory=list)
    broken: list[Broken] = field(default_factory=list)
    written: list[Path] = field(default_factory=list)


@dataclass(frozen=True)
class _Found:
    """What one season gives: rows for the tables, and what the plot and the groups rest on."""

    plants: list[PlantRows]
    lines: list
    grouped: list[tuple[str, str, Plant]]
    waiting: int
    key: str
    has_scale: bool


def grow_all(
    collection: Collection, out: Path, by_age: bool = True, track: Track = silent
) -> CollectionGrowth:
    """Write tables of all plants, their data package and the plot into a folder.

    Days are written season by season; what is held of a plant meanwhile is its curve and one row.

    Parameters
    ----------
    collection : Collection
    out : pathlib.Path
        A new or empty folder, or one that holds such a package already.
    by_age : bool
        Whether the plot goes by plant age, or by date. Groups are compared at the same age.
    track : Track
        Told about progress.

    Raises
    ------
    SettingsError
        If the folder holds something else, or is a season's.
    SeasonError
        If seasons could not be read and the others have no value; what was there stays.
    """
    _require_ours(out)
    report = CollectionGrowth(broken=list(collection.absent))
    title = f"Growth of {collection.title}"
    plants, pauses, lines, grouped, without_scale = [], [], [], [], set()
    whose = tuple(column.name for column in WHOSE[:1] + WHOSE[2:3])
    with _folder_for(out), ExitStack() as stack:
        days = TableFile(out, "days", "Canopy of every plant by day", (*whose, "day"), DAYS)
        stack.enter_context(days)
        for found in _seasons(collection, report, by_age, track):
            rows = [row for each in found.plants for row in each.days]
            days.add(rows)
            report.days += len(rows)
            for each in found.plants:
                plants += [each.plant] if each.plant else []
                pauses += each.pauses
                _count(report, each)
            lines += found.lines
            grouped += found.grouped
            without_scale |= set() if found.has_scale else {found.key}
        _require_any(collection, out, report)
        report.compared = compare(by_group(grouped), without_scale=without_scale)
    tables = [
        Table("plants", "Every plant on its last day", whose, PLANTS, plants),
        Table("pauses", "Spans in which growth stood still", (*whose, "start"), PAUSES, pauses),
        contrasts_table(report.compared),
    ]
    report.written += days.written
    _write(report, out, tables)
    _put(report, out / PACKAGE, data_package(PACKAGE_NAME, title, [tables[0], days, *tables[1:]]))
    _plot(report, out, lines, by_age)
    return report


def _require_any(collection: Collection, out: Path, report: CollectionGrowth) -> None:
    """Refuse to put tables without a row over good ones: a disk may not be mounted."""
    if report.broken and not report.plants:
        raise SeasonError(
            f"{out}: no season of {collection.file} that could be read has a value, so the tables "
            f"stay as they were; {report.broken[0].why}"
        )


@contextmanager
def _folder_for(out: Path) -> Iterator[None]:
    """The folder, made where it is not there; one that was made for nothing goes again."""
    is_new = not out.exists()
    out.mkdir(parents=True, exist_ok=True)
    try:
        yield
    except BaseException:
        if is_new:
            with suppress(OSError):  # something is in it
                out.rmdir()
        raise


def _seasons(
    collection: Collection, report: CollectionGrowth, by_age: bool, track: Track
) -> Iterator[_Found]:
    def work(season: Season, member: Member) -> _Found | None:
        return _of_season(season, member, collection, by_age) if member.has_catalogue else None

    turn = in_turn(collection, work)
    for done in track(turn, len(collection.members), "growth"):
        if done.broken:
            report.broken.append(done.broken)
            continue
        report.seasons += 1
        if done.result is not None:
            if done.result.waiting:
                report.waiting[done.member.key] = done.result.waiting
            yield done.result


def _of_season(season: Season, member: Member, collection: Collection, by_age: bool) -> _Found:
    from lapsekit.collecting.plot import line_of

    every = grow(season)
    growths = {region.name: every[region.name] for region in season.regions.plants}
    rows, lines = [], []
    for growth in growths.values():
        each = plant_rows(season, member, growth, collection.crops)
        rows.append(each)
        title = member.title(season)
        line = line_of(growth, each.whose.crop, title, each.whose.sown, by_age)
        lines += [line] if line is not None else []
    has_scale = any(growth.has_area for growth in growths.values())
    grouped = _grouped(season, member, growths)
    return _Found(rows, lines, grouped, frames_waiting(season), member.key, has_scale)


def _grouped(season: Season, member: Member, growths: dict[str, Growth]) -> list:
    values = (daily for growth in growths.values() for daily in growth.daily)
    plants = plants_of(season, by_age=True, values=values)
    regions = season.regions.plants
    return [(r.group, member.key, plants[r.name]) for r in regions if r.group]


def _count(report: CollectionGrowth, each: PlantRows) -> None:
    if each.plant is None:
        return
    report.plants += 1
    crop = report.crops.setdefault(each.whose.crop, CropTold())
    crop.plants += 1
    crop.seasons[each.whose.season] += 1
    crop.pauses += len(each.pauses)
    area = dict(zip((column.name for column in PLANTS), each.plant, strict=True))["area_cm2"]
    if area is None:
        report.without_scale += 1
    else:
        crop.last_cm2.append(area)


def _require_ours(out: Path) -> None:
    """Refuse a folder of something else: files of our names would be written over there."""
    if (out / SETTINGS_FILE).exists() or (out.parent / SETTINGS_FILE).exists():
        raise SettingsError(f"--out {out}: that is a season's own folder; name another one")
    if out.exists() and not _is_empty(out) and not _is_ours(out / PACKAGE):
        raise SettingsError(
            f"--out {out}: it is not empty and holds no growth of a collection; name a new folder"
        )


def _is_empty(out: Path) -> bool:
    """Whether nothing is in it but what an interrupted write left."""
    return out.is_dir() and all(file.name.startswith(PART) for file in out.iterdir())


def _is_ours(package: Path) -> bool:
    try:
        return json.loads(package.read_text(encoding="utf-8"))["name"] == PACKAGE_NAME
    except (OSError, ValueError, KeyError, TypeError):
        return False


def _write(report: CollectionGrowth, out: Path, tables: list[Table]) -> None:
    for table in tables:
        _put(report, out / f"{table.name}.csv", table.csv)
        if has_parquet():
            _put(report, out / f"{table.name}.parquet", table.as_parquet())


def _plot(report: CollectionGrowth, out: Path, lines: list, by_age: bool) -> None:
    if not lines:
        return
    from lapsekit.collecting.plot import crops_plot

    for kind, content in crops_plot(lines, by_age).items():
        _put(report, out / f"crops.{kind}", content)


def _put(report: CollectionGrowth, path: Path, content: bytes | str) -> None:
    report.written.append(path)
    write_safely(path, content.encode() if isinstance(content, str) else content)
