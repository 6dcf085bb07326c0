"""Ids that stay the same for ever, made of the season's own name. Pure."""

from uuid import UUID, uuid5

#: Names below this one are lapsekit's; the number was drawn once and never changes.
_LAPSEKIT = UUID("0f1b6a43-7d0e-4c6e-9a55-6b8f3f1c2d77")


def identity(own_name: str, *of: object) -> UUID:
    """The id of something in a season.

    Parameters
    ----------
    own_name : str
        The season's own name.
    *of
        What it is: ``identity(name, "day", date(2031, 5, 3))``.

    Returns
    -------
    uuid.UUID
        A name-based one (RFC 9562, version 5): equal parts give the same id.
    """
    season = uuid5(_LAPSEKIT, own_name)
    return uuid5(season, "\n".join(map(str, of)).encode("utf-8", "replace").decode())


def urn(own_name: str, *of: object) -> str:
    """The same as a URN, as feeds want it."""
    return identity(own_name, *of).urn
