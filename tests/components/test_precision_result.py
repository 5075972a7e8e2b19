"""Words of laboratories and precisions."""

import pytest

from lossstats.components.precision_result import Laboratory, Precision, plural


@pytest.mark.parametrize(
    ("one", "more"), [("laboratory", "laboratories"), ("day", "days"), ("bench", "benches"), ("operator", "operators")]
)
def test_plural(one, more):
    assert plural(one) == more


def test_a_laboratory_in_one_row():
    lab = Laboratory("<L1>", 1, 6.25, None, -1.9, "*", None, "", None)
    assert lab._rows() == [("<L1>", "1 value, mean 6.25, h −1.90*, no k")]
    assert "&lt;L1&gt;" in lab._repr_html_()


def test_a_precision_in_one_row():
    whole = Precision((), 8, 6.5, 0.034, 0.08, 0.087, 0.0064, 3.0)
    assert whole._rows() == [("with all", "s_r 0.034, s_L 0.080, s_R 0.087, mean 6.500")]
    assert Precision(("L1", "L2"), 6, 6.5, 0.034, 0.08, 0.087, 0.0064, 3.0)._rows()[0][0] == "without L1, L2"
