"""The averaged approach fit: the level that a run approaches, with everything that the readings leave open about it.

Model of the block averages: ``level + amplitude exp(-t / time constant) + AR(1) noise``, or the level alone. Level,
amplitude and noise variance are integrated out in closed form, time constant and correlation summed over a grid; the
level then has a mixture of t distributions. Three starts (0, 20 and 33 % of the run left out) are averaged, a start
counting for less the more its level disagrees with that of a later one: the first phase of a run need not be the same
exponential as the rest.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from lossstats.one_run.approach_posterior import Approach, AveragedFit, StartFit
from lossstats.one_run.blocks import Blocks
from lossstats.one_run.mixture import Mixture
from lossstats.one_run.noise import Whitening, whitening

LEFT_OUT = (0.0, 0.20, 0.33)
TAU_COUNT = 16
TAU_SHORTEST, TAU_LONGEST = 1 / 45, 1.0  # time constants looked at, as parts of the run
ZOOMS = 5
FEWEST_BLOCKS = 8
NEGLIGIBLE = 1e-6  # of the largest weight of a part


def fit_approach(blocks: Blocks) -> AveragedFit:
    """Fit the approach of one run to its level.

    Parameters
    ----------
    blocks : Blocks
        Block averages of the run; not all equal.

    Returns
    -------
    AveragedFit
        Posterior of level, approach and noise.

    Raises
    ------
    ValueError
        Fewer than 8 blocks, or all of them equal.
    """
    if len(blocks.values) < FEWEST_BLOCKS:
        raise ValueError(
            f"approach fit: found {len(blocks.values)} blocks of readings; accepted: {FEWEST_BLOCKS} or more"
        )
    # block means of equal readings differ in their last digit at most
    rounding = 1e-13 * float(np.abs(blocks.values).max())
    if np.ptp(blocks.values) <= rounding:
        raise ValueError("approach fit: found readings that are all equal; accepted: readings that differ")
    fits = []
    for left_out in LEFT_OUT:
        from_s = blocks.start_s + left_out * blocks.span_s - 1e-9 * blocks.span_s
        first = int(np.searchsorted(blocks.time_s, from_s)) if left_out else 0
        y = blocks.values[first:]
        # a stretch of equal readings says nothing about the noise: the resolution stands for it elsewhere
        if len(y) >= FEWEST_BLOCKS and np.ptp(y) > rounding:
            fits.append(_fit_start(blocks, first))
    weights = _consistency_weights([fit.levels() for fit in fits])
    curve = _curve_of(blocks, fits[0])
    return AveragedFit(tuple(fits), weights, _pooled(fits, weights), curve, blocks.stop_s, blocks.span_s)


def _curve_of(blocks: Blocks, fit: StartFit) -> Approach:
    # Least-squares curve at the posterior mean of the log time constant, averaged over the noise models
    approach = np.isfinite(fit.tau_s)
    weight = fit.weight[approach] / fit.weight[approach].sum()
    tau_s = float(np.exp((weight * np.log(fit.tau_s[approach])).sum()))
    noise = whitening(blocks.time_s, blocks.spacing_s)
    data = _whitened(noise, blocks.values - blocks.values[-1])
    curves = _curves(noise, blocks.time_s - blocks.start_s, np.array([tau_s]))
    amplitude, _ = _amplitudes(data, curves)
    of_phi = np.bincount(np.searchsorted(noise.phi, fit.phi[approach]), weight, minlength=len(noise.phi))
    level = (of_phi * (data.mean - amplitude[:, 0] * curves.on_ones[:, 0])).sum()
    return Approach(
        probability=fit.approach_probability(),
        amplitude=float((of_phi * amplitude[:, 0]).sum()),
        time_constant_s=tau_s,
        level=float(level + blocks.values[-1]),
        start_s=blocks.start_s,
    )


def _consistency_weights(posteriors: list[Mixture]) -> tuple[float, ...]:
    # exp(-z^2/2), z the largest distance of a start's median under the posteriors of later starts
    from scipy.special import ndtri

    raw = []
    for d, posterior in enumerate(posteriors):
        later = posteriors[d + 1 :]
        median = float(posterior.quantiles([0.5], exact=False)[0]) if later else 0.0
        distance = max((abs(float(ndtri(other.below(median)))) for other in later), default=0.0)
        raw.append(float(np.exp(-0.5 * min(distance, 38.0) ** 2)))
    return tuple(w / sum(raw) for w in raw)


def _pooled(fits: list[StartFit], weights: tuple[float, ...]) -> StartFit:
    # All parts of all starts; what together weighs next to nothing is left out
    names = ("level", "level_scale", "dof", "end", "end_scale", "tau_s", "phi", "variance")
    weight = np.concatenate([w * fit.weight for w, fit in zip(weights, fits, strict=True)])
    kept = weight > NEGLIGIBLE * weight.max()
    columns = (np.concatenate([getattr(fit, name) for fit in fits])[kept] for name in names)
    return StartFit(weight[kept] / weight[kept].sum(), *columns)


@dataclass(frozen=True, eq=False)
class _Whitened:
    """Readings of one start under every noise model, the mean taken out."""

    noise: Whitening
    mean: NDArray[np.float64]  # (p,) generalised least squares
    rest: NDArray[np.float64]  # (p, m)
    rss: NDArray[np.float64]  # (p,)


def _whitened(noise: Whitening, y: NDArray[np.float64]) -> _Whitened:
    z = noise(y)
    mean = np.vecdot(z, noise.ones) / noise.ones_squared
    rest = z - mean[:, None] * noise.ones
    return _Whitened(noise, mean, rest, np.maximum(np.vecdot(rest, rest), 1e-26 * len(y)))


@dataclass(frozen=True, eq=False)
class _Curves:
    """Whitened exponentials of a grid of time constants, orthogonal to the constant."""

    f: NDArray[np.float64]  # (p, k, m)
    f_squared: NDArray[np.float64]  # (p, k)
    on_ones: NDArray[np.float64]  # (p, k) coefficient of the constant in the exponential


def _curves(noise: Whitening, age: NDArray[np.float64], tau: NDArray[np.float64]) -> _Curves:
    f = noise(np.exp(-age / tau[:, None]))
    on_ones = np.vecdot(f, noise.ones[:, None]) / noise.ones_squared[:, None]
    f -= on_ones[:, :, None] * noise.ones[:, None]
    return _Curves(f, np.vecdot(f, f), on_ones)


@lru_cache(maxsize=64)
def _first_curves(lags: bytes, low: float, high: float) -> _Curves:
    # Curves of the first, widest grid: the same for all runs with the same times
    age = np.frombuffer(lags)
    return _curves(whitening(age, 1.0).thinned(3), age, np.exp(_midpoints(low, high)))


def _midpoints(low: float, high: float) -> NDArray[np.float64]:
    return low + (high - low) * (np.arange(TAU_COUNT) + 0.5) / TAU_COUNT


def _fit_start(blocks: Blocks, first: int) -> StartFit:
    # Sum over noise models and time constants; the grid of time constants closes in on where they matter
    age = (blocks.time_s[first:] - blocks.time_s[first]) / blocks.spacing_s
    y = blocks.values[first:]
    offset = float(y[0] + np.mean(y - y[0]))
    scale = float(np.sqrt(np.mean((y - offset) ** 2)))
    noise = whitening(age, 1.0)
    span = blocks.span_s / blocks.spacing_s
    widest = (float(np.log(max(TAU_SHORTEST * span, 0.5))), float(np.log(TAU_LONGEST * span)))
    few, every = (_whitened(w, (y - offset) / scale) for w in (noise.thinned(3), noise))
    low, high = widest
    for zoom in range(ZOOMS):
        tau = np.exp(_midpoints(low, high))
        curves = _first_curves(age.tobytes(), low, high) if zoom == 0 else _curves(few.noise, age, tau)
        low, high = _closer(few, curves, low, high, widest)
    tau = np.exp(_midpoints(low, high))
    share = (high - low) / (widest[1] - widest[0])
    age_at_stop = (blocks.stop_s - blocks.time_s[first]) / blocks.spacing_s
    parts = _parts(every, _curves(noise, age, tau), tau, share, np.exp(-age_at_stop / tau))
    kept = parts["weight"] > NEGLIGIBLE * parts["weight"].max()
    parts = {name: column[kept] for name, column in parts.items()}
    parts["tau_s"] = parts["tau_s"] * blocks.spacing_s
    parts["level"] = parts["level"] * scale + offset
    for name in ("level_scale", "end", "end_scale"):
        parts[name] = parts[name] * scale
    parts["variance"] = parts["variance"] * scale**2
    return StartFit(**parts)


def _amplitudes(data: _Whitened, curves: _Curves) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    # Least-squares amplitude and residual sum of squares for every noise model and time constant
    amplitude = np.vecdot(curves.f, data.rest[:, None]) / curves.f_squared
    # the residuals themselves, not a difference of sums of squares: that would lose the digits of a steep run
    left = curves.f * amplitude[:, :, None]
    np.subtract(data.rest[:, None], left, out=left)
    rss = np.vecdot(left, left)
    return amplitude, np.maximum(rss, 1e-26 * left.shape[-1])


def _approach_log_weight(data: _Whitened, rss: NDArray[np.float64], m: int) -> NDArray[np.float64]:
    weight: NDArray[np.float64] = data.noise.log_weight[:, None] - (m - 2) / 2 * np.log(rss / rss.min())
    return weight


def _closer(
    data: _Whitened, curves: _Curves, low: float, high: float, widest: tuple[float, float]
) -> tuple[float, float]:
    # Narrower range of log time constants: posterior mean, 4.5 standard deviations and a grid step each side
    _, rss = _amplitudes(data, curves)
    weight = _approach_log_weight(data, rss, curves.f.shape[-1])
    marginal = np.exp(weight - weight.max()).sum(0)
    marginal /= marginal.sum()
    grid = _midpoints(low, high)
    centre = (marginal * grid).sum()
    half = 4.5 * np.sqrt((marginal * (grid - centre) ** 2).sum()) + (high - low) / TAU_COUNT
    return max(float(centre - half), widest[0]), min(float(centre + half), widest[1])


def _parts(
    data: _Whitened, curves: _Curves, tau: NDArray[np.float64], share: float, at_stop: NDArray[np.float64]
) -> dict[str, NDArray[np.float64]]:
    # Weights and t distributions of all parts, readings scaled to mean 0 and standard deviation 1
    m = curves.f.shape[-1]
    noise = data.noise
    amplitude, rss = _amplitudes(data, curves)
    log_approach = (
        _approach_log_weight(data, rss, m)
        - 0.5 * np.log(m)  # one parameter more, as in the Bayesian information criterion
        + np.log(share / len(tau))
    )
    log_constant = noise.log_weight - (m - 1) / 2 * np.log(data.rss / rss.min())
    top = max(log_approach.max(), log_constant.max())
    weight = np.concatenate([np.exp(log_constant - top), np.exp(log_approach - top).ravel()])
    variance = np.concatenate([data.rss / (m - 1), (rss / (m - 2)).ravel()])
    per_ones = np.broadcast_to(1 / noise.ones_squared[:, None], rss.shape)
    factor = np.concatenate([per_ones[:, 0], (per_ones + curves.on_ones**2 / curves.f_squared).ravel()])
    none = np.zeros(len(noise.phi))
    end_scale = np.sqrt(rss / (m - 2) / curves.f_squared) * at_stop
    return {
        "weight": weight / weight.sum(),
        "level": np.concatenate([data.mean, (data.mean[:, None] - amplitude * curves.on_ones).ravel()]),
        "level_scale": np.sqrt(variance * factor),
        "dof": np.concatenate([none + (m - 1), np.full(rss.size, m - 2.0)]),
        "end": np.concatenate([none, (amplitude * at_stop).ravel()]),
        "end_scale": np.concatenate([none, end_scale.ravel()]),
        "tau_s": np.concatenate([none + np.inf, np.tile(tau, len(noise.phi))]),
        "phi": np.concatenate([noise.phi, np.repeat(noise.phi, len(tau))]),
        "variance": variance,
    }
