"""Stage: films that show a frame which is not to be used go, with all that lies beside them.

A frame gets a no, or is judged anew, after films were made that show it. Those that are made again
show it no longer; others would keep it: cuts that were taken out of season.toml, previews, films
made once, stills and teasers beside them.
"""

import shutil
from pathlib import Path

from lapsekit.film.making import PARTS
from lapsekit.film.records import FilmRecord, Films
from lapsekit.film.tracks import BESIDE
from lapsekit.season import Season


def withdraw(season: Season) -> list[Path]:
    """Delete what shows a frame that is not to be used.

    Parameters
    ----------
    season : Season
        The caller holds its stage lock.

    Returns
    -------
    list of pathlib.Path
        Films, and files and folders beside films, that were deleted.
    """
    gone: list[Path] = []
    films = Films(season)
    for name, record in films.records().items():
        gone += _beside(season, films, name, record)
        if season.not_to_be_used(record.shows):
            gone += _film(films, name)
    return gone


def _beside(season: Season, films: Films, name: str, record: FilmRecord) -> list[Path]:
    """Small versions, masters, stills and teasers of a film."""
    found = [each for each, told in record.beside.items() if season.not_to_be_used(told["shows"])]
    for each in found:
        _delete(films.folder / each)
        _delete(films.folder / PARTS / Path(each).stem)
        del record.beside[each]
    if found:
        films.keep(name, record)
    return [films.folder / each for each in found]


def _film(films: Films, name: str) -> list[Path]:
    film = films.file(name)
    there = film.exists()
    for path in (film, *(film.with_name(name + ending) for ending in BESIDE)):
        _delete(path)
    _delete(films.folder / PARTS / name)
    record = films.record(name)
    if record is not None and record.beside:
        films.keep(name, FilmRecord("", [], beside=record.beside, kind=record.kind))
    else:
        films.forget(name)
    return [film] if there else []


def _delete(path: Path) -> None:
    if path.is_dir():
        shutil.rmtree(path)
    else:
        path.unlink(missing_ok=True)
