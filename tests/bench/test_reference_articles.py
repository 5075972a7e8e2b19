"""Reference articles compared: against a general library, by simulation, and what is refused."""

import json
import math

import numpy as np
import pytest
import statsmodels.api as sm

from lossstats.bench.reference_articles import compare_references
from lossstats.records.estimate import Term

PAIRS = [("R1", "R2"), ("R1", "R3"), ("R2", "R3"), ("R3", "R4"), ("R1", "R4")]
TRUE = {"R1": 6.2, "R2": 6.5, "R3": 5.9, "R4": 7.0}


def measured(rng, sd=0.02, fitting_sd=0.0):
    rng = np.random.default_rng(rng)
    now = {name: value + rng.normal(0, fitting_sd) for name, value in TRUE.items()}
    return [(a, b, now[a] - now[b] + rng.normal(0, sd)) for a, b in PAIRS]


def test_values_as_restrained_least_squares_of_a_general_library():
    found = compare_references(measured(1), known={"R1": 6.2})
    design = np.array([[-1, 0, 0], [0, -1, 0], [1, -1, 0], [0, 1, -1], [0, 0, -1]], dtype=float)
    y = np.array([d for _, _, d in measured(1)]) - 6.2 * np.array([1, 1, 0, 0, 1])
    fit = sm.OLS(y, design).fit()
    assert [one.value for one in found.values.values()] == pytest.approx(fit.params.tolist(), rel=1e-9)
    assert [one.standard_uncertainty for one in found.values.values()] == pytest.approx(fit.bse.tolist(), rel=1e-9)
    assert (found.residual_sd, found.degrees_of_freedom) == (pytest.approx(math.sqrt(fit.scale)), 2)
    assert found.residuals == pytest.approx(fit.resid.tolist(), abs=1e-12)


def test_fittings_and_held_value_are_added():
    bare = compare_references(measured(1), known={"R1": 6.2}, repeatability=Term(0.02, 30))
    full = compare_references(
        measured(1), known={"R1": 6.2}, repeatability=Term(0.02, 30), between_sd=0.05, u_known=0.03
    )
    parts = full.values["R2"].components
    assert parts["scatter"] == pytest.approx(bare.values["R2"].standard_uncertainty)
    assert parts["fittings"] == pytest.approx(0.05 * math.sqrt(2))  # its own fitting and that of the held article
    assert parts["held value"] == 0.03


def test_intervals_cover_the_truth():
    """Coverage by simulation, each article fitted once a session with a scatter that the residuals cannot show."""
    rng, hits, trials = np.random.default_rng(3), 0, 800
    for _ in range(trials):
        made = measured(rng, fitting_sd=0.05)
        found = compare_references(made, known={"R1": 6.2}, repeatability=Term(0.02), between_sd=0.05)
        hits += found.values["R4"].low <= 7.0 <= found.values["R4"].high
    assert hits / trials == pytest.approx(0.95, abs=3 * math.sqrt(0.95 * 0.05 / trials))


def test_two_held_articles():
    found = compare_references(measured(1), known={"R1": 6.2, "R2": 6.5})
    assert list(found.values) == ["R3", "R4"] and found.degrees_of_freedom == 3


def test_shown_as_text_html_and_dict():
    found = compare_references(measured(1), known={"R1": 6.2})
    assert "R1, held        6.2 W" in str(found) and "(2 degrees of freedom)" in str(found)
    made = [(a.replace("R", "<R"), b.replace("R", "<R"), d) for a, b, d in measured(1)]
    assert "&lt;R2" in compare_references(made, known={"<R1": 6.2})._repr_html_()
    assert json.loads(json.dumps(found.to_dict()))["values"]["R2"]["value"] == found.values["R2"].value


@pytest.mark.parametrize(
    ("differences", "keys", "message"),
    [
        ([("A", "A", 0.1)], {}, "differences, place 1: found 'A' against itself; accepted: two articles"),
        ([("A", "B", math.nan)], {}, "differences, place 1: found nan; accepted: a finite number"),
        ([("B", "C", 0.1)], {}, r"known: found \['A'\]; accepted: one or more of the articles compared, 'B', 'C'"),
        ([("A", "B", 0.1)], {"known": {}}, r"known: found \[\]; accepted: one or more"),
        ([("A", "B", 0.1)], {}, "differences: found 1, and 1 unknown; accepted: at least one difference more"),
        ([("A", "B", 0.1)], {"known": {"A": 1.0, "B": 0.9}}, "ties an unknown article to a known one"),
        ([("A", "B", 0.1)] * 2 + [("C", "D", 0.1)] * 2, {}, "found none that ties B and C and D to a known one"),
        ([("A", "B", 0.1)] * 2, {"u_known": -1}, "u_known: found -1; accepted: a finite number, an uncertainty not"),
        ([("A", "B", 0.1)] * 2, {"known": {"A": math.inf}}, "A: found inf; accepted: a finite number"),
        ([("A", "B", 0.1)] * 2, {"repeatability": Term(0.0)}, "found no scatter and no uncertainty"),
        ([("A", "B", 0.1)] * 2, {"confidence": 2}, "confidence: found 2"),
    ],
)
def test_bad_input(differences, keys, message):
    with pytest.raises(ValueError, match=message):
        compare_references(differences, **{"known": {"A": 1.0}, **keys})
