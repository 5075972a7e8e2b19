"""Mean squares against the paired t and the analysis of variance, unbiased by simulation, pooling."""

import math

import numpy as np
import pytest

from lossstats.components.components import variance_components
from lossstats.planning.pilot_squares import MeanSquare, mean_squares, pool, solve

SD = {"article": 0.3, "change": 0.15, "mount": 0.1, "run": 0.05}


def cells(rng, layout, *, blocks=True):
    """Levels by article and condition; layout: for each article the numbers of runs of its mounts."""
    found = {}
    for number, runs in enumerate(layout):
        level = rng.normal(0, SD["article"])
        conditions = ("A", "B") if blocks else ("AB"[number % 2],)
        for condition in conditions:
            own = level + rng.normal(0, SD["change"] / math.sqrt(2))
            found[f"K{number}", condition] = [
                list(own + rng.normal(0, SD["mount"]) + rng.normal(0, SD["run"], r)) for r in runs
            ]
    return found


def test_balanced_pairs_are_the_paired_t_and_nested_anova():
    table = cells(np.random.default_rng(3), [(2, 2)] * 5)
    squares = mean_squares(table, blocks=True)
    means = {key: np.mean(value) for key, value in table.items()}
    differences = [means[f"K{i}", "A"] - means[f"K{i}", "B"] for i in range(5)]
    assert squares["change"].value == pytest.approx(np.var(differences, ddof=1))
    assert (squares["change"].degrees_of_freedom, squares["mount"].degrees_of_freedom) == (4, 10)
    assert squares["change"].expected == {"change": 1, "mount": 1, "run": 0.5}
    found, _ = solve(squares)
    sums = {name: square.value for name, square in squares.items()}
    assert found["change"][0] ** 2 == pytest.approx(sums["change"] - sums["mount"])  # 2 MS of mount means / 2 mounts
    assert found["mount"][0] ** 2 == pytest.approx(sums["mount"] - sums["run"] / 2)
    dof = (sums["change"] - sums["mount"]) ** 2 / (sums["change"] ** 2 / 4 + sums["mount"] ** 2 / 10)  # Satterthwaite
    assert found["change"].degrees_of_freedom == pytest.approx(dof)


@pytest.mark.parametrize("layout", [[(2, 2)] * 4, [(1,), (2, 2, 1), (3, 1)]])
def test_runs_and_mounts_as_in_the_components_of_a_nested_table(layout):
    table = cells(np.random.default_rng(2), layout)
    rows = [(a + c, m, v) for (a, c), mounts in table.items() for m, runs in enumerate(mounts) for v in runs]
    nested = variance_components(
        dict(zip(("article", "mount", "value"), map(list, zip(*rows, strict=True)), strict=True)), ["article", "mount"]
    )
    found, _ = solve({k: v for k, v in mean_squares(table, blocks=True).items() if k in ("run", "mount")})
    assert found["run"][0] == pytest.approx(nested.sd["residual"])
    if layout[0] == (2, 2):
        assert found["mount"][0] == pytest.approx(nested.sd["mount"])


@pytest.mark.parametrize("blocks", [True, False])
@pytest.mark.parametrize("layout", [[(2, 2)] * 6, [(1,), (2, 2, 1), (3, 1), (1, 1), (2,), (1, 2)]])
def test_unbiased(layout, blocks):
    rng, trials = np.random.default_rng(4), 400
    found = []
    for _ in range(trials):
        squares = mean_squares(cells(rng, layout, blocks=blocks), blocks=blocks)
        names = [name for name in ("run", "mount", "change", "article") if name in squares]
        system = [[squares[a].expected.get(b, 0.0) for b in names] for a in names]
        found.append(np.linalg.solve(system, [squares[name].value for name in names]))
    mean, error = np.mean(found, axis=0), np.std(found, axis=0) / math.sqrt(trials)
    true = [SD[name] ** 2 for name in names]
    if not blocks:
        true[-1] += SD["change"] ** 2 / 2  # what an article adds in one condition
    assert (np.abs(mean - true) < 4 * error).all()


def test_a_negative_variance_is_shown_as_0_and_said():
    squares = {"run": MeanSquare(1.0, 8, {"run": 1.0}), "mount": MeanSquare(0.4, 6, {"mount": 1.0, "run": 0.5})}
    found, notes = solve(squares)
    assert found["mount"] == (0.0, 6) and found["run"] == (1.0, 8)
    assert notes == ("mount: cannot be told from 0 with 6 degrees of freedom; that does not make it 0",)


def test_pooling_by_degrees_of_freedom():
    few, many = MeanSquare(1.0, 2, {"run": 1.0}), MeanSquare(4.0, 6, {"run": 0.5})
    assert pool([{"run": few}, {"run": many}, {}])["run"] == MeanSquare(3.25, 8, {"run": 0.625})


def test_nothing_repeated_is_refused():
    with pytest.raises(
        ValueError, match="found nothing repeated, neither runs nor mounts nor articles; accepted: trials"
    ):
        solve(mean_squares({("K0", "A"): [[6.0]], ("K0", "B"): [[5.8]]}, blocks=True))
