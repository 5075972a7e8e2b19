import pytest

from lossstats.monte_carlo.linear_validation import compare_intervals, no_comparison, numerical_tolerance
from lossstats.records.estimate import Interval


@pytest.mark.parametrize(
    ("u", "digits", "tolerance"),
    [
        # JCGM 101:2008, 7.9.2, examples (from memory, recomputed): 35 x 10^-5, 4 x 10^-4, 2 x 10^0.
        (0.00035, 2, 0.000005),
        (0.00035, 1, 0.00005),
        (2, 1, 0.5),
        # The rule of the same clause at its corners: 9.96 is 10 x 10^0 to two digits, 1 x 10^1 to one.
        (9.96, 2, 0.5),
        (9.96, 1, 5.0),
        (9.94, 2, 0.05),
        (1e-300, 2, 5e-302),
        (123.0, 3, 0.5),
    ],
)
def test_tolerance(u, digits, tolerance):
    assert numerical_tolerance(u, digits) == pytest.approx(tolerance, rel=1e-12)


def test_tolerance_refuses():
    with pytest.raises(ValueError, match="standard_uncertainty: found 0.0; accepted: a finite number above 0"):
        numerical_tolerance(0.0)
    with pytest.raises(ValueError, match="digits: found 0; accepted: a whole number from 1 to 4"):
        numerical_tolerance(1.0, 0)
    with pytest.raises(ValueError, match="digits: found True"):
        compare_intervals(Interval(0, 1), Interval(0, 1), 1.0, digits=True)


def test_agreement_to_the_digits_asked_for():
    found = compare_intervals(Interval(-3.92, 3.92), Interval(-3.88, 3.90), 2.0)
    assert (found.d_low, found.d_high) == pytest.approx((0.04, 0.02))
    assert (found.digits, found.tolerance, found.supports_linear) == (2, 0.05, True)
    assert found.words.startswith(
        "The linear interval may be used, to 2 significant digits of the standard uncertainty"
    )


def test_agreement_to_fewer_digits_only():
    found = compare_intervals(Interval(-3.92, 3.92), Interval(-3.80, 3.90), 2.0)
    assert (found.digits, found.supports_linear) == (1, False)
    assert [check.agrees for check in found.checks] == [False, True]
    assert "may not be used to 2 significant digits" in found.words
    assert found.words.endswith("To 1 significant digit it may be used (tolerance 0.5).")


def test_no_agreement():
    found = compare_intervals(Interval(-3.92, 3.92), Interval(-3.0, 3.9), 2.0)
    assert (found.digits, found.supports_linear) == (None, False)
    assert found.words.endswith("Nor may it be used to fewer digits.")


def test_draws_too_few_to_tell():
    # 0.04 is within 0.05, but an end known to 2 x 0.02 may as well be beyond; a fifth of the tolerance needs
    # 2 x error = 0.01, a quarter of 0.04: sixteen times the draws.
    found = compare_intervals(
        Interval(-3.92, 3.92), Interval(-3.88, 3.88), 2.0, errors=Interval(0.02, 0.02), draws=100_000
    )
    assert found.supports_linear is None
    assert found.digits == 1
    assert "These draws cannot tell" in found.words
    assert "about 2 000 000 draws would tell" in found.words
    assert "To 1 significant digit it may be used" in found.words


@pytest.mark.parametrize(("end", "agrees"), [(3.96, True), (3.915, None), (3.89, None), (3.86, False)])
def test_what_draws_can_tell_about_an_end(end, agrees):
    # Tolerance 0.05 about 3.95, end known to 2 x 0.01: clear within 0.03, beyond 0.07, open between.
    found = compare_intervals(Interval(-3.95, 3.95), Interval(-3.95, end), 2.0, errors=Interval(0.01, 0.01))
    assert found.supports_linear is agrees


def test_a_clear_difference_is_no_matter_of_draws():
    found = compare_intervals(Interval(-3.92, 3.92), Interval(-3.7, 3.9), 2.0, errors=Interval(0.02, 0.02))
    assert found.supports_linear is False


def test_shown():
    found = compare_intervals(Interval(-3.92, 3.92), Interval(-3.8, 3.9), 2.0)
    text = str(found)
    assert "linear interval" in text and "−3.920 to 3.920" in text
    assert "not within 0.05" in text and "within 0.5" in text
    assert "<table>" in found._repr_html_()
    assert found.to_dict()["checks"][1] == {"digits": 1, "tolerance": 0.5, "agrees": True}
    assert "1 significant digits" not in str(found.checks[1])


def test_nothing_to_compare():
    found = no_comparison("No linear interval.", Interval(0.0, 1.0), digits=2, errors=Interval(0.1, 0.1))
    assert (found.supports_linear, found.digits, found.d_low) == (None, None, None)
    assert "No linear interval." in str(found)
