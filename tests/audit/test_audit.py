"""The audit as a user calls it, in Python and as a command; the claims of the trade it must read right."""

import re
import subprocess
import sys

import pytest

from lossstats.audit.audit import audit_figures
from lossstats.cli import main


def agreeing(audit):
    return [reading.percent_of for reading in audit.readings if reading.verdict == "agrees"]


# Common practice, no source: three claims as they are quoted about drive losses.
def test_9_5_percent_and_about_half_a_watt():
    audit = audit_figures(before="5.1 W", after="4.6 W", percent="9.5 %", saving="about 0.5 W")
    assert audit.verdict == "agrees"
    assert "before" in agreeing(audit)
    assert audit.words[0] == "4.6 W is 9.8 % (rounding: 7.9 to 11.7) less than 5.1 W"
    same = audit_figures(before="5.1 W", after="4.6 W", percent="9.5 %", saving="0.5", about=["saving"])
    assert same.readings[0].possible["saving"] == audit.readings[0].possible["saving"]


def test_38_percent_holds_only_while_8_means_at_most_7_56():
    audit = audit_figures(before="8 W", after="4.6 W", percent="38 %")
    assert audit.verdict == "agrees"
    assert agreeing(audit) == ["before"]
    assert audit.readings[0].possible["before"].exact_high == "310/41"
    assert "only while '8 W' (before) means 7.500 to 7.561 W" in audit.why
    assert audit_figures(before="7.5 W", after="4.6 W", percent="38 %").verdict == "agrees"
    assert not audit_figures(before="7.7 W", after="4.6 W", percent="38 %", percent_of="before").possible


def test_8_is_57_percent_more_than_5_1_not_50():
    audit = audit_figures(before="5.1 W", after="8 W", percent="50 % more")
    assert audit.words[0] == "8 W is 57 % (rounding: 46 to 68) more than 5.1 W"
    assert audit.readings[0].possible["after"].ends[1] == pytest.approx(5.15 * 1.505)  # 7.75, not 8
    assert not audit_figures(before="5.1 W", after="8.0 W", percent="50.0 % more", percent_of="before").possible
    assert audit_figures(before="5.1 W", after="8.0 W", percent="57 % more", percent_of="before").possible


def test_50_percent_worse_is_33_percent_better():
    assert audit_figures(percent="50 % more", percent_back="33 % less").verdict == "agrees"
    wrong = audit_figures(percent="50 % more", percent_back="50 % less")
    assert wrong.verdict == "cannot all be true"
    assert "A is 50 % more than B says: B is 33.3 % (rounding: 33.11 to 33.55) less than A" in wrong.words


def test_one_checks_failure_is_enough_but_ways_of_pairing_are_alternatives():
    """Half width 0.20 from sd 0.25: 8 or 9 pairs, or 14 to 15 units in each of two groups."""
    figures = {"saving": "0.50", "sd": "0.25", "interval": "0.30 to 0.70 W"}
    assert audit_figures(**figures, n=8, paired=True).possible
    either = audit_figures(**figures, n=8)
    assert either.verdict == "agrees"
    assert either.why.endswith(", if paired")
    assert audit_figures(**figures, n=14).why.endswith(", if independent")
    neither = audit_figures(**figures, n=5)
    assert neither.verdict == "cannot all be true"
    assert neither.why == "interval from sd '0.25' and n = 5"
    assert not audit_figures(before="8.0", after="7.5", n=1, sd="0.2").possible
    assert len(audit_figures(n=(4, 5), p="0.5", saving="0.5").checks) == 1  # unequal: not pairs


def test_steps_and_sizes():
    audit = audit_figures(before="7.14", after="6.60", n=4, grid="0.1", resolution="0.1", repeatability="0.2")
    assert [c.verdict for c in audit.checks] == ["cannot all be true", "agrees", "above", "above"]
    absent = audit_figures(before="7.14", resolution="0.1", repeatability="0.2")
    assert [c.verdict for c in absent.checks] == ["cannot be told", "cannot be told"]
    assert absent.verdict == "cannot be told"
    assert audit_figures(saving="0.50", sd="0.16", n=3, grid="0.1", paired=True).checks[-1].name == "sd on the step"
    assert not audit_figures(saving="0.50", sd="0.07", n=2, grid="0.1", paired=True).possible
    assert audit_figures(saving="0.55", sd="0.07", n=2, grid="0.1", paired=True).possible
    percent = audit_figures(percent="7 %", interval="3 to 12 %", p="0.02")
    assert [c.name for c in percent.checks] == ["interval and percent", "interval and p"]


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        ({}, "figures: found none; accepted: at least one of before, after, saving"),
        ({"before": "1,000 W"}, "before: found '1,000 W', where the comma may part thousands or decimals"),
        ({"before": "8", "about": ["after"]}, "about: found 'after'; accepted: names of the figures quoted"),
        ({"before": "8", "percent_of": "speed"}, "percent_of: found 'speed'; accepted: before, after, input power"),
        ({"before": "8", "p_by": "z"}, "p_by: found 'z'; accepted: t, exact, or nothing"),
        ({"before": "8", "confidence": 95}, "confidence: found 95; accepted: a number between 0 and 1"),
        ({"before": "8", "grid": "0"}, "grid: found '0'; accepted: a figure above 0, such as '0.1 W'"),
        ({"before": "8 N"}, "before: found '8 N' in 'N'; accepted: W, or no unit"),
    ],
)
def test_refusals(arguments, words):
    with pytest.raises(ValueError, match="found") as caught:
        audit_figures(**arguments)
    assert words in str(caught.value)


def test_no_word_of_intent():
    audit = audit_figures(before="8.0", after="5.1", saving="3.3", n=3, p="0.01", sd="0.2", interval="1 to 2")
    assert not audit.possible
    assert not re.search(r"\b(fraud\w*|fake\w*|invent\w*|lies?|lied|dishonest\w*|cheat\w*)\b", str(audit).lower())


def test_three_renderings_and_table():
    audit = audit_figures(before="8 W", after="4.6 W", percent="38 %", p="< 0.05")
    assert str(audit).startswith("Audit of quoted figures\n  verdict")
    assert "&#x27;8 W&#x27;" in audit._repr_html_()
    assert audit.to_dict()["readings"][0]["possible"]["before"]["exact_high"] == "310/41"
    table = audit.table
    assert len(table) == 9
    assert not table["breaks"][:3].any()
    assert table["possible_high"][0] == 310 / 41
    assert table["breaks"][3:6].all()


def test_command_and_its_exit_codes(capsys):
    figures = ["audit", "--before", "8.0 W", "--after", "4.6 W", "--percent-of", "before"]
    assert main([*figures, "--percent", "42 %"]) == 0
    assert "agrees" in capsys.readouterr().out
    assert main([*figures, "--percent", "38 %"]) == 1
    assert "cannot all be true" in capsys.readouterr().out
    assert main([*figures, "--percent", "-38 %"]) == 2
    assert "percent: found '-38 %' with a sign" in capsys.readouterr().err
    assert main(["audit"]) == 2
    with pytest.raises(SystemExit) as caught:
        main(["audit", "--p-by", "z"])
    assert caught.value.code == 2
    more = ["--n", "4", "5", "--sd", "0.2", "0.3", "--interval", "-0.1 to 0.9 W", "--p", "0.1", "--no-paired"]
    assert main(["audit", "--before", "7.0", "--after", "6.6", *more]) == 0
    done = subprocess.run(
        [sys.executable, "-m", "lossstats", "audit", "--help"], capture_output=True, text=True, check=True
    )
    assert "Exit 0: nothing was found" in done.stdout
