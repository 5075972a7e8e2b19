"""Slow change of the bench between runs: removed by zero and reference runs, with the covariance that this leaves."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from lossstats.records.argument_checks import above_zero, refuse
from lossstats.records.rendering import Record, shown_dof, shown_p

Array = NDArray[np.float64]


@dataclass(frozen=True)
class DriftCheck(Record):
    """Check that a straight line between neighbouring reference runs describes the drift.

    Attributes
    ----------
    statistic : float
        Sum of squared standardised second differences of the reference levels.
    degrees_of_freedom : int
        Inner reference runs.
    p_value : float
        Small: the drift is not straight at the spacing of the references.
    """

    statistic: float
    degrees_of_freedom: int
    p_value: float

    title = "Check of the drift model"

    def _rows(self) -> list[tuple[str, str]]:
        words = "not straight at this spacing of the references" if self.p_value < 0.05 else "no sign against it"
        return [
            ("straight between references", words),
            ("p", shown_p(self.p_value)),
            ("statistic", f"{self.statistic:.3g} on {self.degrees_of_freedom}"),
        ]


@dataclass(frozen=True)
class DriftCorrection(Record):
    """Corrected levels of the test runs and what the correction adds to their uncertainty.

    Attributes
    ----------
    levels : ndarray, shape (test runs,)
        Corrected levels, in bench order.
    applied : ndarray, shape (all runs,)
        What was taken off each run's level (nan for zero runs and, with no correction, 0), the way to the nominal
        operating point included.
    covariance : ndarray, shape (test runs, test runs)
        Covariance of the correction itself: the runs share the reference and zero runs next to them.
    origin_uncertainty : float
        Standard uncertainty of the absolute level on which the corrected levels hang; it cancels in a
        difference and enters a ratio as an error of the zero does.
    reference_repeatability : float or None
        Standard deviation of one reference run, refit included.
    reference_dof : float
        Its degrees of freedom.
    reference_source : str
        ``stated``, ``estimated from the reference runs``, ``readings of the reference runs alone`` or ``none``.
    check : DriftCheck or None
        The one check of fit.
    why_no_check : str
        Why there is none.
    corrected_by_references, corrected_by_zeros : bool
        What was done.
    outside : tuple of int
        Positions (in bench order) of test runs not between two reference runs of their stretch.
    notes : tuple of str
        What a reader must know.
    nominal_levels : ndarray, shape (all runs,)
        Levels with their zero taken off, at the nominal operating point, before the references are used.
    """

    levels: Array
    applied: Array
    covariance: Array
    origin_uncertainty: float
    reference_repeatability: float | None
    reference_dof: float
    reference_source: str
    check: DriftCheck | None
    why_no_check: str
    corrected_by_references: bool
    corrected_by_zeros: bool
    outside: tuple[int, ...] = ()
    notes: tuple[str, ...] = field(default=())
    nominal_levels: Array = field(repr=False, compare=False, default_factory=lambda: np.empty(0))
    _from_levels: Array = field(repr=False, compare=False, default_factory=lambda: np.empty((0, 0)))
    _from_nominal: Array = field(repr=False, compare=False, default_factory=lambda: np.empty((0, 0)))

    title = "Bench drift"

    def carried(self, pattern: Array, *, of: Literal["levels", "nominal levels"] = "levels") -> Array:
        """What an error of all runs leaves in the corrected levels; what the anchors share with a test run cancels.

        Parameters
        ----------
        pattern : ndarray, shape (runs,)
            Error of each run for one common cause.
        of : {"levels", "nominal levels"}
            Whether it is an error of the levels as read, or of those brought to the nominal operating point.

        Returns
        -------
        ndarray, shape (test runs,)
            Error of each corrected level for the same cause.
        """
        return (self._from_levels if of == "levels" else self._from_nominal) @ pattern

    def _rows(self) -> list[tuple[str, str]]:
        done = [
            name
            for name, was in (("references", self.corrected_by_references), ("zeros", self.corrected_by_zeros))
            if was
        ]
        rows = [("corrected by", " and ".join(done) or "nothing")]
        if self.reference_repeatability is not None:
            known = f"{shown_dof(self.reference_dof)} degrees of freedom, {self.reference_source}"
            rows.append(("sd of a reference run", f"{self.reference_repeatability:.3g} ({known})"))
        if self.corrected_by_references:
            rows.append(
                ("check of fit", f"p {shown_p(self.check.p_value)}" if self.check else f"none: {self.why_no_check}")
            )
        return rows + [("note", note) for note in self.notes]


def correct_drift(
    levels: Sequence[float] | Array,
    uncertainties: Sequence[float] | Array,
    time_s: Sequence[float] | Array,
    stretches: Sequence[str],
    roles: Sequence[str],
    *,
    reference_repeatability: float | None = None,
    reference_dof: float = math.inf,
    use_references: bool = True,
    use_zeros: bool = True,
    factors: Sequence[float] | Array | None = None,
) -> DriftCorrection:
    """Take the drift of the bench off the test runs by interpolating between zero and between reference runs.

    Parameters
    ----------
    levels, uncertainties : sequence of float, shape (runs,)
        Level of every run and its standard uncertainty from its readings.
    time_s : sequence of float, shape (runs,)
        Middle of every run on one clock, s, rising.
    stretches : sequence of str, shape (runs,)
        Bench day, or part of one between two touches of the bench; nothing is interpolated across.
    roles : sequence of {"test", "reference", "zero"}, shape (runs,)
        What each run is.
    reference_repeatability : float, optional
        Standard deviation of one run of the reference article, refit included, known from elsewhere.
    reference_dof : float
        Its degrees of freedom.
    use_references, use_zeros : bool
        Whether to correct by them.
    factors : sequence of float, shape (runs,), optional
        Brings each run to the nominal operating point, once its zero is taken off; 1 for zero runs.

    Returns
    -------
    DriftCorrection
        Corrected levels hang on the mean of the references of the first stretch.

    Raises
    ------
    ValueError
        If the inputs differ in length or are empty, a role is unknown, times do not rise, a number is not finite, or
        an uncertainty, a factor or the repeatability is not what it can be.

    Notes
    -----
    Piecewise linear weights W of test runs on references: corrected = test - W references + origin, with
    covariance W diag(u_ref^2) W' shared by the runs. A correction that ignores this covariance makes intervals
    too narrow where one condition follows the other (83 % where 95 % is promised); more articles do not help.
    Not for a step between two references (touching the bench): name it a break. Wear of the reference article
    itself cannot be seen.
    """
    y, u, t = (np.asarray(x, dtype=float) for x in (levels, uncertainties, time_s))
    role, stretch = np.asarray(roles), np.asarray(stretches)
    scale = np.ones(len(y)) if factors is None else np.asarray(factors, dtype=float)
    _check_inputs(y, u, t, role, stretch, scale)
    _check_repeatability(reference_repeatability, reference_dof)
    test, reference, zero = (role == name for name in ("test", "reference", "zero"))
    notes: list[str] = []
    by_zeros = use_zeros and _anchors_everywhere(zero, stretch, test | reference, "zero run", 1, notes)
    by_references = use_references and _anchors_everywhere(reference, stretch, test, "reference run", 2, notes)
    if not by_references:
        notes.append(
            "bench drift and treatment cannot be told apart by these runs: no correction by reference runs was made"
        )

    offsets = -_interpolation(t, stretch, zero) if by_zeros else np.zeros((len(y), len(y)))
    zeroed = scale[:, None] * (np.eye(len(y)) + offsets)
    straight = np.eye(len(y))
    if by_references:
        straight = straight - _interpolation(t, stretch, reference) + _origin(reference, stretch)
    weights = straight @ zeroed
    corrected = weights @ y

    sd, dof, source = _reference_sd(y @ zeroed.T, t, stretch, reference, reference_repeatability, reference_dof)
    # An estimated repeatability is one of levels at nominal already; the weights bring every run there.
    of_run = (sd or 0.0) / (scale if source == "estimated from the reference runs" else 1.0)
    anchors = np.where(reference & by_references, np.maximum(u, of_run), np.where(zero & by_zeros, u, 0.0))
    shared = weights[test] * anchors
    refs = (y @ zeroed.T)[reference]
    outside = _outside(t, stretch, reference, test) if by_references else ()
    if outside:
        notes.append(f"{len(outside)} test run(s) not between two reference runs: corrected by the nearest one only")
    check, why = (
        _check(refs, t[reference], stretch[reference], sd, dof, source) if by_references else (None, "no correction")
    )
    if check is not None and check.p_value < 0.05:
        notes.append(
            "the drift is not straight at the spacing of the references (check of fit): the correction leans on its "
            "weakest assumption"
        )
    applied = np.where(zero, np.nan, y - corrected)
    return DriftCorrection(
        corrected[test], applied, shared @ shared.T, float(np.ptp(refs)) / math.sqrt(12) if by_references else 0.0,
        sd if by_references else None, dof, source if by_references else "none", check, why,
        by_references, by_zeros, outside, tuple(notes), zeroed @ y, weights[test], straight[test],
    )  # fmt: skip


def _check_inputs(
    y: Array, u: Array, t: Array, role: NDArray[np.str_], stretch: NDArray[np.str_], scale: Array
) -> None:
    lengths = {len(x) for x in (y, u, t, role, stretch, scale)}
    if len(lengths) != 1 or 0 in lengths:
        raise ValueError(
            f"levels, uncertainties, time_s, stretches, roles, factors: found lengths {sorted(lengths)}; accepted: all "
            "the same, one run or more"
        )
    _check_each("levels", y, np.isfinite(y), "finite numbers")
    _check_each("uncertainties", u, np.isfinite(u) & (u >= 0), "finite numbers of at least 0")
    _check_each("factors", scale, np.isfinite(scale) & (scale > 0), "finite numbers above 0")
    _check_each("time_s", t, np.isfinite(t), "finite numbers")
    if np.any(np.diff(t) <= 0):
        raise ValueError(
            f"time_s: found no rise at position {int(np.argmax(np.diff(t) <= 0)) + 2}; accepted: rising times"
        )
    unknown = sorted(set(role.tolist()) - {"test", "reference", "zero"})
    if unknown:
        raise ValueError(f"roles: found {unknown[0]!r}; accepted: 'test', 'reference', 'zero'")


def _check_each(name: str, values: Array, right: NDArray[np.bool_], accepted: str) -> None:
    if not right.all():
        place = int(np.argmin(right))
        raise ValueError(f"{name}: found {values[place]:g} at position {place + 1}; accepted: {accepted}")


def _check_repeatability(sd: float | None, dof: float) -> None:
    if sd is not None:
        above_zero("reference_repeatability", sd)
    if not dof > 0:
        refuse("reference_dof", dof, "a number above 0, or infinity")


def _anchors_everywhere(
    anchor: NDArray[np.bool_],
    stretch: NDArray[np.str_],
    served: NDArray[np.bool_],
    name: str,
    fewest: int,
    notes: list[str],
) -> bool:
    """Whether every stretch with runs to correct has enough anchors; half-corrected trials are worse than none."""
    if not anchor.any():
        return False
    short = [s for s in dict.fromkeys(stretch[served].tolist()) if np.count_nonzero(anchor & (stretch == s)) < fewest]
    if short:
        notes.append(f"fewer than {fewest} {name}(s) in {', '.join(short)}: no correction by {name}s anywhere")
    return not short


def _interpolation(t: Array, stretch: NDArray[np.str_], anchor: NDArray[np.bool_]) -> Array:
    """Weights (runs, runs) of every run on the anchors of its stretch: linear between, nearest outside."""
    weights = np.zeros((len(t), len(t)))
    for name in dict.fromkeys(stretch.tolist()):
        here = np.flatnonzero(stretch == name)
        points = here[anchor[here]]
        if len(points):
            for column in points:
                weights[here, column] = np.interp(t[here], t[points], (points == column).astype(float))
    return weights


def _origin(reference: NDArray[np.bool_], stretch: NDArray[np.str_]) -> Array:
    """Weights of the mean of the references of the first stretch that has any."""
    first = reference & (stretch == stretch[reference][0])
    return np.asarray(first / np.count_nonzero(first), dtype=float)


def _outside(
    t: Array, stretch: NDArray[np.str_], reference: NDArray[np.bool_], test: NDArray[np.bool_]
) -> tuple[int, ...]:
    positions = []
    for i in np.flatnonzero(test):
        near = t[reference & (stretch == stretch[i])]
        if not near.min() < t[i] < near.max():
            positions.append(int(i))
    return tuple(positions)


def _second_differences(t: Array) -> Array:
    """Rows that predict each inner reference from its neighbours, shape (n - 2, n)."""
    rows = np.zeros((max(len(t) - 2, 0), len(t)))
    for k in range(1, len(t) - 1):
        share = (t[k] - t[k - 1]) / (t[k + 1] - t[k - 1])
        rows[k - 1, k - 1 : k + 2] = [-(1 - share), 1.0, -share]
    return rows


def _curvature(levels: Array, t: Array, stretch: NDArray[np.str_]) -> tuple[float, int]:
    """Q = e'(AA')^-1 e summed over stretches, e = A levels the second differences, and its degrees of freedom."""
    q, dof = 0.0, 0
    for name in dict.fromkeys(stretch.tolist()):
        here = stretch == name
        rows = _second_differences(t[here])
        if len(rows):
            e = rows @ levels[here]
            q += float(e @ np.linalg.solve(rows @ rows.T, e))
            dof += len(rows)
    return q, dof


def _reference_sd(
    zeroed: Array,
    t: Array,
    stretch: NDArray[np.str_],
    reference: NDArray[np.bool_],
    stated: float | None,
    stated_dof: float,
) -> tuple[float | None, float, str]:
    if stated is not None:
        return stated, stated_dof, "stated"
    q, dof = _curvature(zeroed[reference], t[reference], stretch[reference])
    if dof:
        return math.sqrt(q / dof), float(dof), "estimated from the reference runs"
    return None, math.inf, "readings of the reference runs alone"


def _check(
    levels: Array, t: Array, stretch: NDArray[np.str_], sd: float | None, dof: float, source: str
) -> tuple[DriftCheck | None, str]:
    """Chi-squared test of the second differences, or F where the repeatability is itself an estimate."""
    from scipy.special import chdtrc, fdtrc

    q, inner = _curvature(levels, t, stretch)
    if not inner:
        return None, "fewer than three reference runs in a stretch"
    if source != "stated" or sd is None:
        return None, "the repeatability of the reference is estimated from the same runs"
    statistic = q / sd**2
    p = chdtrc(inner, statistic) if math.isinf(dof) else fdtrc(inner, dof, statistic / inner)
    return DriftCheck(statistic, inner, float(p)), ""
