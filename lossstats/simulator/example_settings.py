"""What the trial.toml of each example trial declares, and why its values are what they are. All of it is invented."""

from __future__ import annotations

from lossstats.trial_folder.settings import (
    BenchModelKeys,
    Column,
    ComparisonKeys,
    DriftKeys,
    InstrumentKeys,
    LogKeys,
    OperatingPoint,
    ReadingsKeys,
    ScopeKeys,
    Settings,
    SettlingKeys,
    TransducerKeys,
    TrialKeys,
)

_NOTE = "Invented data from the kit's bench simulator with a stored seed; no real chain or bench stands behind them."
_CHAINS = "conveyor chains of one bakery after two weeks in flour dust"
_BENCH = "two-sprocket loss bench of a small transmission laboratory"
_CALIBRATION = InstrumentKeys(gain=0.005, zero=0.02)
_LUBRICANT = "the same chain oil in both conditions, freshly applied after the wash"
DUSTY, CLEANED = "dusty", "cleaned"
_PAIRED = ComparisonKeys(design="paired", difference_that_matters=0.25, before=DUSTY, after=CLEANED)
OILS = ("oil A", "oil B", "oil C", "oil D")
# What a trial has to say about a line of its trial.toml, beside the meaning of the key.
REASONS = {
    "difference_that_matters = 0.25": "Here: fixed before the bench was booked; less does not pay for the washing.",
    'still_moving = "leave out"': "Here: decided before the data were seen; a chain has another mount.",
    "difference_that_matters = 0.2": "Here: fixed before the bench was booked; less does not pay for another oil.",
    'control = "oil A"': "Here: the oil in use now; fixed before the bench was booked.",
    "reference_repeatability = 0.05": "Here: from earlier check runs of the reference chain, 21 refits.",
    "reference_repeatability = 0.06": "Here: from earlier check runs of the reference chain, 21 refits.",
    "reference_repeatability = 0.055": "Here: from earlier check runs of the reference chain, 16 refits.",
    "sensitivity_u = 0.2": "Here: from five runs of the reference chain at 250 to 310 W.",
    "shared_calibration = 0.5": "Here: both transducers were calibrated with one lever and different weights.",
    "gain = 0.005": "Here: from the calibration of the bench, expanded 1 % with k = 2.",
}


FLOUR_DUST = Settings(
    trial=TrialKeys(
        question="Do conveyor chains from the bakery lose less power after a wash and a fresh oiling?", note=_NOTE
    ),
    comparison=_PAIRED,
    scope=ScopeKeys(
        articles=_CHAINS,
        bench=_BENCH,
        lubricant=_LUBRICANT,
        operating_point="280 W input power, 95 r/min, 20 to 22 °C in the hall",
    ),
    readings=ReadingsKeys(resolution=0.005, interval_s=(5.0,)),
    log=LogKeys(other={"input_power_W": Column("input_power_W")}),
    instrument=_CALIBRATION,
    settling=SettlingKeys(still_moving="leave out"),
    # Known from earlier check runs: a rounded estimate of the 0.063 W that mount, run and sampling make here.
    drift=DriftKeys(reference_repeatability=0.06, reference_repeatability_dof=20.0),
    operating_point={"input_power_W": OperatingPoint(280.0, 2.8)},
)


ONE_CHAIN = Settings(
    trial=TrialKeys(question="Does this chain lose less power after a wash and a fresh oiling?", note=_NOTE),
    comparison=ComparisonKeys(
        design="single", unit_of_replication="mount", difference_that_matters=0.25, before=DUSTY, after=CLEANED
    ),
    scope=ScopeKeys(
        articles="one conveyor chain of a bakery after two weeks in flour dust",
        bench=_BENCH,
        lubricant=_LUBRICANT,
        operating_point="280 W input power, 95 r/min, hall temperature not recorded",
    ),
    readings=ReadingsKeys(resolution=0.01, interval_s=(25.0,)),
    instrument=_CALIBRATION,
)


FOUR_OILS = Settings(
    trial=TrialKeys(
        question="Which of four chain oils loses least power, measured against oil A in use now?", note=_NOTE
    ),
    comparison=ComparisonKeys(
        before="",
        after="",
        design="several",
        difference_that_matters=0.2,
        conditions=OILS,
        control="oil A",
        blocks="article",
    ),
    scope=ScopeKeys(
        articles="new conveyor chains of one make, washed and oiled afresh before every run",
        bench=_BENCH,
        lubricant="four chain oils, A to D, 2 ml each, wiped after ten minutes",
        operating_point="280 W input power, 95 r/min, 20 to 22 °C in the hall",
    ),
    readings=ReadingsKeys(resolution=0.005, interval_s=(10.0,)),
    instrument=_CALIBRATION,
    drift=DriftKeys(reference_repeatability=0.05, reference_repeatability_dof=20.0),
)


TWO_SHAFTS = Settings(
    trial=TrialKeys(
        question="Do conveyor chains lose less power after a wash and a fresh oiling, on a bench of two shafts?",
        note=_NOTE,
    ),
    comparison=_PAIRED,
    scope=ScopeKeys(
        articles=_CHAINS,
        bench="two-shaft bench of a small transmission laboratory, torque and speed on each shaft",
        lubricant=_LUBRICANT,
        operating_point="280 W input power, 95 r/min at the driving shaft, 20 to 22 °C in the hall",
    ),
    readings=ReadingsKeys(interval_s=(25.0,)),
    log=LogKeys(other={"input_power_W": Column("input_power_W")}),
    settling=SettlingKeys(still_moving="use with a note"),
    drift=DriftKeys(reference_repeatability=0.055, reference_repeatability_dof=15.0),
    operating_point={
        "input_power_W": OperatingPoint(
            280.0, 8.4, "power", 1.0, 0.2, sensitivity_source="loss against input power of the reference chain"
        )
    },
)


_SHAFT = TransducerKeys(
    torque_class_percent=0.1, zero_Nm=0.005, torque_step_Nm=0.0005, speed_gain=0.00005, speed_step_rpm=0.01
)
TWO_SHAFTS_BENCH = BenchModelKeys(input=_SHAFT, output=_SHAFT, shared_calibration=0.5)
