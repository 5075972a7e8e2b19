"""The budget of a saving: every source listed, nothing counted twice, the same in text, HTML, dict and CSV."""

import io

import numpy as np
import pandas as pd
import pytest

from lossstats.comparison.comparison import compare_pairs
from lossstats.conclusion.saving_budget import make_saving_budget

BEFORE, AFTER = [7.10, 6.84, 7.32, 6.95], [6.61, 6.40, 6.71, 6.52]


def budget(shared=None, stated=None, **options):
    c = compare_pairs(BEFORE, AFTER, shared=shared or {"gain": (0.05, 12.0), "zero": 0.03}, **options)
    d = c.difference
    words = {"scatter": "between articles", "gain": "certificate", "zero": "<zero>"} if stated is None else stated
    return make_saving_budget(d, c.percent, d._spread, words, unit="W"), c


def test_parts_add_up_to_the_interval_in_the_unit_and_in_percent():
    b, c = budget()
    assert np.hypot.reduce([s.contribution for s in b.sources]) == pytest.approx(c.difference.standard_uncertainty)
    assert np.hypot.reduce([s.percent_contribution for s in b.sources]) == pytest.approx(c.percent.standard_uncertainty)
    assert sum(s.share for s in b.sources) == pytest.approx(1) == sum(s.percent_share for s in b.sources)


def test_by_hand():
    """Gain: 5 % of the saving; zero: cancels; scatter: s / sqrt(n) of the four differences."""
    b, c = budget()
    found = {s.source: s for s in b.sources}
    differences = np.subtract(BEFORE, AFTER)
    assert found["gain"].contribution == pytest.approx(0.05 * differences.mean())
    assert found["scatter"].contribution == pytest.approx(differences.std(ddof=1) / 2)
    assert (found["zero"].contribution, found["zero"].counted) == (0.0, "cancels in the difference; added in percent")
    assert found["gain"].counted == "added; cancels in percent"
    assert (found["gain"].kind, found["gain"].degrees_of_freedom, found["gain"].stated) == ("B", 12.0, "certificate")
    assert (found["scatter"].kind, found["scatter"].degrees_of_freedom) == ("A", 3)


def test_readings_and_resolution_are_in_the_scatter_and_not_added():
    b, _ = budget(level_uncertainty=0.01, resolution=0.01)
    found = {s.source: s for s in b.sources}
    assert found["readings"].contribution == found["resolution"].contribution == 0
    assert found["readings"].counted == "inside the scatter, not added again (alone: 0.0071 W)"  # 0.01 sqrt(2 / 4)
    assert (found["readings"].kind, found["resolution"].kind) == ("A", "B")  # JCGM 100, F.2.2.1
    assert found["resolution"].counted == "inside the scatter, not added again (alone: 0.0041 W)"  # 0.01 sqrt(2 / 12)


def test_a_scatter_too_small_to_be_believed_gives_way_to_its_floor():
    b, c = budget(level_uncertainty=0.5)
    found = {s.source: s for s in b.sources}
    assert "resolution" not in found
    assert (found["scatter"].contribution, found["scatter"].counted) == (
        0.0,
        "smaller than what the readings alone cause, so not believed",
    )
    assert found["readings"].contribution == pytest.approx(0.5 * np.sqrt(0.5))
    assert found["readings"].counted == "added in place of a smaller scatter: a floor"


def test_text_html_and_csv_say_the_same(tmp_path):
    b, _ = budget()
    text = str(b).splitlines()
    assert text[0] == "Uncertainty budget of the saving" and text[-1].startswith("  combined")
    assert [line.split()[0] for line in text[2:]] == [*(s.source for s in b.sources), "combined"]
    assert "&lt;zero&gt;" not in b._repr_html_() and b._repr_html_().count("<tr>") == len(text) - 1
    b.to_csv(tmp_path / "budget.csv")
    again = pd.read_csv(io.StringIO((tmp_path / "budget.csv").read_text(encoding="utf-8")), index_col="source")
    # older pandas reads the last digit of a number roughly
    np.testing.assert_allclose(again["contribution"], b.table["contribution"], rtol=1e-14)
    with pytest.raises(FileExistsError):
        b.to_csv(tmp_path / "budget.csv")
    assert b.to_dict()["sources"][0]["source"] == "scatter"


def test_markup_in_a_name_stays_text():
    b, _ = budget(shared={"<b>oil</b>": 0.02}, stated={})
    assert "<b>oil" not in b._repr_html_() and "&lt;b&gt;oil" in b._repr_html_()
    assert b.table.loc["<b>oil</b>", "stated"] == "as named in the comparison"


def test_no_interval_no_budget():
    b = make_saving_budget(None, None, None, {}, unit="W", why_none="one article")
    assert b.table.empty and not b.added
    assert "none: one article" in str(b) and "one article" in b._repr_html_()
