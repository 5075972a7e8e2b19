"""Several conditions: family-wise error and simultaneous coverage, by simulation with known truth."""

import math

import numpy as np
import pytest

from lossstats.ranking import rank_conditions

# Units a condition and standard deviations, the control first.
ROWS = [(4, (1, 1, 1)), (5, (1, 1, 1, 1)), (5, (1, 1, 1, 4)), (5, (4, 1, 1, 1)), (10, (1, 1, 1, 4)), (10, (4, 1, 1, 1))]
DESIGNS = {
    "all pairs": {},
    "control": {"control": "A"},
    "blocks, all pairs": {"blocks": True},
    "blocks, control": {"blocks": True, "control": "A"},
}
REDUCED, FULL = 40, 3000


def drawn(rng, n, sds, shared_sd=0.0):
    common = shared_sd * rng.normal(size=n) - 10  # below 0 no ratio has a meaning, which saves the time for it
    return {name: common + sd * rng.normal(size=n) for name, sd in zip("ABCD", sds, strict=False)}


def false_claims(rng, n, sds, options, trials):
    """Share of trials without a true difference in which an interval, an adjusted p, the overall p finds one."""
    found = np.zeros(3)
    for _ in range(trials):
        ranking = rank_conditions(drawn(rng, n, sds, 2.0 * ("blocks" in options)), **options)
        found += [
            any(not p.low <= 0 <= p.high for p in ranking.comparisons),
            any(p.p_adjusted < 0.05 for p in ranking.comparisons),
            ranking.overall_p < 0.05,
        ]
    return found / trials


@pytest.mark.parametrize("design", DESIGNS)
def test_family_wise_error(design):
    """All rows together: 5 % but for three standard errors; unadjusted tests would find a difference in 11 to 19 %."""
    rng = np.random.default_rng(20)
    rates = np.mean([false_claims(rng, n, sds, DESIGNS[design], REDUCED) for n, sds in ROWS], axis=0)
    assert (rates <= 0.05 + 3 * math.sqrt(0.05 * 0.95 / (len(ROWS) * REDUCED))).all(), rates


@pytest.mark.full
@pytest.mark.parametrize("design", DESIGNS)
@pytest.mark.parametrize(("n", "sds"), ROWS)
def test_family_wise_error_row_by_row(n, sds, design):
    rates = false_claims(np.random.default_rng(n + len(sds) + max(sds)), n, sds, DESIGNS[design], FULL)
    print(f"{n} {sds} {design}: intervals {rates[0]:.3f}, p {rates[1]:.3f}, overall {rates[2]:.3f}")
    assert (rates <= 0.06 + 2 * math.sqrt(0.06 * 0.94 / FULL)).all()


def held_together(rng, trials, gain, options):
    """Share of trials in which all intervals of differences, and all of ratios, hold the truth."""
    truth = {"A": 6.5, "B": 5.5, "C": 6.5, "D": 8.0}
    held = np.zeros(2)
    for _ in range(trials):
        factor = 1 + gain * rng.normal()
        article = rng.normal(0, 0.5, 5) * ("blocks" in options)
        values = {name: factor * (level + article + rng.normal(0, 0.2, 5)) for name, level in truth.items()}
        ranking = rank_conditions(values, shared={"gain": gain}, **options)
        held += [
            all(p.low <= truth[p.first] - truth[p.second] <= p.high for p in ranking.comparisons),
            all(r.low <= 100 * truth[r.condition] / truth["A"] <= r.high for r in ranking.control_ratios),
        ]
    return held / trials


@pytest.mark.parametrize(("design", "gain"), [("all pairs", 0.03), ("control", 0.1), ("blocks, control", 0.03)])
def test_intervals_hold_together_with_a_gain_error(design, gain):
    """One gain error, common to all; it enters outside the factor of the family and must not cost coverage."""
    trials = 100
    held = held_together(np.random.default_rng(21), trials, gain, DESIGNS[design])
    assert (held >= 0.95 - 3 * math.sqrt(0.05 * 0.95 / trials)).all(), held


@pytest.mark.full
@pytest.mark.parametrize("gain", [0.01, 0.03, 0.1])
@pytest.mark.parametrize("design", ["all pairs", "control", "blocks, control"])
def test_intervals_hold_together_at_full_size(design, gain):
    held = held_together(np.random.default_rng(22), FULL, gain, DESIGNS[design])
    print(f"{design}, gain {gain}: differences {held[0]:.3f}, ratios {held[1]:.3f}")
    assert (held >= 0.94 - 2 * math.sqrt(0.05 * 0.95 / FULL)).all()
