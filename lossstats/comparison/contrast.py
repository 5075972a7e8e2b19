"""A comparison as linear algebra: weights on unit values, and what each source of error does to them."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lossstats.records.estimate import Term, combine

Array = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Contrast:
    """An estimate that is linear in the unit values: the sum over groups of the mean of each group's rows.

    Attributes
    ----------
    groups : tuple of ndarray, shape (units, cells)
        One array a group of independent units; a row turns the cell values into that unit's contribution.
        A cell is one unit in one condition: before first, then after, then the controls in the same order.
    """

    groups: tuple[Array, ...]

    @property
    def weights(self) -> Array:
        """Weight of each cell in the estimate, shape (cells,).

        Returns
        -------
        ndarray, shape (cells,)
            They sum to 0 for a difference.
        """
        return np.sum([rows.mean(axis=0) for rows in self.groups], axis=0)  # type: ignore[no-any-return]

    def value(self, cells: Array) -> float:
        """The estimate.

        Parameters
        ----------
        cells : ndarray, shape (cells,)
            Unit values.

        Returns
        -------
        float
            Weighted sum.
        """
        return math.fsum(self.weights * cells)

    def scatter(self, cells: Array) -> Term:
        """Type A uncertainty from the scatter between units within each group.

        Parameters
        ----------
        cells : ndarray, shape (cells,)
            Unit values.

        Returns
        -------
        Term
            One group: the paired t. Two groups: Welch (1947), with Welch-Satterthwaite degrees of freedom.
        """
        contributions = [rows @ cells for rows in self.groups]
        return combine([Term(float(np.std(c, ddof=1)) / math.sqrt(len(c)), len(c) - 1) for c in contributions])

    def hidden(self, covariance: Array) -> float:
        """Standard uncertainty that a shared covariance causes beyond what the scatter already shows.

        Parameters
        ----------
        covariance : ndarray, shape (cells, cells)
            Covariance of an error that the cells share, for example of the drift correction.

        Returns
        -------
        float
            Root of the excess; 0 if the scatter shows all of it.

        Notes
        -----
        With K the covariance, the true variance of the contrast is c'Kc; the expected part of it that appears
        in the scatter of group g is [tr K_g - 1'K_g 1/n_g] / ((n_g - 1) n_g).
        """
        true = self.weights @ covariance @ self.weights
        seen = 0.0
        for rows in self.groups:
            n = len(rows)
            if n == 1:  # one unit shows no scatter
                continue
            own = rows @ covariance @ rows.T
            seen += (np.trace(own) - own.sum() / n) / ((n - 1) * n)
        hidden = float(true - seen)
        # What cancels but for rounding is nothing; its root would look like something.
        rounding = 1e-13 * float(np.abs(self.weights) @ np.abs(covariance) @ np.abs(self.weights))
        return math.sqrt(hidden) if hidden > rounding else 0.0

    def rescaled(self, factors: Array) -> Contrast:
        """The contrast of cells multiplied by fixed factors.

        Parameters
        ----------
        factors : ndarray, shape (cells,)
            Factor of each cell.

        Returns
        -------
        Contrast
            With every row multiplied.
        """
        return Contrast(tuple(rows * factors for rows in self.groups))


def paired_contrast(n: int) -> Contrast:
    """Before minus after of `n` articles: one group of pairs.

    Parameters
    ----------
    n : int
        Articles.

    Returns
    -------
    Contrast
        Over 2 n cells.
    """
    return Contrast((np.hstack([np.eye(n), -np.eye(n)]),))


def group_contrast(n_before: int, n_after: int) -> Contrast:
    """Mean before minus mean after of independent articles: two groups.

    Parameters
    ----------
    n_before, n_after : int
        Articles in each condition.

    Returns
    -------
    Contrast
        Over n_before + n_after cells.
    """
    return Contrast((_block(n_before, 0, n_after), -_block(n_after, n_before, 0)))


def controlled_contrast(n: int, n_control: int) -> Contrast:
    """Change of the treated less change of the untouched: two groups of pairs.

    Parameters
    ----------
    n : int
        Treated articles.
    n_control : int
        Untouched articles, run in both sessions.

    Returns
    -------
    Contrast
        Over 2 n + 2 n_control cells: before, after, control before, control after.
    """
    treated = np.hstack([paired_contrast(n).groups[0], np.zeros((n, 2 * n_control))])
    untouched = np.hstack([np.zeros((n_control, 2 * n)), -paired_contrast(n_control).groups[0]])
    return Contrast((treated, untouched))


def crossover_contrast(after_first: NDArray[np.bool_]) -> Contrast:
    """Before minus after of articles in two orders: the mean of the two order means, in which a period effect cancels.

    Parameters
    ----------
    after_first : ndarray of bool, shape (articles,)
        Whether the article was measured after first.

    Returns
    -------
    Contrast
        Over 2 n cells, one group an order.
    """
    pairs = paired_contrast(len(after_first)).groups[0] / 2
    return Contrast((pairs[~after_first], pairs[after_first]))


def _block(n: int, zeros_before: int, zeros_after: int) -> Array:
    return np.hstack([np.zeros((n, zeros_before)), np.eye(n), np.zeros((n, zeros_after))])
