"""Stage: a season -> its site.

Pictures and media are written first, then the pages that show them, the front page last, and
only then are files of earlier builds removed: whoever publishes or reads the folder while it is
being written finds whole pages. A build writes only what changed.
"""

from dataclasses import dataclass, field
from pathlib import Path

from lapsekit.errors import SiteError
from lapsekit.followers.showing import mark_of_shown, note_on_site, shown
from lapsekit.language.words import Words
from lapsekit.progress import Track, silent
from lapsekit.reporting import GrowthReport, work_out
from lapsekit.resources import shared_folder
from lapsekit.season import Season
from lapsekit.site import season_data, season_pages
from lapsekit.site.all_pages import pages
from lapsekit.site.almanac import gather
from lapsekit.site.contents import FRONT, Whole
from lapsekit.site.cropping import plants_of, show_crops
from lapsekit.site.elsewhere import putting
from lapsekit.site.elsewhere.heads import head_mark, head_of
from lapsekit.site.film_page import put_up_films
from lapsekit.site.followed import show_pairs
from lapsekit.site.followers_pages import own_notice
from lapsekit.site.gallery import Gallery
from lapsekit.site.growth_facts import curve_files
from lapsekit.site.ledger import Ledger
from lapsekit.site.pages import Pages
from lapsekit.site.photographs import put_photographs
from lapsekit.site.pieces import Shelf
from lapsekit.site.weeks import hold
from lapsekit.site.writing import SiteFolder, asset_path
from lapsekit.site.yours_page import put_rule
from lapsekit.trust import require_trust

TEMPLATES = "site_template"
_MOST_BUILDS = 4
#: Kinds of file in the template folder that readers get.
_SENT = (
    *(".css", ".js", ".wasm", ".woff2", ".txt"),
    *(".svg", ".png", ".jpg", ".webp", ".avif", ".ico"),
)


@dataclass(frozen=True)
class SiteReport:
    """What a build did.

    Attributes
    ----------
    front : pathlib.Path
        The front page.
    written, removed : list of str
        Paths, relative to the site, of files that were new or changed, and of those deleted.
    unchanged : int
        How many files were already as they should be.
    pages, pictures : int
        Pages of the site, and daily pictures on them.
    problems : list of str
        What could not be read and was left out, each with what to do.
    """

    front: Path
    written: list[str]
    unchanged: int
    removed: list[str]
    pages: int
    pictures: int
    problems: list[str] = field(default_factory=list)


def build_site(
    season: Season, track: Track = silent, growth: GrowthReport | None = None
) -> SiteReport:
    """Build the season's site, or bring it up to date.

    Parameters
    ----------
    season : Season
        The season; its catalogue is read, not changed.
    track : Track
        Told how far the work is.
    growth : GrowthReport, optional
        The season's growth as it stands, if the caller has just worked it out.

    Returns
    -------
    SiteReport

    Raises
    ------
    NotTrusted
        If the season folder has templates of its own and is not trusted.
    SiteError
        If a file cannot be written or a template cannot be used; the front page then still is
        the one of the build before.
    """
    growth, decided = growth or work_out(season), mark_of_shown(season)
    almanac = gather(season, growth.values)
    folder = SiteFolder(season.site)
    gallery = Gallery(season, almanac, folder)
    gallery.show_all(track)
    films, amiss = put_up_films(season, folder)
    held, unread = hold(season, almanac, gallery, folder)
    plants = plants_of(almanac) | {region.name: [region] for region in almanac.regions}
    crops = show_crops(season, almanac, folder, gallery.sights, plants, track)
    rule, unruled = put_rule(season, folder)
    photographs, unshown = put_photographs(season.folder, almanac.events, folder)
    pairs, unseen = show_pairs(season, almanac, folder, gallery.sights)
    notice, unnoticed = own_notice(season)
    told = (films, growth, held, crops, rule, photographs, tuple(pairs), notice)
    whole = Whole(season, almanac, gallery, *told)
    shelf = Shelf(season.folder / ".cache" / "pieces", whole.standing)
    _put_data(whole, folder)
    count = _write_pages(whole, folder, shelf, track)
    shelf.forget_all_but(folder.own)
    removed = folder.remove_strays()
    gallery.forget_old_slices()
    note_on_site(season, decided)
    return SiteReport(
        front=season.site / FRONT,
        written=folder.written,
        unchanged=folder.unchanged,
        removed=removed,
        pages=count,
        pictures=sum(len(days) for days in almanac.pictures.values()),
        problems=[
            *almanac.problems,
            *amiss,
            *unread,
            *unruled,
            *unshown,
            *unseen,
            *unnoticed,
        ],
    )


