"""Stage: a season -> its site.

Pictures and media are written first, then the pages that show them, the front page last, and
only then are files of earlier builds removed: whoever publishes or reads the folder while it is
being written finds whole pages. A build writes only what changed.
"""

import hashlib
from dataclasses import dataclass, field
from pathlib import Path

from lapsekit.progress import Track, silent
from lapsekit.reporting import GrowthReport, work_out
from lapsekit.resources import shared_folder
from lapsekit.season import Season
from lapsekit.site.almanac import gather
from lapsekit.site.contents import FRONT, Contents, told_to_every_page
from lapsekit.site.gallery import Gallery
from lapsekit.site.pages import Pages
from lapsekit.site.writing import SiteFolder
from lapsekit.trust import require_trust

TEMPLATES = "site_template"
#: Assets that a page names itself; their names carry a hash, so that caches are safe.
_NAMED = ("style.css", "ribbon.js", "age.js", "zoom.js")


@dataclass(frozen=True)
class SiteReport:
    """What a build did.

    Attributes
    ----------
    front : pathlib.Path
        The front page.
    written, unchanged, removed : int
        Numbers of files.
    pages, pictures : int
        Pages of the site, and daily pictures on them.
    problems : list of str
        What could not be read and was left out, each with what to do.
    """

    front: Path
    written: int
    unchanged: int
    removed: int
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
    almanac = gather(season)
    folder = SiteFolder(season.site)
    gallery = Gallery(season, almanac, folder)
    gallery.show_all(track)
    films, amiss = _films(season, folder)
    templates = [*_own_templates(season), shared_folder(TEMPLATES)]
    assets = _assets(folder, templates)
    growth = growth or work_out(season)
    folder.put("data/daily.csv", growth.daily.as_csv().encode())
    told = told_to_every_page(almanac, assets)
    site = Contents(season, almanac, gallery, Pages(templates, told), films, growth)
    pages = site.pages()
    for path, template, facts in track(pages, len(pages), "pages"):
        folder.put(path, site.render(path, template, facts))
    removed = folder.remove_strays()
    gallery.forget_old_slices()
    return SiteReport(
        front=season.site / FRONT,
        written=len(folder.written),
        unchanged=folder.unchanged,
        removed=len(removed),
        pages=len(pages),
        pictures=sum(len(days) for days in almanac.pictures.values()),
        problems=[*almanac.problems, *amiss],
    )


def _assets(folder: SiteFolder, templates: list[Path]) -> dict[str, str]:
    """Copy style, script and fonts; the grower's own come before the shipped ones."""
    found: dict[str, Path] = {}
    for place in templates:
        for file in sorted(place.rglob("*")):
            name = file.relative_to(place).as_posix()
            hidden = any(part.startswith(".") for part in Path(name).parts)
            if file.is_file() and file.suffix != ".html" and not hidden:
                found.setdefault(name, file)
    paths = {}
    for name, file in found.items():
        data = file.read_bytes()
        if name in _NAMED:
            stem, suffix = name.split(".")
            name_in_site = f"{stem}-{hashlib.sha256(data).hexdigest()[:10]}.{suffix}"
        else:
            name_in_site = name
        paths[name] = f"assets/{name_in_site}"
        folder.put(paths[name], data)
    return paths


def _own_templates(season: Season) -> list[Path]:
    """The season's own templates; they can run anything, and ask for trust."""
    own = season.folder / TEMPLATES
    if not own.is_dir():
        return []
    require_trust(season.folder, f"build its site with templates of its own ({own})")
    return [own]


def _films(season: Season, folder: SiteFolder) -> tuple[dict[str, str], list[str]]:
    """Copy the film of each camera that has one; their paths in the site, and what is amiss."""
    films, problems = {}, []
    for camera in season.settings.cameras:
        source = season.film_file(camera)
        if season.film_may_be_shown(camera):
            films[camera] = f"film/{source.name}"
            folder.copy(source, films[camera])
        elif source.is_file():
            problems.append(
                f"{source}: not on the site, since it shows frames that are not to be used (any "
                "more), or nobody knows which; run lapsekit film, then lapsekit site"
            )
    return films, problems
