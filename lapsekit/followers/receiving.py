"""Stage: what came in, by whichever way -> a record that waits for the grower."""

from dataclasses import dataclass

from lapsekit.followers.arrivals import Arrival
from lapsekit.season import Season


@dataclass(frozen=True, kw_only=True)
class Received:
    """What became of an arrival.

    Attributes
    ----------
    id : str or None
        Of the record that waits now, or that the same arrival made before (if it is still there).
    code : str or None
        The take-down code, told here once: only its hash is kept. None for what was known.
    refused : str or None
        Why nothing was kept, in a sentence for whoever sent it, in English;
        `lapsekit.followers.reasons` has it in other languages.
    is_known : bool
        The same arrival came before; nothing was done.
    is_for_now : bool
        It was refused only for now (too many wait): it may come again.
    notes : tuple of str
        What was dropped or doubtful; also on the record.
    """

    id: str | None = None
    code: str | None = None
    refused: str | None = None
    is_known: bool = False
    is_for_now: bool = False
    notes: tuple[str, ...] = ()


def take_in(season: Season, arrival: Arrival) -> Received:
    """Open a picture in a process of its own, and keep its pixels until the grower decides.

    Parameters
    ----------
    season : Season
    arrival : Arrival
        Any bytes, and a stranger's words.

    Returns
    -------
    Received
        Whatever the bytes are.

    Raises
    ------
    MissingExtra
        If this machine has nothing to confine the process with that opens pictures.
    SeasonBusy
        If the season's texts are held for long.
    """
    raise NotImplementedError
