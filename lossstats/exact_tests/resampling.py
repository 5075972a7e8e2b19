"""Exact tests of a difference: paired sign-flip and two-group permutation."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from fractions import Fraction

import numpy as np

from lossstats.exact_tests.checked_units import checked_units
from lossstats.exact_tests.lattice import Array, Lattice, on_lattice
from lossstats.exact_tests.relabelling import Draw, draw_allocations, draw_signs
from lossstats.exact_tests.subset_counts import FlipSums, cheaper, sign_sums_at_most
from lossstats.exact_tests.typical_values import TypicalValues, rank_for
from lossstats.records.estimate import Interval, check_confidence
from lossstats.records.rendering import Record

MOST_OFF_LATTICE = 2 * 10**8  # with more, sums of floats lie so densely that ties by chance are to be expected
_TIE = 1e-11  # relative to the sum of all sizes: sums of floats that differ by less are one number


@dataclass(frozen=True)
class ExactTest(Record):
    """An exact test over all relabellings of the units.

    Attributes
    ----------
    p_value : float
        Two-sided.
    fraction : Fraction or None
        The same, exact: relabellings at least as extreme over all relabellings. None for drawn relabellings.
    smallest_p : float
        Smallest p that this number of units, or of drawn relabellings, can reach.
    relabellings : int
        All relabellings, or those drawn.
    statistic : str
        What is compared.
    notes : tuple of str
        What must be known to read the p.
    monte_carlo_uncertainty : float or None
        Binomial standard uncertainty of a p from drawn relabellings; None for an exact p.
    """

    p_value: float
    fraction: Fraction | None
    smallest_p: float
    relabellings: int
    statistic: str
    notes: tuple[str, ...] = ()
    monte_carlo_uncertainty: float | None = None
    _typical: TypicalValues | None = field(repr=False, compare=False, default=None)

    title = "Exact test"

    def interval(self, confidence: float = 0.95) -> Interval:
        """Interval that inverts the test.

        Parameters
        ----------
        confidence : float, default 0.95
            Wanted confidence; the interval has at least this.

        Returns
        -------
        Interval
            All shifts that neither one-sided test at half of 1 - confidence would refuse. Unbounded on both sides
            where so few units cannot reach the confidence.

        Raises
        ------
        ValueError
            If the confidence is not between 0 and 1, or the relabellings are too many to count for each shift.

        Notes
        -----
        Its ends are typical values (Hartigan, 1969). Up to 4096 sign patterns are listed; otherwise the end is
        found by bisection, counting for each shift. On the lattice the end is exact.
        """
        check_confidence(confidence)
        among = self.relabellings + (0 if self.fraction is not None else 1)
        k = rank_for(confidence, among)
        if k < 1 or self._typical is None:
            return Interval(-math.inf, math.inf)
        return Interval(*self._typical.limits(k))

    def _rows(self) -> list[tuple[str, str]]:
        if self.fraction is None:
            p = f"{self.p_value:.4g} ± {self.monte_carlo_uncertainty:.1g} ({self.relabellings} relabellings drawn)"
        else:
            p = f"{self.p_value:.4g} ({self.fraction * self.relabellings} of {self.relabellings} relabellings)"
        return [
            ("p", p),
            ("smallest p reachable", f"{self.smallest_p:.4g}"),
            ("statistic", self.statistic),
            *(("note", note) for note in self.notes),
        ]


def sign_flip(
    differences: object,
    *,
    step: float | None = None,
    level: float = 0.05,
    monte_carlo: int | None = None,
    rng: np.random.Generator | int | None = None,
) -> ExactTest:
    r"""Test paired differences exactly: under no effect each is as likely to have either sign.

    Parameters
    ----------
    differences : mapping, pandas.Series or sequence of float
        One difference a unit. On the lattice 40 pairs take less than a millisecond; off it up to 27 are counted.
    step : float, optional
        The step of which all differences are multiples: the display step, or a third of it for means of three
        mounts. By default it is found where the differences are decimal numbers of at most six places.
    level : float, default 0.05
        A note says so if so few units cannot reach it.
    monte_carlo : int, optional
        Relabellings to draw where they are too many off the lattice; without it such a case is refused.
    rng : Generator or int, optional
        Source of the drawn relabellings; required with `monte_carlo`.

    Returns
    -------
    ExactTest
        Statistic: absolute mean difference, which for sign flips orders as \|t\| does.

    Raises
    ------
    ValueError
        If there are fewer than 2 differences, one is not finite or no multiple of `step`, there are more off the
        lattice than can be counted and `monte_carlo` is not given, or that is given without `rng`.

    Notes
    -----
    Exact for differences distributed symmetrically about 0. Not the main test below six pairs: five cannot
    reach 0.05. Fisher (1935), The Design of Experiments, section 21 (from memory). Ties count in full. A drawn
    p is (hits + 1) / (drawn + 1), the labels themselves being one of the relabellings: never 0, and valid as it
    is (Phipson and Smyth, 2010, Stat. Appl. Genet. Mol. Biol. 9, 39, from memory).

    Examples
    --------
    >>> sign_flip([0.8, 0.6, 0.3, -0.1, 1.1, -0.2, 0.3, 0.5, 0.5, 0.3]).fraction
    Fraction(7, 512)
    """
    d = checked_units("differences", differences)
    relabellings = 2 ** len(d)
    lattice = on_lattice("differences", (d,), step)
    typical = TypicalValues((d,), lattice, relabellings, _TIE * float(np.abs(d).sum()))
    statistic, smallest = "absolute mean difference", 2 / relabellings
    if lattice is None and relabellings > MOST_OFF_LATTICE:
        _refuse_or_go_on("differences", f"{len(d)} pairs, 2**{len(d)} relabellings", monte_carlo, rng)
        return _drawn(draw_signs(d, int(monte_carlo or 0), rng), statistic, level, typical)
    count = _flips_as_extreme(d, lattice, typical.tolerance)
    if count is None:
        _refuse_or_go_on("differences", f"{len(d)} pairs over too many steps to count", monte_carlo, rng)
        return _drawn(draw_signs(d, int(monte_carlo or 0), rng), statistic, level, typical)
    return _exact(count, smallest, statistic, level, typical, monte_carlo)


def permute_groups(
    a: object,
    b: object,
    *,
    step: float | None = None,
    level: float = 0.05,
    monte_carlo: int | None = None,
    rng: np.random.Generator | int | None = None,
) -> ExactTest:
    """Test two groups exactly: under no effect every allocation of the units to the groups is as likely.

    Parameters
    ----------
    a, b : mapping, pandas.Series or sequence of float
        One value a unit. On the lattice 25 against 25 take milliseconds; off it up to 15 against 15 are counted.
    step : float, optional
        The step of which all values are multiples, as in `sign_flip`.
    level : float, default 0.05
        A note says so if so few units cannot reach it.
    monte_carlo : int, optional
        Allocations to draw where they are too many off the lattice; without it such a case is refused.
    rng : Generator or int, optional
        Source of the drawn allocations; required with `monte_carlo`.

    Returns
    -------
    ExactTest
        Statistic: absolute difference of the group means, a minus b in the interval.

    Raises
    ------
    ValueError
        If a group has fewer than 2 units, a value is not finite or no multiple of `step`, there are more
        allocations than can be counted and `monte_carlo` is not given, or that is given without `rng`.

    Notes
    -----
    Exact only if the two conditions differ by nothing but a shift: with standard deviations 1 to 4 its size is
    6 to 8 % where 5 % is promised. Pitman (1937), Suppl. J. R. Stat. Soc. 4, 119 (from memory). Groups of unequal
    size: p counts both tails by the absolute difference, the interval puts half of the risk into each tail.

    Examples
    --------
    >>> permute_groups([6.61, 6.40, 6.71, 6.52], [7.10, 6.84, 7.32, 6.95]).fraction
    Fraction(1, 35)
    """
    x, y = checked_units("a", a), checked_units("b", b)
    allocations = math.comb(len(x) + len(y), len(x))
    lattice = on_lattice("a, b", (x, y), step)
    centre = float(np.concatenate([x, y]).mean())  # taken out of floats, lest their sums lose digits to it
    moved = (x - centre, y - centre)
    rounded = 2.0**-51 * (len(x) + len(y)) * abs(centre)  # what the values lost when they were rounded to floats
    tolerance = _TIE * float(np.abs(moved[0]).sum() + np.abs(moved[1]).sum()) + rounded
    typical = TypicalValues(moved, lattice, allocations, tolerance)
    statistic, smallest = "absolute difference of group means", (2 if len(x) == len(y) else 1) / allocations
    if lattice is None and allocations > MOST_OFF_LATTICE:
        _refuse_or_go_on("a, b", f"{len(x)} and {len(y)} units, {allocations} allocations", monte_carlo, rng)
        return _drawn(draw_allocations(*moved, int(monte_carlo or 0), rng), statistic, level, typical)
    count = _swaps_as_extreme(moved, lattice, allocations, tolerance)
    if count is None:
        _refuse_or_go_on("a, b", f"{len(x)} and {len(y)} units over too many steps to count", monte_carlo, rng)
        return _drawn(draw_allocations(*moved, int(monte_carlo or 0), rng), statistic, level, typical)
    return _exact(count, smallest, statistic, level, typical, monte_carlo)


def _flips_as_extreme(d: Array, lattice: Lattice | None, tolerance: float) -> int | None:
    """Sign patterns at least as extreme: twice the subsets of sizes of which so little is turned."""
    if lattice is not None:
        sizes = np.abs(lattice.steps[0])
        observed = abs(int(lattice.steps[0].sum()))
        if observed == 0:
            return 1 << len(d)
        few = sign_sums_at_most(sizes, (int(sizes.sum()) - observed) // 2)
        return None if few is None else 2 * few
    sizes_w, observed_w = np.abs(d), abs(float(d.sum()))
    if observed_w <= tolerance:
        return 1 << len(d)
    return 2 * FlipSums(sizes_w, tolerance).at_most((float(sizes_w.sum()) - observed_w) / 2)


def _swaps_as_extreme(
    groups: tuple[Array, ...], lattice: Lattice | None, allocations: int, tolerance: float
) -> int | None:
    """Allocations at least as extreme, counted by what they swap; None if that would take too long.

    With D the sum that leaves group a less the sum that enters, the mean difference is proportional to
    `deviation` - N D: as extreme are D <= 0 and D >= 2 deviation / N, for a deviation that is not negative.
    """
    x, y = (np.asarray(values) for values in (lattice.steps if lattice is not None else groups))
    n, m = len(x), len(y)
    deviation = (m * x.sum() - n * y.sum()).item()
    if deviation < 0:
        x, y, deviation = y, x, -deviation
    if deviation <= (0 if lattice is not None else tolerance):
        return allocations
    counter = cheaper((x, y), 0 if lattice is not None else tolerance)
    if counter is None:
        return None
    upper = counter.at_most(0)
    if n == m:  # the mirror of an allocation is an allocation
        return 2 * upper
    if lattice is not None:
        return upper + allocations - counter.at_most(-(-2 * deviation // (n + m)) - 1)
    return upper + allocations - counter.at_most(2 * deviation / (n + m) - 2 * tolerance)


def _refuse_or_go_on(names: str, found: str, monte_carlo: int | None, rng: np.random.Generator | int | None) -> None:
    if monte_carlo is None:
        raise ValueError(
            f"{names}: found {found}; accepted: at most {MOST_OFF_LATTICE} relabellings of values that are no "
            "multiples of one step; step= if they are multiples of one; or monte_carlo= with rng= for a p from drawn "
            "relabellings"
        )
    if monte_carlo < 99 or rng is None:
        raise ValueError(
            f"monte_carlo, rng: found {monte_carlo!r}, {rng!r}; accepted: at least 99 relabellings to draw, and a "
            "Generator or an integer, so that the p can be had again"
        )


def _exact(
    count: int, smallest: float, statistic: str, level: float, typical: TypicalValues, monte_carlo: int | None
) -> ExactTest:
    fraction = Fraction(count, typical.relabellings)
    notes = _low_power(smallest, level)
    if monte_carlo is not None:
        notes += ("all relabellings were counted; none was drawn",)
    return ExactTest(float(fraction), fraction, smallest, typical.relabellings, statistic, notes, None, typical)


def _drawn(draw: Draw, statistic: str, level: float, typical: TypicalValues) -> ExactTest:
    p = (draw.hits + 1) / (draw.drawn + 1)
    u = math.sqrt(p * (1 - p) / draw.drawn)
    seed = "a generator" if draw.seed is None else f"seed {draw.seed}"
    notes = (
        f"p from {draw.drawn} relabellings drawn at random ({seed}) out of {typical.relabellings}, not exact: its own "
        f"standard uncertainty is {u:.1g}",
    )
    smallest = 1 / (draw.drawn + 1)
    drawn = TypicalValues(typical.samples, None, typical.relabellings, typical.tolerance, draw.typical)
    return ExactTest(p, None, smallest, draw.drawn, statistic, notes + _low_power(smallest, level), u, drawn)


def _low_power(smallest: float, level: float) -> tuple[str, ...]:
    if smallest <= level:
        return ()
    return (f"so few units cannot reach p = {level:g} in the exact test: the smallest reachable is {smallest:.3g}",)
