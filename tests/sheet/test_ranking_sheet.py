"""Result sheet of a ranking: every number from the result, text stays text, whole from folder to page."""

import json
import re
from dataclasses import replace

import pytest

from lossstats.conclusion.analysis import analyse
from lossstats.review.reproduction import reproduce
from lossstats.sheet.ranking_sheet import differences_section, ranked_values_section
from lossstats.simulator.examples import example_trial
from lossstats.simulator.simulate import Readings, lay_out_blocks, simulate_trial
from lossstats.trial_folder.trial import write_trial

PICTURES = dict.fromkeys(("ranking", "conditions"), b"png")


@pytest.fixture(scope="module")
def result():
    return analyse(example_trial("four_oils"))


def cells(html):
    return [re.sub("<[^>]+>", "", cell) for cell in re.findall(r"<t[hd][^>]*>.*?</t[hd]>", html)]


def test_differences_as_in_the_result(result):
    found = cells(differences_section(result, PICTURES))
    for pair in result.ranking.comparisons:
        at = found.index(f"{pair.second} against {pair.first}")
        value, ends, u, dof, p, verdict = found[at + 1 : at + 7]
        assert float(value.replace("−", "-")) == pytest.approx(pair.difference, abs=6e-4)
        low, high = (float(end.replace("−", "-")) for end in ends.split(" to "))
        assert (low, high) == pytest.approx((pair.low, pair.high), abs=6e-4)
        assert float(u) == pytest.approx(pair.standard_uncertainty, abs=6e-4) and dof == "5"
        assert float(p) == pytest.approx(pair.p_adjusted, rel=0.05) and verdict == pair.verdict.words
    assert found[found.index("order by mean, best first") + 1] == ", ".join(result.ranking.order)
    assert found[found.index("cannot be told apart") + 1] == ", ".join(result.ranking.groups[0])


def test_ratios_and_values(result):
    found = cells(differences_section(result, PICTURES))
    assert float(found[found.index("oil B") + 1]) == pytest.approx(
        result.ranking.ratios.loc["oil B", "percent"], abs=0.06
    )
    values = cells(ranked_values_section(result, PICTURES))
    table = result.unit_table
    assert list(table.columns) == ["oil A", "oil B", "oil C", "oil D"]
    at = values.index("K03")
    assert [float(x) for x in values[at + 1 : at + 5]] == pytest.approx(table.loc["treated", "K03"].tolist(), abs=6e-5)
    at = values.index("mean")
    assert [float(x) for x in values[at + 1 : at + 5]] == pytest.approx(table.mean().tolist(), abs=6e-5)


def test_absent_numbers_say_why(result):
    ratio = replace(result.ranking.control_ratios[0], percent=None, low=None, high=None, why_no_percent="of <this>")
    bare = replace(result.ranking, control_ratios=(ratio,), overall=None, why_no_overall="no scatter", groups=())
    html = differences_section(replace(result, ranking=bare), PICTURES)
    assert "of &lt;this&gt;" in html and "no test: no scatter" in html and "cannot be told apart" not in cells(html)


def test_from_folder_to_page_and_back(tmp_path):
    plan = lay_out_blocks(["oil A", "oil B", "oil C"], articles=2, rng=1)
    write_trial(simulate_trial(replace(plan, readings=Readings(samples=30)), rng=1)[0], tmp_path / "oils")
    result = analyse(tmp_path / "oils")
    result.save(tmp_path / "oils")
    written = tmp_path / "oils" / "results"
    assert {path.name for path in written.iterdir()} >= {"ranking.png", "conditions.png", "levels.png", "budget.png"}
    page = (written / "result_sheet.html").read_text("utf-8")
    for heading in (
        "The differences",
        "The values compared",
        "What the uncertainty is made of",
        "What may not be claimed",
    ):
        assert f"<h2>{heading}</h2>" in page
    leading = result.ranking.leading
    assert f"saving with {leading.second} against oil A" in page and "The saving and" not in page
    sealed = json.loads((written / "result.json").read_text("utf-8"))
    assert sealed["comparison"] is None
    assert sealed["ranking"]["comparisons"][0]["low"] == result.ranking.comparisons[0].low
    assert reproduce(tmp_path / "oils").agrees
    sealed["ranking"]["comparisons"][1]["p_adjusted"] *= 1 + 1e-6
    (written / "result.json").write_text(json.dumps(sealed), encoding="utf-8")
    departures = reproduce(tmp_path / "oils").departures
    assert [(d.stage, d.where) for d in departures] == [("comparison", "ranking / comparisons / 2 / p_adjusted")]