def build_for_readers(
    season: Season, track: Track = silent, growth: GrowthReport | None = None
) -> SiteReport:
    """Build the site that is sent next: as `build_site`, again if a yes was taken back.

    Raises
    ------
    SiteError
        As `build_site`; or if what may be shown changes each time.
    """
    for _ in range(_MOST_BUILDS):
        before = shown(season)
        report = build_site(season, track, growth)
        if shown(season) == before:
            return report
    raise SiteError(
        f"{season.site}: which pictures of followers may be shown changed during each of "
        f"{_MOST_BUILDS} builds; nothing is sent. Publish again once all are decided"
    )


def _put_data(whole: Whole, folder: SiteFolder) -> None:
    """Put up what scripts read and readers take away."""
    files = {
        **dict(curve_files(whole.almanac, whole.curves)),
        season_data.PATH: season_data.season_script(whole),
    }
    for path, content in files.items():
        folder.put(path, content)
    putting.put_media(whole, folder)


def _write_pages(whole: Whole, folder: SiteFolder, shelf: Shelf, track: Track) -> int:
    """Write every page that changed, and what names them; how many pages there are."""
    season, almanac = whole.season, whole.almanac
    templates = [*_own_templates(season), shared_folder(TEMPLATES)]
    assets = _assets(folder, templates, almanac.words)
    shared = {
        **{"title": almanac.title, "sown": almanac.sown, "assets": assets},
        "has": season_pages.kinds(whole),
    }
    renderer = Pages(templates, almanac.words, shared, shelf)
    common = (renderer.mark, head_mark(whole), whole.standing)
    ledger = Ledger(season.folder / ".cache" / "pages.json", season.site, common)
    found = list(pages(whole))
    for page in track(found, len(found), "pages"):
        mark = ledger.mark(page)
        if page.path == FRONT:
            putting.put_tellers(whole, folder, found)
        if not (ledger.is_current(page, mark) and folder.has(page.path)):
            folder.put(page.path, renderer.render(page, head_of(whole, page)))
        ledger.note(page, mark)
    ledger.save()
    return len(found)


def _assets(folder: SiteFolder, templates: list[Path], words: Words) -> dict[str, str]:
    """Copy style, scripts and fonts; the grower's own come before the shipped ones."""
    found: dict[str, Path] = {}
    for place in templates:
        for file in sorted(place.rglob("*")):
            name = file.relative_to(place).as_posix()
            hidden = any(part.startswith(".") for part in Path(name).parts)
            if file.is_file() and file.suffix in _SENT and not hidden:
                found.setdefault(name, file)
    contents = {name: file.read_bytes() for name, file in found.items()}
    contents["words.js"] += words.for_scripts()
    paths = {name: asset_path(name, data) for name, data in contents.items()}
    told = {name: path for name, path in paths.items() if name != "words.js"}
    contents["words.js"] += season_data.as_script("assets", told)
    paths["words.js"] = asset_path("words.js", contents["words.js"])
    for name, data in contents.items():
        folder.put(paths[name], data)
    return paths


def _own_templates(season: Season) -> list[Path]:
    """The season's own templates; they can run anything, and ask for trust."""
    own = season.folder / TEMPLATES
    if not own.is_dir():
        return []
    require_trust(season.folder, f"build its site with templates of its own ({own})")
    return [own]
