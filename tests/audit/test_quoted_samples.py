"""What is quoted beside the levels: how it is read, and every refusal with its words."""

import pytest

from lossstats.audit.quoted_samples import read_samples


def test_reading():
    found = read_samples(n=(4, 5), sd=("0.25", "0.30 W"), interval="0.2 to 0.8 W", p="< 0.05", paired=False)
    assert found.both_n == (4, 5)
    assert [sd.low for sd in found.sd] == [0.245, 0.295]
    assert found.p == (0.0, 0.05)
    assert found.design == "if independent"
    one = read_samples(n=6, sem="0.1", interval=("2 %", "11 %"), p="p = 0.03")
    assert one.both_n == (6, 6)
    assert one.interval[0].unit == "%"
    assert one.p == pytest.approx((0.025, 0.035))
    assert one.design == "if paired"
    assert read_samples(p="0.000").p == (0.0, 0.0005)
    assert read_samples(p="> 0.05").p == (0.05, 1.0)
    assert read_samples().design == "whatever the design"


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        ({"n": 0}, r"n: found 0; accepted: a whole number of at least 1"),
        ({"n": True}, "n: found True"),
        ({"n": (1, 2, 3)}, r"n: found \(1, 2, 3\); accepted: a whole number of at least 1, or two"),
        ({"n": 5000}, "n: found 5000; accepted: at most 1000 units; readings of a run are no units"),
        ({"n": (4, 5)}, "n: found 4 and 5 with paired values; accepted: one number of pairs"),
        ({"sd": ("0.1", "0.2")}, "sd: found 2 figures; accepted: one, that of the differences"),
        ({"sem": ("0.1", "0.2", "0.3"), "paired": False}, "sem: found 3 figures; accepted: one, or one a condition"),
        ({"p": "small"}, "p: found 'small'; accepted: text such as '0.03' or '< 0.05'"),
        ({"p": "1.2"}, "p: found '1.2'; accepted: at most 1"),
        ({"p": 0.03}, "p: found '0.03'; accepted: text such as"),
        ({"sd": "-0.1"}, "sd: found '-0.1' with a sign"),
    ],
)
def test_refusals(arguments, words):
    with pytest.raises(ValueError, match=words):
        read_samples(**arguments)
