"""The bench of a power loss as trial.toml declares it."""

from __future__ import annotations

import dataclasses

from lossstats.power_bench import PowerBench, Transducer
from lossstats.settings import BenchModelKeys, TransducerKeys

_UNLIMITED_NM = 1e9  # where no full scale is stated, nothing is in percent of it


def bench_of(keys: BenchModelKeys) -> PowerBench:
    """Make the bench that the table ``[bench_model]`` describes.

    Parameters
    ----------
    keys : BenchModelKeys
        Checked where trial.toml was read.

    Returns
    -------
    PowerBench
        Two shafts and what their calibrations share.
    """
    return PowerBench(_transducer(keys.input), _transducer(keys.output), keys.shared_calibration)


def _transducer(keys: TransducerKeys) -> Transducer:
    stated = {field.name: getattr(keys, field.name) for field in dataclasses.fields(keys)}
    return Transducer(**(stated | {"full_scale_Nm": keys.full_scale_Nm or _UNLIMITED_NM}))
