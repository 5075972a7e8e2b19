"""An error that runs share in known measure: its pattern over the runs, and what is left of it in a contrast."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lossstats.records.estimate import Term


@dataclass(frozen=True, eq=False)
class Pattern:
    """Error of each run, as a multiple of one number of mean 0 and standard deviation 1 that all runs share.

    Attributes
    ----------
    values : ndarray, shape (runs,)
        Sensitivity of each run's level to the source times its standard uncertainty, in the unit of the level.
        The sign counts: runs that the error moves the same way cancel in a difference.
    degrees_of_freedom : float
        Of that standard uncertainty.
    """

    values: NDArray[np.float64]
    degrees_of_freedom: float = math.inf

    def term(self, weights: ArrayLike) -> Term:
        """What the error does to a weighted sum of the runs.

        Parameters
        ----------
        weights : array_like, shape (runs,)
            Weight of each run's level.

        Returns
        -------
        Term
            Standard uncertainty and degrees of freedom.

        Raises
        ------
        ValueError
            Not one weight a run.

        Examples
        --------
        >>> Pattern(np.array([0.25, 0.25])).term([1, -1])
        Term(standard_uncertainty=0.0, degrees_of_freedom=inf)
        """
        w = np.asarray(weights, dtype=np.float64)
        if w.shape != self.values.shape:
            raise ValueError(f"weights: found shape {w.shape}; accepted: {self.values.shape}, one weight a run")
        # Summed exactly, so that what cancels leaves no more than the rounding of the products.
        return Term(abs(math.fsum(w * self.values)), self.degrees_of_freedom)
