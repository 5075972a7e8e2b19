"""Figures as published, to the digits published: they agree, and what the source says of itself is read out of them."""

import pytest

from lossstats.audit.audit import audit_figures

# Cushny and Peebles (1905), as in Student (1908), Biometrika 6, 1, and the R documentation of `sleep` and `t.test`: means
# 0.75 and 2.33 h, standard deviations 1.79 and 2.00 h; differences 1.58 h, standard deviation 1.23 h; paired t interval
# 0.70 to 2.46, p 0.002833; Welch interval -3.365 to 0.205, p 0.07939 (standard deviations from memory, recomputed).
SLEEP = {"before": "0.75 h", "after": "2.33 h", "unit": "h", "n": 10}
SLEEP_PAIRED = {**SLEEP, "sd": "1.23", "interval": "0.70 to 2.46 h", "p": "0.0028"}
SLEEP_WELCH = {**SLEEP, "sd": ("1.79", "2.00"), "interval": "-0.21 to 3.37 h", "p": "0.079"}


@pytest.mark.parametrize("figures", [{**SLEEP_PAIRED, "paired": True}, {**SLEEP_WELCH, "paired": False}, SLEEP_WELCH])
def test_sleep_agrees(figures):
    audit = audit_figures(**figures)
    assert audit.verdict == "agrees"
    assert not [check for check in audit.checks if check.verdict == "cannot all be true"]


def test_sleep_paired_figures_are_not_those_of_groups():
    audit = audit_figures(**SLEEP_PAIRED)
    assert audit.why.endswith("if paired")
    assert not audit_figures(**SLEEP_PAIRED, paired=False).possible
    assert not audit_figures(**{**SLEEP_WELCH, "p": "0.0028"}).possible


def test_sleep_means_on_their_step():
    # ten values to 0.1 h: every mean is a multiple of 0.01
    audit = audit_figures(before="0.75", after="2.33", saving="1.58 more", unit="h", n=10, grid="0.1", paired=True)
    assert [check.verdict for check in audit.checks] == ["agrees"] * 3
    assert not audit_figures(before="0.755", unit="h", n=10, grid="0.1").possible


def test_shoes_one_sided_p():
    """Box, Hunter and Hunter (1978), p. 100: difference 0.41, s_d 0.387, n = 10, t 3.4, and 0.4 % by t: one-sided."""
    audit = audit_figures(saving="0.41", sd="0.387", n=10, p="0.004", paired=True, p_by="t", unit="wear")
    (check,) = audit.checks
    assert check.verdict == "cannot all be true"
    assert "it would fit a one-sided test" in check.words
    assert audit_figures(saving="0.41", sd="0.387", n=10, p="0.0085", paired=True, p_by="t", unit="wear").possible


def test_heat_flow_meter_interval():
    """NIST/SEMATECH e-Handbook 1.3.5.2, ZARR13.DAT: n = 195, mean 9.26146, s 0.02278881, 9.25824 to 9.26468."""
    figures = {"saving": "9.26146", "sd": "0.02278881", "n": 195, "paired": True, "unit": "V"}
    assert audit_figures(**figures, interval="9.25824 to 9.26468 V").verdict == "agrees"
    assert audit_figures(**figures, interval="9.25721 to 9.26571 V", confidence=0.99).verdict == "agrees"
    wrong = audit_figures(**figures, interval="9.25721 to 9.26571 V")
    assert "a confidence of 99 %" in wrong.checks[1].words


def test_cars_by_welch():
    """NIST/SEMATECH e-Handbook 1.3.5.3, AUTO83B.DAT, unequal variances: t -12.94627, p 1.571e-25."""
    figures = {"before": "20.14458", "after": "30.48101", "unit": "mpg", "sd": ("6.41470", "6.10771"), "n": (249, 79)}
    assert audit_figures(**figures, p="< 0.0001", p_by="t").possible
    assert not audit_figures(**figures, p="0.001", p_by="t").possible


def test_screws_by_welch():
    """Student's t-test, worked example of the screw masses (public encyclopaedia): A1, A2 of six; two-sided 0.09077."""
    # standard deviations recomputed from the masses 30.02 29.99 30.11 29.97 30.01 29.99 and 29.89 29.93 29.72 29.98 30.02
    # 29.98 g; with equal variances p is 0.07857
    figures = {"saving": "0.0950", "sd": ("0.0497", "0.1079"), "n": 6, "unit": "g", "p_by": "t"}
    assert audit_figures(**figures, p="0.091").possible
    assert not audit_figures(**figures, p="0.079").possible
