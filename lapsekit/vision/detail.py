"""How finely a picture's file keeps colours, which decides how a narrow leaf's edges look.

A JPEG mostly keeps colours at half the resolution of lightness, and in steps that grow as its
quality falls (ITU-T T.81, 1992). Leaf and gap a few pixels wide run into each other then: without
knowing, the canopy network takes the same seedlings for 7 % larger in one file and for 11 % smaller
in another.
"""

from dataclasses import dataclass

MOST_COARSE = 0.6
"""Coarser steps than those of quality 70 are told as these: the network has seen no others."""


@dataclass(frozen=True)
class Detail:
    """What the canopy network is told of a picture's colours.

    Attributes
    ----------
    halved : float
        1 where colours are kept at half the resolution of lightness, 0 where at the same, 0.5 where
        at half along one side only.
    coarseness : float
        Steps in which colours are kept, as a share of those in the standard's example tables: 0.4
        at quality 80 of the common encoders; at most `MOST_COARSE`.

    Raises
    ------
    ValueError
        If a number is out of its range.
    """

    halved: float = 0.0
    coarseness: float = 0.0

    def __post_init__(self):
        if not (0 <= self.halved <= 1 and 0 <= self.coarseness <= MOST_COARSE):
            raise ValueError(
                f"halved ({self.halved}) must lie in 0 to 1, coarseness ({self.coarseness}) in 0 "
                f"to {MOST_COARSE}"
            )


WHOLE = Detail()
"""Every pixel has a colour of its own: pictures that were made smaller, drawn, or kept without
loss."""
