"""Components of variance: coverage of generalised intervals and planning value, by simulation with known truth.

Standard deviations of articles, mounts and values in W, as a loss bench for chains might show them; a layout lists the
values of every mount of every article.
"""

import math
from typing import NamedTuple

import numpy as np
import pytest

from lossstats.components.components import variance_components
from lossstats.components.interlaboratory import repeatability

SIZES = [pytest.param(200, id="reduced"), pytest.param(3000, id="full", marks=pytest.mark.full)]
BALANCED, LEAST = 0.947, 0.937


class Layout(NamedTuple):
    """Values by article and mount, and the true standard deviations of article, mount, residual."""

    counts: list[list[int]]
    sds: tuple[float, float, float]

    @property
    def balanced(self):
        return len({n for mounts in self.counts for n in mounts}) == len({len(mounts) for mounts in self.counts}) == 1


LAYOUTS = {
    "3 x 2 x 2": Layout([[2, 2]] * 3, (0.3, 0.1, 0.05)),
    "4 x 2 x 2, alike": Layout([[2, 2]] * 4, (0.1, 0.1, 0.05)),
    "6 x 2 x 2": Layout([[2, 2]] * 6, (0.3, 0.1, 0.05)),
    "6 x 2 x 2, articles alike": Layout([[2, 2]] * 6, (0.0, 0.1, 0.05)),
    "6 x 2 x 2, mounts alike": Layout([[2, 2]] * 6, (0.3, 0.0, 0.05)),
    "10 x 2 x 2": Layout([[2, 2]] * 10, (0.1, 0.1, 0.05)),
    "unbalanced": Layout([[2], [1, 3], [2, 1, 3], [1, 2], [3, 2, 1, 1]], (0.3, 0.1, 0.05)),
    "unbalanced, articles alike": Layout([[2], [1, 3], [2, 1, 3], [1, 2], [3, 2, 1, 1]], (0.0, 0.1, 0.05)),
    "unbalanced, mounts alike": Layout([[2], [1, 3], [2, 1, 3], [1, 2], [3, 2, 1, 1]], (0.1, 0.0, 0.05)),
    "18 of 25 values in one article": Layout([[6, 6, 6], [1], [2], [1, 1], [1, 1]], (0.3, 0.1, 0.05)),
}


def measured(layout, trials, seed):
    """Share of tables whose interval holds the truth, and whose planning value is at least the truth, by level."""
    rng = np.random.default_rng(seed)
    article = np.repeat(np.arange(len(layout.counts)), [sum(mounts) for mounts in layout.counts])
    sizes = [n for mounts in layout.counts for n in mounts]
    unit = np.repeat(np.arange(len(sizes)), sizes)
    spec, mount, rest = layout.sds
    truth = [*layout.sds, math.hypot(*layout.sds)]
    held, planned = np.zeros(4), np.zeros(3)
    for _ in range(trials):
        values = 6.5 + spec * rng.normal(size=len(layout.counts))[article] + mount * rng.normal(size=len(sizes))[unit]
        values += rest * rng.normal(size=len(unit))
        table = {"article": article, "mount": unit, "value": values}
        found = variance_components(table, ["article", "mount"], draws=2000, rng=rng)
        ends = [*(found.interval(level) for level in found.levels), found.total_interval()]
        held += [low <= sd <= high for (low, high), sd in zip(ends, truth, strict=True)]
        planned += [found.planning_sd(level) >= sd for level, sd in zip(found.levels, layout.sds, strict=True)]
    return held / trials, planned / trials


@pytest.mark.full
@pytest.mark.parametrize("name", LAYOUTS)
def test_coverage_layout_by_layout(name):
    """Each component in each layout: 94.7 % where balanced, 93.7 % else, but for two standard errors."""
    layout, trials = LAYOUTS[name], 3000
    held, planned = measured(layout, trials, seed=len(name))
    print(f"{name}: intervals {np.round(100 * held, 1)}, planning value {np.round(100 * planned, 1)}")
    target = BALANCED if layout.balanced else LEAST
    assert (held[:3] >= target - 2 * math.sqrt(target * (1 - target) / trials)).all()
    assert held[3] >= 0.93  # of the total nothing was promised
    assert (planned >= 0.8 - 0.05).all()  # meant: 80 %; measured: 77 to 81 %


