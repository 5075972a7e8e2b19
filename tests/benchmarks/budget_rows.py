"""Linear propagation beside what a user would pick for it."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Any

import numpy as np
from timed_row import TimedRow
from uncertainties import unumpy

from lossstats.budgets.budget_arrays import propagate_many


def loss(torque_in: Any, speed_in: Any, torque_out: Any, speed_out: Any) -> Any:
    """Power loss of two shafts, torques in N m, speeds in r/min."""
    return (torque_in * speed_in - torque_out * speed_out) * math.pi / 30


def readings(m: int) -> tuple[dict[str, np.ndarray], dict[str, np.ndarray]]:
    """Torque and speed of both shafts of m runs near 280 W, and their standard uncertainties."""
    rng = np.random.default_rng(6)
    centres = {"torque_in": 8.9, "speed_in": 300.0, "torque_out": 8.7, "speed_out": 300.0}
    values = {name: rng.normal(centre, 0.005 * centre, m) for name, centre in centres.items()}
    return values, {name: rng.uniform(0.5e-3, 2e-3, m) * column for name, column in values.items()}


def row(m: int, target: str) -> TimedRow:
    values, u = readings(m)

    def peer() -> np.ndarray:
        found = loss(**{name: unumpy.uarray(values[name], u[name]) for name in values})
        return unumpy.std_devs(found)

    def ours() -> np.ndarray:
        return propagate_many(loss, values, u).standard_uncertainties

    def agree() -> bool:
        return bool(np.allclose(ours(), peer(), rtol=1e-9, atol=0))

    return TimedRow(f"linear propagation of {m} results, 4 inputs", "uncertainties.unumpy", ours, peer, agree, target)


def rows() -> Iterator[TimedRow]:
    yield row(500, "≥ 80")
    yield row(2000, "≥ 80")
