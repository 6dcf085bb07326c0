"""Banded symmetric matrices: their factors, what they solve, and their inverse near the diagonal.

All costs go with the size of the matrix, not with its cube.
"""

import numpy as np
from scipy.linalg.lapack import dpbtrf, dpbtrs, dtbtrs


def factors(bands: np.ndarray) -> np.ndarray:
    """Cholesky factors of positive definite matrices.

    Parameters
    ----------
    bands : ndarray, shape (c, b + 1, n)
        `bands[:, k, i]` is the entry in row i + k and column i.

    Returns
    -------
    ndarray, shape (c, b + 1, n)
        The lower factors, stored in the same way.

    Raises
    ------
    numpy.linalg.LinAlgError
        A matrix is not positive definite.
    """
    found = np.empty_like(bands)
    for place, matrix in enumerate(bands):
        found[place], failed = dpbtrf(matrix, lower=1)
        if failed:
            raise np.linalg.LinAlgError(f"matrix {place} is not positive definite")
    return found


def solved(factor: np.ndarray, right: np.ndarray) -> np.ndarray:
    """What a factored matrix (b + 1, n) times it makes the right side (n, m)."""
    return dpbtrs(factor, right, lower=1)[0]


def halved(factor: np.ndarray, right: np.ndarray) -> np.ndarray:
    """What the factor itself times it makes the right side: its squares sum to right' A⁻¹ right."""
    return dtbtrs(factor, right, uplo="L")[0]


def log_determinants(lower: np.ndarray) -> np.ndarray:
    """Log determinants of factored matrices (c, b + 1, n)."""
    return 2 * np.log(lower[:, 0]).sum(axis=1)


class NearInverse:
    """The inverses of factored matrices, as far as they are wanted beside the diagonal.

    From the last row to the first, each row follows from the b rows after it (Takahashi, Fagan &
    Chen 1973, Proc. 8th PICA Conference: 63–69).

    Parameters
    ----------
    lower : ndarray, shape (c, b + 1, n)
    width : int
        Entries wanted to the right of the diagonal, b or more.
    """

    def __init__(self, lower: np.ndarray, width: int):
        casts, band, n = lower.shape[0], lower.shape[1] - 1, lower.shape[2]
        self.width, self._left = width, band - 1
        # Row i holds columns i - b + 1 to i + width; rows past the end are zero
        self._rows = np.zeros((n + band, band + width, casts))
        row, column, cast = self._rows.strides
        # [i, k] is row i + 1 + k from column i + 1 on: each begins one place further left
        after = np.lib.stride_tricks.as_strided(
            self._rows[1:, band - 1 :],
            (n, band, width, casts),
            (row, row - column, column, cast),
            writeable=False,
        )
        below = np.lib.stride_tricks.as_strided(
            self._rows[1:, band - 2 :], (n, band - 1, casts), (row, row - column, cast)
        )
        steps = np.ascontiguousarray((lower[:, 1:] / lower[:, :1]).transpose(2, 1, 0))
        own = np.ascontiguousarray(lower[:, 0].T ** -2)
        for i in range(n - 1, -1, -1):
            self._rows[i, band:] = beside = -np.einsum("kc,kwc->wc", steps[i], after[i])
            self._rows[i, band - 1] = own[i] - (steps[i] * beside[:band]).sum(axis=0)
            below[i] = beside[: band - 1]

    def at(self, row: np.ndarray, beyond: np.ndarray | int) -> np.ndarray:
        """Entries in rows and `beyond` columns right of the diagonal; casts on the last axis."""
        return self._rows[row, self._left + beyond]
