"""What a site may show of followers' pictures: what the grower said yes to, and nothing else."""

import hashlib
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import date

from lapsekit.followers.deciding import cannot_be_shown
from lapsekit.followers.gone import gone_ids
from lapsekit.followers.making import as_shown, shown_size
from lapsekit.followers.records import Record, read_picture, records
from lapsekit.safely import write_safely
from lapsekit.season import Season

_ON_SITE, _SENT = ".cache/followers-on-site", ".cache/followers-sent"


@dataclass(frozen=True)
class Shown:
    """A picture with the grower's yes and a consent, as readers may see it.

    Attributes
    ----------
    id : str
    name : str
        Chosen by whoever sent it; "" for none.
    caption, plant : str
    region : str
        Name of the region that it is held against; "" for none.
    sown, taken_on : date or None
    age_days : int or None
    language : str
        Of name and caption.
    width, height : int
        In px, as it is shown.
    mark : str
        Changes when the picture does.
    picture : callable
        Gives it as a JPEG without metadata, cropped, and blurred where that was asked for. Raises
        FollowerError once the yes was taken back, or the picture taken down.
    """

    id: str
    name: str
    caption: str
    plant: str
    region: str
    sown: date | None
    taken_on: date | None
    age_days: int | None
    language: str
    width: int
    height: int
    mark: str
    picture: Callable[[], bytes] = field(repr=False, compare=False)


def mark_of_shown(season: Season) -> str:
    """Changes with what a site may show, and with every picture that goes or is blurred."""
    return hashlib.sha256(repr(shown(season)).encode(errors="replace")).hexdigest()[:32]


def note_on_site(season: Season, mark: str) -> None:
    """Note what the site that was just built shows of followers."""
    file = season.folder / _ON_SITE
    file.parent.mkdir(parents=True, exist_ok=True)
    write_safely(file, f"{mark}\n".encode())


def note_sent(season: Season) -> None:
    """Note that readers have the site that was built last."""
    built = season.folder / _ON_SITE
    if built.is_file():
        write_safely(season.folder / _SENT, built.read_bytes())


def is_on_site(season: Season) -> bool:
    """Whether the site, where it goes out the one that readers have, shows what was decided."""
    file = season.folder / (_ON_SITE if season.settings.publish.to is None else _SENT)
    return file.is_file() and file.read_text(errors="replace").strip() == mark_of_shown(season)


def shown(season: Season) -> list[Shown]:
    """All that may be shown, by the day they were taken on, then in the order they came.

    Damaged records, and such whose consent does not suffice (any more), are left out.
    """
    gone = gone_ids(season.folder)  # one whose deleting was cut off
    asked = [r for r in records(season, "shown") if r.id not in gone]
    found = [r for r in asked if cannot_be_shown(season, r) is None]
    return [_shown(season, r) for r in sorted(found, key=_order)]


def _order(record: Record) -> tuple:
    return record.taken_on or record.came_at.date(), record.came_at, record.id


def _shown(season: Season, record: Record) -> Shown:
    width, height = shown_size(record)
    return Shown(
        id=record.id,
        name=record.name,
        caption=record.caption,
        plant=record.plant,
        region=record.region,
        sown=record.sown,
        taken_on=record.taken_on,
        age_days=record.age_days,
        language=record.language,
        width=width,
        height=height,
        mark=f"{record.picture.sha256[:16]} {record.crop} {record.blurred}",
        picture=lambda: as_shown(record, read_picture(season, record.id, "shown")),
    )
