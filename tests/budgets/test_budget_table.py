"""A budget as text, HTML, dict, table and CSV."""

import csv
import math

import pytest
from scipy import stats

from lossstats.budgets.budget import propagate
from lossstats.budgets.budget_table import write_new
from lossstats.budgets.source import Source

COLUMNS = ["source", "value", "unit", "distribution", "u", "dof", "sensitivity", "contribution", "share"]


@pytest.fixture
def budget():
    inputs = {
        "drive": Source.normal(0.14, value=280.0, dof=9, unit="W"),
        "driven<b>": Source.rectangular(0.24, value=275.0, unit="W"),
    }
    return propagate(lambda **power: power["drive"] - power["driven<b>"], inputs, unit="W", output="loss")


@pytest.fixture
def budgets():
    inputs = {"x": Source.normal(0.1, value=2.0), "y": Source.normal(0.2, value=3.0)}
    return propagate(lambda x, y: {"sum": x + y, "product": x * y}, inputs)


def test_expanded_is_student(budget):
    k, half = budget.expanded(0.99)
    assert k == pytest.approx(stats.t.ppf(0.995, budget.degrees_of_freedom), rel=1e-9)
    assert half == pytest.approx(k * budget.standard_uncertainty)
    assert budget.interval(0.99) == pytest.approx((5 - half, 5 + half))


def test_truncated_degrees_of_freedom(budget):
    whole = math.floor(budget.degrees_of_freedom)
    assert not budget.degrees_of_freedom.is_integer()
    assert budget.expanded(truncated=True).k == pytest.approx(stats.t.ppf(0.975, whole), rel=1e-9)


def test_confidence_is_checked(budget):
    with pytest.raises(ValueError, match="confidence: found 95; accepted: a number between 0 and 1"):
        budget.expanded(95)


def test_table_and_dict_are_unrounded(budget):
    table = budget.table
    assert list(table.columns) == COLUMNS
    assert table.u.tolist() == [0.14, pytest.approx(0.24 / math.sqrt(3), rel=1e-15)]
    assert table.share.sum() == pytest.approx(1.0)
    assert budget.to_dict()["contributions"][0]["standard_uncertainty"] == 0.14


def test_text_is_aligned_and_names_the_convention(budget):
    lines = str(budget).splitlines()
    assert lines[1].split() == [*COLUMNS[:-1], "share", "(%)"]
    ends = {len(line) for line in lines[1:4]}
    assert len(ends) == 1  # right edges of the last column
    assert "(effective, not truncated to an integer)" in str(budget)
    assert "loss                  5.00 W" in str(budget)


def test_html_is_escaped_and_has_no_colours(budget):
    html = budget._repr_html_()
    assert "driven&lt;b&gt;" in html and "<b>" not in html
    assert "color" not in html
    assert "5.00 W" in html


def test_csv_can_be_read_back(budget, tmp_path):
    budget.to_csv(tmp_path / "budget.csv")
    with (tmp_path / "budget.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    assert [row["source"] for row in rows] == ["drive", "driven<b>"]
    assert float(rows[1]["u"]) == budget.contributions[1].standard_uncertainty
    assert float(rows[1]["dof"]) == math.inf


def test_csv_is_never_written_over(budget, tmp_path):
    (tmp_path / "budget.csv").write_text("mine")
    with pytest.raises(FileExistsError, match=r"path: found budget.csv already; accepted: the name of a new file"):
        budget.to_csv(tmp_path / "budget.csv")
    assert [p.name for p in tmp_path.iterdir()] == ["budget.csv"]
    assert (tmp_path / "budget.csv").read_text() == "mine"


def test_nothing_is_left_of_a_write_that_fails(tmp_path):
    with pytest.raises(UnicodeEncodeError):
        write_new(tmp_path / "budget.csv", "good \ud800 bad")
    assert list(tmp_path.iterdir()) == []


def test_several_results_in_every_form(budgets, tmp_path):
    assert list(budgets.table.columns) == ["output", *COLUMNS]
    assert budgets.table.output.tolist() == ["sum", "sum", "product", "product"]
    assert "r(sum, product)" in str(budgets) and "r(sum, product)" in budgets._repr_html_()
    assert str(budgets).count("Uncertainty budget") == 2
    assert len(budgets.to_dict()["covariance"]) == 2
    budgets.to_csv(tmp_path / "all.csv")
    assert (tmp_path / "all.csv").read_text().startswith("output,source,value")


def test_a_result_is_found_by_name(budgets):
    assert budgets["product"].value == 6.0
    with pytest.raises(KeyError, match="output: found 'ratio'; accepted: sum, product"):
        budgets["ratio"]
