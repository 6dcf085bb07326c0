"""Puts up the cards, and draws only those that would look otherwise than the kept ones.

A drawn card is kept in the season's ``.cache/cards`` under a name with its mark; the site has a
copy of it at its fixed address. The folder can be deleted at any time.
"""

import io
from pathlib import Path

from PIL import Image

from lapsekit.safely import remove_leftovers, write_safely
from lapsekit.site.elsewhere.addresses import CARDS
from lapsekit.site.elsewhere.cards import CardTold, card_jpg, card_mark
from lapsekit.site.writing import SiteFolder


def put_cards(folder: SiteFolder, cache: Path, told: CardTold, picture: str) -> list[str]:
    """Put the cards of the latest day into the site.

    Parameters
    ----------
    folder : SiteFolder
        The site; the picture is there already.
    cache : pathlib.Path
        Where drawn cards are kept.
    told : CardTold
        What they say.
    picture : str
        Path of the day's picture in the site, a JPEG whose name carries a hash of its content.

    Returns
    -------
    list of str
        Names of the cards that had to be drawn.

    Raises
    ------
    SiteError
        If a card cannot be written.
    """
    cache.mkdir(parents=True, exist_ok=True)
    remove_leftovers(cache)
    kept = {name: cache / f"{name}-{card_mark(name, told, picture)}.jpg" for name in CARDS}
    missing = [name for name, file in kept.items() if not file.is_file()]
    if missing:
        with Image.open(io.BytesIO((folder.root / picture).read_bytes())) as opened:
            pixels = opened.convert("RGB")
        for name in missing:
            write_safely(kept[name], card_jpg(name, told, pixels))
    for name, path in CARDS.items():
        folder.put(path, kept[name].read_bytes())
    for file in cache.glob("*.jpg"):
        if file not in kept.values():
            file.unlink()
    return missing
