"""The bench as trial.toml declares it."""

import math

import pytest

from lossstats.declared_bench import bench_of
from lossstats.settings import BenchModelKeys, TransducerKeys


def test_every_key_reaches_the_transducer():
    keys = TransducerKeys(
        50.0, 0.1, "full scale", "standard uncertainty", 8.0, 0.01, 0.02, 0.03, 5.0, 0.001, 0.0002, 0.05
    )
    bench = bench_of(
        BenchModelKeys(input=keys, output=TransducerKeys(torque_class_percent=0.2), shared_calibration=0.4)
    )
    for name in TransducerKeys.__dataclass_fields__:
        assert getattr(bench.input, name) == getattr(keys, name)
    assert bench.shared_calibration == 0.4
    assert bench.output.errors(28.0)["torque gain"].standard_uncertainty == pytest.approx(0.002 / math.sqrt(3))
