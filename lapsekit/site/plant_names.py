"""Where each plant's own page lies. Pure."""

import hashlib
import re
import unicodedata
from collections import Counter
from collections.abc import Sequence

from lapsekit.settings import Region


def page_names(rows: Sequence[Region], regions: Sequence[Region]) -> dict[str, str]:
    """Names for addresses and files, by the name of a region or of a row.

    Parameters
    ----------
    rows : sequence of Region
        As tables list them: regions, and what stands for a group of them.
    regions : sequence of Region
        Every region by itself.

    Returns
    -------
    dict of str to str
        In the order of `rows`, then what they fold. A region's name is its own. A group is
        ``group_`` and what its name keeps in small letters, digits and hyphens; no region's name
        holds an underscore. Where two groups would share one, each carries a mark of its own.
    """
    own = {region.name for region in regions}
    plain = {row.name: _plain(row.group or "") for row in rows if row.name not in own}
    shared = {name for name, count in Counter(plain.values()).items() if count > 1} | {""}
    found = {row.name: _group(row.name, plain[row.name], shared) for row in rows if
             row.name in plain}  # fmt: skip
    return {each.name: found.get(each.name, each.name) for each in (*rows, *regions)}


def page_path(name: str) -> str:
    """Path in the site of the page with this name."""
    return f"plant/{name}/index.html"


def page_of(path: str) -> str:
    """The name of the page at `path`."""
    return path.split("/")[1]


def _group(name: str, plain: str, shared: set[str]) -> str:
    mark = hashlib.sha256(name.encode()).hexdigest()[:6]
    parts = [part for part in (plain, mark if plain in shared else "") if part]
    return f"group_{'-'.join(parts)}"


def _plain(text: str) -> str:
    bare = unicodedata.normalize("NFKD", text).encode("ascii", "ignore").decode().lower()
    return re.sub(r"[^a-z0-9]+", "-", bare).strip("-")
