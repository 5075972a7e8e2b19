"""Power to claim "no difference that matters": the chance that the whole interval lies within that difference."""

from __future__ import annotations

import math

from lossstats.planning.interval_power import FINE_NODES, half_widths, quick_student_factor, student_factor
from lossstats.planning.power import check_groups
from lossstats.records.argument_checks import above_zero
from lossstats.records.estimate import Term


def equivalence_paired(difference: float, matters: float, sd: float, n: int, *, confidence: float = 0.95) -> float:
    """Chance that the interval of the paired t lies within plus and minus the difference that matters.

    Parameters
    ----------
    difference : float
        True mean difference, in the unit of `sd`.
    matters : float
        The difference that matters, above 0.
    sd : float
        Standard deviation of one pair's difference.
    n : int
        Pairs, at least 2.
    confidence : float, default 0.95
        Of the interval. Both one-sided tests have half of what is left: with 0.95 a wrong claim has a chance of at
        most 2.5 %; 0.90 gives the classical two one-sided tests at 5 %.

    Returns
    -------
    float
        Chance of the verdict "no difference that matters".

    Raises
    ------
    ValueError
        If an argument is out of range.

    Notes
    -----
    Schuirmann (1987), J. Pharmacokinet. Biopharm. 15, 657 (from memory). Averaged over the chi distribution of the
    standard deviation found; within 1e-6 of the limit of many nodes.

    Examples
    --------
    >>> round(equivalence_paired(0.0, 0.25, 0.2, 9), 2)
    0.81
    """
    check_groups(difference, 1 - confidence, ((sd, n, "sd", "n"),))
    above_zero("matters", matters)
    scatter = [Term(sd / math.sqrt(n), n - 1)]
    widths = half_widths(scatter, Term(0.0), student_factor(confidence), nodes=FINE_NODES[1])
    return widths.chance_within(difference, matters)


def equivalence_welch(
    difference: float, matters: float, sd1: float, n1: int, sd2: float, n2: int, *, confidence: float = 0.95
) -> float:
    """Chance that the Welch interval of two independent groups lies within plus and minus the difference that matters.

    Parameters
    ----------
    difference : float
        True difference of the means.
    matters : float
        The difference that matters, above 0.
    sd1 : float
        Standard deviation of the units of the first group.
    n1 : int
        Its units, at least 2.
    sd2 : float
        Standard deviation of the units of the second group.
    n2 : int
        Its units, at least 2.
    confidence : float, default 0.95
        Of the interval.

    Returns
    -------
    float
        Chance of the verdict "no difference that matters".

    Raises
    ------
    ValueError
        If an argument is out of range.

    Notes
    -----
    As `equivalence_paired`, over both sample variances; within 2e-4 of the limit of many nodes.

    Examples
    --------
    >>> round(equivalence_welch(0.0, 0.5, 0.25, 6, 0.25, 6), 2)
    0.73
    """
    check_groups(difference, 1 - confidence, ((sd1, n1, "sd1", "n1"), (sd2, n2, "sd2", "n2")))
    above_zero("matters", matters)
    scatter = [Term(sd / math.sqrt(n), n - 1) for sd, n in ((sd1, n1), (sd2, n2))]
    factor = quick_student_factor(confidence, min(n1, n2) - 1)
    widths = half_widths(scatter, Term(0.0), factor, nodes=FINE_NODES[2])
    return widths.chance_within(difference, matters)