def test_coverage_of_all_layouts_together():
    """Reduced: pooled over layouts, components apart; Satterthwaite's intervals of the articles would cover 81 %."""
    trials = 100
    shares = [measured(layout, trials, seed=k) for k, layout in enumerate(LAYOUTS.values())]
    held, planned = (np.mean([share[part] for share in shares], axis=0) for part in (0, 1))
    number = trials * len(LAYOUTS)
    assert (held[:3] >= LEAST - 3 * math.sqrt(LEAST * (1 - LEAST) / number)).all(), held
    assert (held[:3] <= 0.99).all(), held
    assert (planned >= 0.8 - 3 * math.sqrt(0.16 / number)).all(), planned


@pytest.mark.parametrize("trials", SIZES)
def test_estimates_are_unbiased_without_balance(trials):
    """The worst layout; means of the estimates against the true variances, four standard errors."""
    layout = LAYOUTS["18 of 25 values in one article"]
    rng = np.random.default_rng(9)
    article = np.repeat(np.arange(5), [sum(mounts) for mounts in layout.counts])
    sizes = [n for mounts in layout.counts for n in mounts]
    unit = np.repeat(np.arange(len(sizes)), sizes)
    found = []
    for _ in range(trials):
        parts = zip(layout.sds, (5, len(sizes), len(unit)), (article, unit, np.arange(len(unit))), strict=True)
        values = sum(sd * rng.normal(size=n)[code] for sd, n, code in parts)
        table = {"article": article, "mount": unit, "value": values}
        found.append(list(variance_components(table, ["article", "mount"], draws=2000).variance.values()))
    error = np.std(found, axis=0, ddof=1) / math.sqrt(trials)
    assert (np.abs(np.mean(found, axis=0) - np.square(layout.sds)) < 4 * error).all()


@pytest.mark.parametrize("trials", SIZES)
@pytest.mark.parametrize("numbers", [(2, 2, 2, 2, 2, 2), (1, 2, 3, 4, 2, 3, 3, 5)], ids=["equal", "unequal"])
def test_laboratories(numbers, trials):
    """Coverage of s_r, s_L, s_R, and how often alike laboratories are flagged by Cochran, by Grubbs, by h and k."""
    rng = np.random.default_rng(sum(numbers))
    truth = {"s_r": 0.05, "s_L": 0.08, "s_R": math.hypot(0.05, 0.08)}
    laboratory = np.repeat(np.arange(len(numbers)), numbers)
    held, flagged, beyond = np.zeros(3), np.zeros(2), np.zeros(2)
    for _ in range(trials):
        values = 6.5 + 0.08 * rng.normal(size=len(numbers))[laboratory] + 0.05 * rng.normal(size=len(laboratory))
        found = repeatability({"laboratory": laboratory, "value": values}, rng=rng)
        held += [found.interval(name).low <= sd <= found.interval(name).high for name, sd in truth.items()]
        marks = {test.name: bool(test.mark) for test in found.tests}
        flagged += [marks["Cochran"], marks["Grubbs, highest mean"] or marks["Grubbs, lowest mean"]]
        k = [bool(lab.k_mark) for lab in found.laboratories if lab.k is not None]
        beyond += [np.mean([bool(lab.h_mark) for lab in found.laboratories]), np.mean(k)]
    print(f"{numbers}: intervals {held / trials}, Cochran and Grubbs {flagged / trials}, h and k {beyond / trials}")
    assert (held / trials >= LEAST - 3 * math.sqrt(LEAST * (1 - LEAST) / trials)).all()
    assert (flagged / trials <= 0.05 + 3 * math.sqrt(0.05 * 0.95 / trials)).all()
    assert (beyond / trials <= 0.05 + 3 * math.sqrt(0.05 * 0.95 / trials)).all()
