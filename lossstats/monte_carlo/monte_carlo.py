"""Monte Carlo propagation of the inputs' distributions through a model (JCGM 101, clause 7)."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from typing import Any, Literal, NamedTuple

import numpy as np
from numpy.typing import NDArray

from lossstats.budgets.budget import Budget, propagate
from lossstats.budgets.model_function import ModelFunction, check_inputs, check_units
from lossstats.budgets.source import Source
from lossstats.monte_carlo.coverage_interval import symmetric_with_errors
from lossstats.monte_carlo.linear_validation import (
    LinearValidation,
    check_digits,
    compare_intervals,
    no_comparison,
)
from lossstats.monte_carlo.model_draws import MOST_DRAWS, ModelDraws, Progress, adaptive_block
from lossstats.monte_carlo.monte_carlo_result import MonteCarlo, MonteCarloOutputs
from lossstats.monte_carlo.random_draws import InputDraws
from lossstats.records.argument_checks import open_share, refuse, seed_of
from lossstats.records.estimate import Interval

Array = NDArray[np.float64]
_FEWEST_DRAWS = 1000
_MOST_FIXED = 1_000_000_000
_WITHOUT_SPREAD = 1_000_000
_NO_SPREAD = (
    "Not to be told: {} without a finite standard deviation leaves no standard uncertainty of the draws to set the "
    "tolerance (JCGM 101, 7.9.2); use the interval of the draws."
)


def propagate_monte_carlo(
    model: Callable[..., Any],
    inputs: Mapping[str, Source],
    *,
    rng: np.random.Generator | int,
    correlation: Mapping[tuple[str, str], float] | None = None,
    simultaneous: Sequence[Sequence[str]] = (),
    draws: int | Literal["adaptive"] = "adaptive",
    confidence: float = 0.95,
    digits: int = 2,
    workers: int = 1,
    progress: Progress | None = None,
    units: Mapping[str, str] | None = None,
    unit: str | Sequence[str] = "",
) -> Any:
    """Propagate the distributions of the inputs through a model by random draws.

    Parameters
    ----------
    model : callable
        Function of the inputs by name; gives a number, or several as dict, tuple, list or array. Called with arrays
        where it takes them, else draw by draw.
    inputs : mapping of str to Source
        One source for each input.
    rng : Generator or int
        Seed. The same integer gives the same bits, whatever `workers`.
    correlation : mapping of (str, str) to float, optional
        Coefficients between Gaussian inputs.
    simultaneous : sequence of sequences of str
        Groups of inputs whose readings were taken together.
    draws : int or "adaptive"
        How many; or until value, uncertainty and interval ends are known to `digits` and the linear interval can be
        judged, ten million at most.
    confidence : float, default 0.95
        Coverage probability of the intervals.
    digits : int, default 2
        Significant digits of the standard uncertainty that are to hold.
    workers : int, default 1
        Threads.
    progress : callable, optional
        Wraps the iterable of blocks of draws, for example ``tqdm.tqdm``.
    units : mapping of str to str, optional
        Unit that the model takes for an input, by name; a source in another one is refused.
    unit : str or sequence of str
        Unit of the result, or one for each of several.

    Returns
    -------
    MonteCarlo or MonteCarloOutputs
        The second where the model gives several outputs.

    Raises
    ------
    ValueError
        If an argument is out of range, names do not match, correlations are impossible or have no joint distribution,
        or the model fails for some draws.

    Notes
    -----
    JCGM 101:2008, 7.9.4 (adaptive draws) and clause 8 (comparison with linear propagation, done each time). Memory: 16
    bytes for each draw of each output, half of it for a moment only.

    Examples
    --------
    >>> inputs = {"a": Source.rectangular(1.0, value=10.0), "b": Source.rectangular(1.0, value=4.0)}
    >>> loss = propagate_monte_carlo(lambda a, b: a - b, inputs, rng=1, draws=200_000, unit="W")
    >>> round(loss.value, 1), round(loss.standard_uncertainty, 1), loss.supports_linear
    (6.0, 0.8, False)
    """
    check_inputs(inputs)
    check_units(inputs, units or {})
    confidence = open_share("confidence", confidence)
    check_digits(digits)
    number = _check_draws(draws, confidence)
    _check_running(workers, progress)
    entropy = seed_of(rng)
    function = ModelFunction(model, {name: source.value for name, source in inputs.items()})
    result_units = _output_units(unit, function.outputs)
    joint = InputDraws(inputs, correlation, simultaneous)
    joined = {"correlation": correlation, "simultaneous": simultaneous}
    linear = _linear_intervals(function, model, inputs, joined, confidence)
    if joint.without_spread:
        linear = dict.fromkeys(linear, _NO_SPREAD.format(" and ".join(joint.without_spread)))
    source = ModelDraws(function, joint, entropy)
    settings = _Settings(number, confidence, digits, workers, progress)
    drawn, notes = _draw(source, joint, list(linear.values()), settings)
    means, covariance = _moments(drawn)
    outputs = {}
    for i, (name, values) in enumerate(zip(function.outputs, drawn, strict=True)):
        u = float(np.sqrt(covariance[i, i])) if np.ptp(values) > 0 else 0.0
        outputs[name] = MonteCarlo(
            value=float(means[i]),
            standard_uncertainty=u,
            has_spread=not joint.without_spread,
            confidence=confidence,
            draws=len(values),
            validation=_validate(linear[name], values, u, confidence, digits),
            output=name,
            unit=result_units[name],
            seed=None if isinstance(rng, np.random.Generator) else entropy,
            notes=notes,
            _draws=values,
        )
    if function.single:
        return outputs["result"]
    return MonteCarloOutputs(outputs, tuple(map(tuple, covariance.tolist())), notes)


class _Settings(NamedTuple):
    number: int | None  # None: adaptive
    confidence: float
    digits: int
    workers: int
    progress: Progress | None


def _draw(
    source: ModelDraws, joint: InputDraws, linear: list[Interval | str], settings: _Settings
) -> tuple[Array, tuple[str, ...]]:
    """Values of all outputs, and what a reader should know of how they were drawn."""
    number, confidence, digits, workers, progress = settings
    notes = list(joint.notes)
    advised = math.ceil(10_000 / (1 - confidence) * (1 - 1e-9))  # 7.2.2
    if not source.takes_arrays:
        notes.append("the model does not take arrays and was called draw by draw, which is slow")
    if number is None and not joint.without_spread:
        known = [None if isinstance(ends, str) else ends for ends in linear]
        drawn = source.adaptive(confidence, digits, linear=known, workers=workers, progress=progress)
        if not drawn.settled:
            notes.append(
                f"{MOST_DRAWS} draws, the most that are made adaptively, did not bring value, standard uncertainty and "
                f"interval ends to {digits} significant digits (JCGM 101, 7.9.4): ask for fewer digits or more draws"
            )
        return drawn.values, tuple(notes)
    if number is None:
        number = max(_WITHOUT_SPREAD, advised)
        notes.append(f"{number} draws were made: the adaptive procedure (JCGM 101, 7.9.4) needs a standard uncertainty")
    elif number < advised:
        notes.append(f"{number} draws are fewer than the {advised} that JCGM 101, 7.2.2 advises")
    return source.fixed(number, workers=workers, progress=progress).values, tuple(notes)


def _check_running(workers: object, progress: object) -> None:
    if isinstance(workers, bool) or not isinstance(workers, int) or not 1 <= workers <= 256:
        refuse("workers", workers, "a whole number of threads from 1 to 256")
    if progress is not None and not callable(progress):
        refuse("progress", progress, "a callable that wraps an iterable, such as tqdm.tqdm")


def _check_draws(draws: object, confidence: float) -> int | None:
    """Draws asked for; None for adaptive ones."""
    if isinstance(draws, str) and draws == "adaptive":
        adaptive_block(confidence)
        return None
    whole = isinstance(draws, int | np.integer) and not isinstance(draws, bool)
    fewest = max(_FEWEST_DRAWS, math.ceil(20 / (1 - confidence) * (1 - 1e-9)))
    if not whole or not fewest <= int(draws) <= _MOST_FIXED:  # type: ignore[call-overload]
        refuse("draws", draws, f'"adaptive", or a whole number from {fewest} (20 draws outside) to {_MOST_FIXED}')
    return int(draws)  # type: ignore[call-overload,no-any-return]


def _output_units(unit: str | Sequence[str], outputs: tuple[str, ...]) -> dict[str, str]:
    words = (unit,) * len(outputs) if isinstance(unit, str) else tuple(unit)
    if len(words) != len(outputs):
        refuse("unit", unit, f"one for each output of the model, {', '.join(outputs)}")
    return dict(zip(outputs, words, strict=True))


def _moments(values: Array) -> tuple[Array, Array]:
    """Means and covariance matrix, a piece at a time so that no second copy of the draws is made (7.6)."""
    count, number = values.shape
    means = np.array([row.mean() for row in values])
    products = np.zeros((count, count))
    for start in range(0, number, 1 << 14):
        centred = values[:, start : start + (1 << 14)] - means[:, None]
        for i in range(count):
            for j in range(i + 1):
                products[i, j] += np.einsum("k,k->", centred[i], centred[j])
    products /= number - 1
    covariance: Array = products + np.tril(products, -1).T
    return means, covariance


def _validate(linear: Interval | str, values: Array, u: float, confidence: float, digits: int) -> LinearValidation:
    drawn, errors = symmetric_with_errors(values, confidence)
    if isinstance(linear, str):
        return no_comparison(linear, drawn, digits=digits, errors=errors)
    if u == 0:
        return no_comparison("All draws are equal: there is no interval.", drawn, digits=digits, errors=errors)
    return compare_intervals(linear, drawn, u, digits=digits, errors=errors, draws=len(values))


def _linear_intervals(
    function: ModelFunction,
    model: Callable[..., Any],
    inputs: Mapping[str, Source],
    joined: Mapping[str, Any],
    confidence: float,
) -> dict[str, Interval | str]:
    """Interval of linear propagation for each output, or why there is none."""
    try:
        found = propagate(model, inputs, confidence=confidence, **joined)
    except ValueError as error:
        return dict.fromkeys(function.outputs, f"There is no linear interval to compare with. {error}")
    budgets: Sequence[Budget] = (found,) if function.single else found.outputs
    return {budget.output: budget.interval() for budget in budgets}
