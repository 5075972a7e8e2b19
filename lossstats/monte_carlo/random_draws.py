"""Random draws of the inputs, each from the distribution it was stated with (JCGM 101, 6.4 and annex C)."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from lossstats.budgets.correlation import correlated_groups, correlation_matrix
from lossstats.budgets.input_quantity import (
    ARC_SINE,
    GAUSSIAN,
    INEXACT,
    RECTANGULAR,
    STUDENT,
    TRAPEZOIDAL,
    TRIANGULAR,
)
from lossstats.budgets.source import Source
from lossstats.records.argument_checks import refuse

Array = NDArray[np.float64]
_Fill = Callable[[np.random.Generator, Array], None]


def draw_source(source: Source, out: Array, *, rng: np.random.Generator) -> None:
    """Fill an array with draws of one input.

    Parameters
    ----------
    source : Source
        The input.
    out : numpy.ndarray
        One-dimensional, contiguous; overwritten, in the unit of the source.
    rng : Generator
        Where the draws come from.

    Notes
    -----
    JCGM 101:2008, 6.4.2 (rectangular), 6.4.3 (inexact limits), 6.4.4 (trapezoidal), 6.4.5 (triangular), 6.4.6 (arc
    sine), 6.4.7 (Gaussian), 6.4.9 (scaled and shifted t); clause numbers and transformations from memory, checked
    against closed-form quantiles.

    Examples
    --------
    >>> out = np.empty(100_000)
    >>> draw_source(Source.triangular(1.0, value=5.0), out, rng=np.random.default_rng(1))
    >>> round(float(out.mean()), 1), bool(out.min() > 4.0), bool(out.max() < 6.0)
    (5.0, True, True)
    """
    _FILLS[source.distribution](source, rng, out)


class InputDraws:
    """All inputs of a model drawn together, with their correlations.

    Parameters
    ----------
    inputs : mapping of str to Source
        The inputs by name, n of them.
    correlation : mapping of (str, str) to float, optional
        Coefficients between Gaussian inputs.
    simultaneous : sequence of sequences of str
        Groups of inputs whose readings were taken together.

    Attributes
    ----------
    names : tuple of str
        The inputs, in the order of the rows that are filled.
    notes : tuple of str
        What a reader should know of the distributions drawn from.
    without_spread : tuple of str
        Inputs whose distribution has no finite standard deviation.

    Raises
    ------
    ValueError
        If a coefficient joins inputs that are not Gaussian, groups of readings overlap or are joined to other inputs,
        or there are not more readings than inputs in a group.

    Notes
    -----
    Correlated Gaussian inputs are drawn from a multivariate Gaussian (JCGM 101, 6.4.8, by a triangular factor). n
    readings of N inputs taken together give a multivariate t with n - N degrees of freedom about the means, its scale
    matrix the sum of squares and products divided by n (n - N) (JCGM 102:2011, 5.3.2, from memory; the posterior for
    the noninformative prior); for N = 1 this is the t of JCGM 101, 6.4.9.
    """

    def __init__(
        self,
        inputs: Mapping[str, Source],
        correlation: Mapping[tuple[str, str], float] | None = None,
        simultaneous: Sequence[Sequence[str]] = (),
    ) -> None:
        _check_apart(simultaneous)
        matrix = correlation_matrix(inputs, correlation, simultaneous)
        self.names = tuple(inputs)
        together = [tuple(self.names.index(name) for name in group) for group in simultaneous]
        sources = list(inputs.values())
        self._groups: list[tuple[tuple[int, ...], _Fill]] = [
            (group, _multivariate_t([self.names[i] for i in group], [sources[i] for i in group])) for group in together
        ]
        joint = {i for group in together for i in group}
        for places in correlated_groups(matrix):
            if joint.issuperset(places):
                continue
            _check_gaussian(self.names, sources, matrix, places, joint)
            covariance = _covariance(matrix, sources, places)
            self._groups.append((tuple(places), _fill(sources, places, covariance)))
        self._groups.sort()
        freedom = _freedom(inputs, together)
        self.without_spread = tuple(name for name, nu in freedom.items() if nu <= 2)
        self.notes = _notes(inputs, together, freedom)

    def fill(self, points: Array, *, rng: np.random.Generator) -> None:
        """Overwrite with draws.

        Parameters
        ----------
        points : numpy.ndarray
            Shape (n, draws); each row contiguous.
        rng : Generator
            Where the draws come from.
        """
        for places, fill in self._groups:
            if len(places) == 1:
                fill(rng, points[places[0]])
                continue
            rows = points[list(places)]  # a copy: the rows of a group need not lie side by side
            fill(rng, rows)
            points[list(places)] = rows


def _gaussian(source: Source, rng: np.random.Generator, out: Array) -> None:
    rng.standard_normal(out=out)
    out *= source.standard_uncertainty
    out += source.value


def _student(source: Source, rng: np.random.Generator, out: Array) -> None:
    scale, nu = source.shape
    out[:] = rng.standard_t(nu, out.size)
    out *= scale
    out += source.value


def _rectangular(source: Source, rng: np.random.Generator, out: Array) -> None:
    low, high = source.shape
    rng.random(out=out)
    out *= high - low
    out += low


def _inexact(source: Source, rng: np.random.Generator, out: Array) -> None:
    """6.4.3.4: the lower limit from low ± d, the upper one such that the middle stays, then between them."""
    low, high, d = source.shape
    lower = low - d + 2 * d * rng.random(out.size)
    rng.random(out=out)
    out *= low + high - 2 * lower
    out += lower


def _trapezoidal(source: Source, rng: np.random.Generator, out: Array) -> None:
    """6.4.4.4: weighted sum of two rectangular draws."""
    low, high, beta = source.shape
    rng.random(out=out)
    out *= 1 + beta
    out += (1 - beta) * rng.random(out.size)
    out *= (high - low) / 2
    out += low


def _triangular(source: Source, rng: np.random.Generator, out: Array) -> None:
    """6.4.5.4: sum of two rectangular draws."""
    low, high = source.shape
    rng.random(out=out)
    out += rng.random(out.size)
    out *= (high - low) / 2
    out += low


def _arc_sine(source: Source, rng: np.random.Generator, out: Array) -> None:
    """6.4.6.4: the sine of a phase of which nothing is known."""
    low, high = source.shape
    rng.random(out=out)
    out *= 2 * math.pi
    np.sin(out, out=out)
    out *= (high - low) / 2
    out += low + (high - low) / 2


_FILLS: dict[str, Callable[[Source, np.random.Generator, Array], None]] = {
    GAUSSIAN: _gaussian,
    STUDENT: _student,
    RECTANGULAR: _rectangular,
    INEXACT: _inexact,
    TRAPEZOIDAL: _trapezoidal,
    TRIANGULAR: _triangular,
    ARC_SINE: _arc_sine,
}


def _fill(sources: list[Source], places: list[int], covariance: Array) -> _Fill:
    """How one input, or one group of correlated Gaussian inputs, is drawn."""
    if len(places) == 1:
        source = sources[places[0]]
        draw = _FILLS[source.distribution]
        return lambda rng, out: draw(source, rng, out)
    factor = _triangular_factor(covariance)
    means = np.array([[sources[i].value] for i in places])

    def multivariate_gaussian(rng: np.random.Generator, rows: Array) -> None:
        rng.standard_normal(out=rows)
        _mix(factor, rows)
        rows += means

    return multivariate_gaussian


def _multivariate_t(names: list[str], sources: list[Source]) -> _Fill:
    readings = np.array([source.observed for source in sources])
    number, nu = readings.shape[1], readings.shape[1] - len(sources)
    if nu < 1:
        refuse(
            "simultaneous",
            f"{number} readings of each of {', '.join(names)}",
            f"more readings than inputs in a group, {len(sources) + 1} or more (n - N degrees of freedom, JCGM 102, "
            f"5.3.2)",
        )
    means = np.array([[source.value] for source in sources])
    centred = readings - readings.mean(axis=1, keepdims=True)
    factor = _triangular_factor(centred @ centred.T / (number * nu))

    def fill(rng: np.random.Generator, rows: Array) -> None:
        rng.standard_normal(out=rows)
        _mix(factor, rows)
        stretch = np.sqrt(nu / rng.chisquare(nu, rows.shape[1]))  # one for all inputs of a draw
        rows *= stretch
        rows += means

    return fill


def _covariance(matrix: Array, sources: list[Source], places: list[int]) -> Array:
    u = np.array([sources[i].standard_uncertainty for i in places])
    covariance: Array = matrix[np.ix_(places, places)] * np.outer(u, u)
    return covariance


def _triangular_factor(covariance: Array) -> Array:
    """Lower triangular root: the Cholesky factor but for signs, and there also where a coefficient is 1 or -1."""
    size = np.sqrt(np.diag(covariance))
    scale = np.where(size > 0, size, 1.0)
    lengths, axes = np.linalg.eigh(covariance / np.outer(scale, scale))
    root = axes * np.sqrt(np.maximum(lengths, 0.0))
    lower: Array = np.linalg.qr(root.T, mode="r").T  # type: ignore[attr-defined]
    factor: Array = lower * scale[:, None]
    return factor


def _mix(factor: Array, rows: Array) -> None:
    """Factor times rows, in place from the last row up; a plain loop, as threads of a matrix library would stall."""
    for i in range(len(factor) - 1, -1, -1):
        rows[i] *= factor[i, i]
        for j in range(i):
            if factor[i, j] != 0:
                rows[i] += factor[i, j] * rows[j]


def _check_apart(simultaneous: Sequence[Sequence[str]]) -> None:
    seen: dict[str, Sequence[str]] = {}
    for group in () if isinstance(simultaneous, str) else simultaneous:
        for name in () if isinstance(group, str) else group:
            if name in seen and seen[name] is not group:
                both = tuple(dict.fromkeys([*seen[name], *group]))
                refuse("simultaneous", name, f"each input in one group, such as {both!r}")
            seen[name] = group


def _check_gaussian(
    names: tuple[str, ...], sources: list[Source], matrix: Array, places: list[int], joint: set[int]
) -> None:
    """Refuse coefficients for which no joint distribution is stated."""
    for i in places:
        other = next((j for j in places if j != i and matrix[i, j] != 0 and not {i, j} <= joint), None)
        if other is None or (sources[i].distribution == GAUSSIAN and i not in joint):
            continue
        kind = "with readings taken together" if i in joint else sources[i].distribution
        raise ValueError(
            f"correlation: found r({names[i]}, {names[other]}) = {matrix[i, other]:g} where {names[i]} is {kind}; "
            "accepted: coefficients between Gaussian inputs (JCGM 101, 6.4.8), or simultaneous=[(name, name)] for "
            "inputs by Source.readings; what two other inputs have in common can be an input of its own"
        )


def _freedom(inputs: Mapping[str, Source], together: list[tuple[int, ...]]) -> dict[str, float]:
    """Degrees of freedom of the t distributions that are drawn from."""
    names = list(inputs)
    freedom = {n: s.shape[1] for n, s in inputs.items() if s.distribution == STUDENT and s.standard_uncertainty > 0}
    for group in together:
        nu = len(inputs[names[group[0]]].observed) - len(group)
        freedom |= {names[i]: float(nu) for i in group if names[i] in freedom}
    return freedom


def _notes(
    inputs: Mapping[str, Source], together: list[tuple[int, ...]], freedom: Mapping[str, float]
) -> tuple[str, ...]:
    names = list(inputs)
    notes = [f"{name}: {note}" for name, source in inputs.items() for note in source.notes]
    for group in together:
        nu = len(inputs[names[group[0]]].observed) - len(group)
        drawn = ", ".join(names[i] for i in group)
        notes.append(f"{drawn}: drawn from a multivariate t with {nu} degrees of freedom (JCGM 102, 5.3.2)")
    notes += [
        f"{name}: a t distribution with {nu:g} degrees of freedom has no finite standard deviation; the standard "
        "uncertainty found from draws of it means nothing, the coverage interval does (JCGM 101, 6.4.9)"
        for name, nu in freedom.items()
        if nu <= 2
    ]
    return tuple(notes)
