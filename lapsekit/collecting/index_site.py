"""Stage: a collection -> one index page over the sites of its seasons.

Pictures are written first, the front page last, and only then are files of earlier builds removed.
"""

from dataclasses import dataclass, field
from pathlib import Path

from lapsekit.collecting.cards import Card, card_of, why_not_shown
from lapsekit.collecting.members import Broken, Collection, Member, in_turn
from lapsekit.collecting.sections import FRONT, NOW, in_sections, sheets
from lapsekit.errors import SettingsError, SiteError
from lapsekit.language.words import Words
from lapsekit.progress import Track, silent
from lapsekit.resources import shared_folder
from lapsekit.safely import write_safely
from lapsekit.season import Season
from lapsekit.site.contents import Page
from lapsekit.site.pages import Pages
from lapsekit.site.pieces import Shelf
from lapsekit.site.writing import SiteFolder, asset_path
from lapsekit.when import Clock, system_clock

OURS = ".lapsekit-collection"
"""Lies in a folder that holds an index: every file of its folders is ours, and may be deleted."""

_FOLDERS = ("pictures", "assets", "year", NOW)
_HERE = Path(__file__).parent
_SHARED = ("style.css", "icon.svg")


@dataclass(frozen=True)
class IndexReport:
    """What a build did.

    Attributes
    ----------
    front : pathlib.Path
    seasons, pages : int
        Seasons that are shown.
    written, removed : list of str
    unchanged : int
    unlinked : list of str
        Seasons whose card leads nowhere.
    nearby : list of str
        Seasons whose card leads to a folder beside the index.
    left_out : dict of str to str
        Seasons that are not shown, and why.
    problems : list of str
        Pictures that could not be read.
    broken : list of Broken
    """

    front: Path
    seasons: int
    pages: int
    written: list[str]
    unchanged: int
    removed: list[str]
    unlinked: list[str] = field(default_factory=list)
    nearby: list[str] = field(default_factory=list)
    left_out: dict[str, str] = field(default_factory=dict)
    problems: list[str] = field(default_factory=list)
    broken: list[Broken] = field(default_factory=list)


def build_index(
    collection: Collection, out: Path, track: Track = silent, clock: Clock = system_clock
) -> IndexReport:
    """Build the index of a collection, or bring it up to date.

    Seasons are read, not changed; their own sites are not built. Those that are published are
    shown, and others only if the collection's file says so.

    Parameters
    ----------
    collection : Collection
    out : pathlib.Path
        A new folder, or one that holds an index already.
    track : Track
        Told how far the work is.
    clock : Clock
        Says which seasons are over.

    Raises
    ------
    SettingsError
        If the folder holds something else.
    SiteError
        If a file cannot be written, there is no catalogue of the language, or some season cannot
        be read and no other is to be shown.
    """
    words = Words(collection.language)
    _require_ours(out)
    folder = SiteFolder(out, _FOLDERS)
    cards: list[Card] = []
    report = IndexReport(out / FRONT, 0, 0, folder.written, 0, [], broken=list(collection.absent))

    def work(season: Season, member: Member) -> tuple[Card, list[str]] | str:
        return why_not_shown(season, member) or card_of(season, member, collection, folder)

    turn = in_turn(collection, work, clock)
    for done in track(turn, len(collection.members), "seasons"):
        if done.broken:
            report.broken.append(done.broken)
            continue
        if isinstance(done.result, str):
            report.left_out[done.member.key] = done.result
            continue
        card, problems = done.result
        cards.append(card)
        report.problems.extend(problems)
        if card.link is None:
            report.unlinked.append(done.member.key)
        elif "://" not in card.link:
            report.nearby.append(done.member.key)
    if report.broken and not cards:
        raise SiteError(
            f"{out}: no season of {collection.file} that could be read is to be shown, so the "
            f"index stays as it was; {report.broken[0].why}"
        )
    pages = _write_pages(collection, cards, folder, words)
    removed = folder.remove_strays()
    done = {"seasons": len(cards), "pages": pages, "unchanged": folder.unchanged}
    return IndexReport(**{**vars(report), **done, "removed": removed})


def _require_ours(out: Path) -> None:
    """Refuse a folder of something else: what is not of the index would be deleted there."""
    if out.exists() and not (out / OURS).is_file() and (not out.is_dir() or any(out.iterdir())):
        raise SettingsError(f"--out {out}: it is not empty and holds no index; name a new folder")
    out.mkdir(parents=True, exist_ok=True)
    write_safely(out / OURS, b"lapsekit collection site writes this folder\n")


def _write_pages(
    collection: Collection, cards: list[Card], folder: SiteFolder, words: Words
) -> int:
    shared = {
        "title": collection.title,
        "assets": _assets(folder),
        "seasons": len(cards),
        "growing": sum(not card.is_over for card in cards),
    }
    renderer = Pages([_HERE / "templates"], words, shared, Shelf(folder.root / ".cache", ""))
    found = list(sheets(in_sections(cards)))
    for sheet in found:
        page = Page(sheet.path, "collection.html", vars(sheet))
        folder.put(sheet.path, renderer.render(page, None))
    return len(found)


def _assets(folder: SiteFolder) -> dict[str, str]:
    """Put up the style of season sites, its fonts, and our own."""
    site = shared_folder("site_template")
    fonts = [f"fonts/{file.name}" for file in sorted((site / "fonts").iterdir()) if file.is_file()]
    files = {name: site / name for name in (*_SHARED, *fonts)}
    files["collection.css"] = _HERE / "static" / "collection.css"
    contents = {name: file.read_bytes() for name, file in files.items()}
    paths = {name: asset_path(name, data) for name, data in contents.items()}
    for name, data in contents.items():
        folder.put(paths[name], data)
    return paths
