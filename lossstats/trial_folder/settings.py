"""The settings of a trial: every key of trial.toml, what it means, and its default."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any, Literal


def _key(doc: str, default: Any = ..., **more: Any) -> Any:
    # Dataclass field of one key of trial.toml; `doc` is what the skeleton and the error messages show.
    # Further limits, checked where trial.toml is read: ``at_least``, ``above``, ``at_most`` (numbers), ``infinite``
    # (inf is a value), ``nonzero``, ``filled`` (text that must not be empty), ``stamps`` (ISO 8601 with offset).
    # ``several`` is True for a key that only design several has, False for one that it does not have.
    metadata = {"doc": doc, **more}
    if default is ...:
        return field(metadata=metadata)
    if isinstance(default, dict | list):
        return field(default_factory=lambda: type(default)(default), metadata=metadata)
    return field(default=default, metadata=metadata)


@dataclass(frozen=True)
class TrialKeys:
    """Table ``[trial]``: the question."""

    question: str = _key("the question that the trial is to answer, one sentence", filled=True)
    measurand: str = _key("what the bench measures", "power loss", filled=True)
    unit: str = _key("unit of the measurand; every value below without a unit of its own is in it", "W", filled=True)
    better: Literal["lower", "higher"] = _key("which way is better", "lower")
    note: str = _key("a remark printed with every result, for example that the data are invented", "")


@dataclass(frozen=True)
class ComparisonKeys:
    """Table ``[comparison]``: what is compared, decided before the bench is booked."""

    before: str = _key("name of the reference condition, as in run_sheet.csv", filled=True, several=False)
    after: str = _key("name of the new condition, as in run_sheet.csv", filled=True, several=False)
    design: Literal["paired", "crossover", "independent", "controls", "single", "several"] = _key(
        "paired: every article in both conditions; crossover: the same, some in the one order and some in the other; "
        "independent: each article in one; "
        "controls: paired, with untouched articles beside; single: one article; "
        "several: three conditions or more, named by conditions in place of before and after"
    )
    unit_of_replication: Literal["article", "mount"] = _key(
        "article, or mount where there is one article: then the claim is for this article only", "article"
    )
    difference_that_matters: float | None = _key(
        "smallest difference that matters, > 0; leave out if none was fixed", None, above=0.0
    )
    confidence: float = _key("confidence of every interval, 0.5 to 0.999", 0.95, at_least=0.5, at_most=0.999)
    controls: tuple[str, ...] = _key("articles left untouched between the conditions (design controls)", ())
    planned_units: int | None = _key(
        "units a condition that the plan fixed; a trial analysed with fewer says so", None, at_least=2
    )
    repeatability: float | None = _key(
        "standard deviation of the level of one mount of one article, known from elsewhere (design single)",
        None,
        above=0.0,
    )
    repeatability_dof: float | None = _key(
        "degrees of freedom of that standard deviation", None, above=0.0, infinite=True
    )
    repeatability_source: str = _key("where it comes from: document, date", "")
    conditions: tuple[str, ...] | None = _key(
        "names of three conditions or more, as in run_sheet.csv (design several)", None, several=True
    )
    control: str | None = _key(
        "the condition with which each other one is compared; left out: every one with every other (design several)",
        None,
        filled=True,
        several=True,
    )
    blocks: Literal["article", "none"] | None = _key(
        '"article": every article in every condition; "none": each article in one (design several)', None, several=True
    )

    @property
    def all_conditions(self) -> tuple[str, ...]:
        """Name the conditions of the trial, whatever its design.

        Returns
        -------
        tuple of str
            Before and after, or all conditions of design several.
        """
        return self.conditions or () if self.design == "several" else (self.before, self.after)


@dataclass(frozen=True)
class ScopeKeys:
    """Table ``[scope]``: what the claim is about; words only."""

    articles: str = _key("what the articles stand for", "")
    bench: str = _key("the bench", "")
    lubricant: str = _key("oil or wax, and whether it is the same in all conditions", "")
    operating_point: str = _key("power, speed, tension, temperature in words", "")


@dataclass(frozen=True)
class ReadingsKeys:
    """Table ``[readings]``: the samples."""

    resolution: float = _key("display step of the readings; 0 if there is none to speak of", 0.0, at_least=0.0)
    interval_s: tuple[float, ...] = _key(
        "sample intervals that occur, in s; left out: any, but steady within a run", (), above=0.0
    )
    jitter: float = _key(
        "largest departure of a spacing from the median spacing of its run, or of a gap from a whole number of them, "
        "as a part of the median; 1 lets any spacing pass",
        0.2,
        at_least=0.0,
        at_most=1.0,
    )


@dataclass(frozen=True)
class Column:
    """One column of a foreign log."""

    column: str = _key("name in the header row", filled=True)
    factor: float = _key("multiply by this to get the unit used here", 1.0, nonzero=True)


@dataclass(frozen=True)
class LogKeys:
    """Table ``[log]``: the form of the sample files, where it is not the kit's own."""

    separator: Literal["comma", "semicolon", "tab", "space"] = _key(
        "what parts the fields; space: one blank or more", "comma"
    )
    decimal: Literal[".", ","] = _key("decimal sign", ".")
    encoding: Literal["utf-8", "utf-8-sig", "latin-1"] = _key("utf-8-sig where a byte-order mark leads", "utf-8")
    blanks: Literal["refuse", "strip"] = _key("blanks around a field", "refuse")
    decimals: Literal["fixed", "free"] = _key(
        "fixed: every number of a column has the same number of decimals, so that a number cut short is seen; "
        "free: for a logger that drops trailing zeros or writes exponents",
        "fixed",
    )
    rows_before_header: int = _key("rows to pass over before the row of column names", 0, at_least=0, at_most=1000)
    unit_row: bool = _key("a row of units follows the row of column names", default=False)
    rows_at_end: int = _key(
        "lines to leave out at the end of every file, such as a footer; a blank line counts, a row of samples among "
        "them is refused",
        0,
        at_least=0,
        at_most=1000,
    )
    separator_at_end: bool = _key(
        "every row ends with a separator, with nothing behind it; the row of column names may", default=False
    )
    time_form: Literal["seconds", "iso", "stamp"] = _key(
        "seconds; iso: ISO 8601 stamps with offset; stamp: stamps as stamp_form says", "seconds"
    )
    stamp_form: str | None = _key(
        "the parts of a stamp in their order, such as %d.%m.%Y %H:%M:%S for 28.03.2031 09:10:00; %y is a year of two "
        "digits, %f what follows the decimal sign of the seconds, %I with %p hours to twelve with AM or PM, %z an "
        "offset (time_form stamp)",
        None,
        filled=True,
    )
    stamp_offset: str | None = _key(
        "offset from UTC of the clock of the logger, such as +01:00, where the stamps hold none (time_form stamp)",
        None,
        filled=True,
    )
    time: Column = _key("the column of time", Column("time_s"))
    value: Column = _key("the column of the measurand", Column("loss_W"))
    other: dict[str, Column] = _key(
        "operating-point columns by name, such as {input_power_W = {column = 'P1', factor = 1.0}}", {}
    )
    ignore: tuple[str, ...] = _key("columns to leave aside, by name", ())


@dataclass(frozen=True)
class InstrumentKeys:
    """Table ``[instrument]``: Type B standard uncertainties shared by all runs (JCGM 100, 4.3)."""

    gain: float = _key(
        "relative standard uncertainty of the calibration factor, for example 0.005", 0.0, at_least=0.0, at_most=0.2
    )
    gain_dof: float = _key(
        "its degrees of freedom, if not practically infinite", float("inf"), above=0.0, infinite=True
    )
    zero: float = _key("standard uncertainty of the zero, the same in all runs", 0.0, at_least=0.0)
    zero_dof: float = _key("its degrees of freedom", float("inf"), above=0.0, infinite=True)
    rezero: float = _key(
        "standard uncertainty of a new zero, where the bench is zeroed anew between the conditions", 0.0, at_least=0.0
    )
    rezero_dof: float = _key("its degrees of freedom", float("inf"), above=0.0, infinite=True)


@dataclass(frozen=True)
class SettlingKeys:
    """Table ``[settling]``: one rule for every run, fixed before the data are seen."""

    tolerance: float = _key("largest change still to come at which a run counts as settled", 0.05, above=0.0)
    final_window: float = _key(
        "final part of a run that is shown as the window, 0.1 to 0.9 of its length", 1 / 3, at_least=0.1, at_most=0.9
    )
    still_moving: Literal["refuse", "use with a note", "leave out"] = _key(
        "what to do with a run that is still moving at its end", "refuse"
    )


@dataclass(frozen=True)
class ScreeningKeys:
    """Table ``[screening]``: flagged samples are kept unless this says otherwise, before the data are seen."""

    flagged_samples: Literal["keep", "leave out"] = _key("spikes and stuck stretches in the headline level", "keep")


@dataclass(frozen=True)
class DriftKeys:
    """Table ``[drift]``: slow change of the bench between runs."""

    references: Literal["interpolate", "ignore"] = _key("what to do with runs of the reference article", "interpolate")
    zeros: Literal["interpolate", "ignore"] = _key("what to do with zero runs", "interpolate")
    reference_repeatability: float | None = _key(
        "standard deviation of one run of the reference article, refit included; left out: estimated from its runs",
        None,
        above=0.0,
    )
    reference_repeatability_dof: float = _key("its degrees of freedom", float("inf"), above=0.0, infinite=True)
    breaks: tuple[str, ...] = _key(
        "ISO 8601 times with offset where the bench was touched: no interpolation across", (), stamps=True
    )


@dataclass(frozen=True)
class TransducerKeys:
    """Table ``[bench_model.input]`` or ``[bench_model.output]``: torque transducer and speed sensor of one shaft."""

    full_scale_Nm: float | None = _key("rated torque, N m; needed where something is in percent of it", None, above=0.0)
    torque_class_percent: float = _key("accuracy class of the torque, in percent", 0.0, at_least=0.0, at_most=20.0)
    class_of: Literal["full scale", "reading"] = _key("what the class is a percentage of", "reading")
    class_as: Literal["half width", "standard uncertainty"] = _key(
        "half width: the class bounds the error, taken as rectangular", "half width"
    )
    class_dof: float = _key("degrees of freedom of the class", float("inf"), above=0.0, infinite=True)
    zero_Nm: float = _key("standard uncertainty of the zero, the same in all runs, N m", 0.0, at_least=0.0)
    span_percent_per_10K: float = _key("temperature coefficient of the sensitivity, % of reading", 0.0, at_least=0.0)
    zero_percent_per_10K: float = _key("temperature coefficient of the zero, % of full scale", 0.0, at_least=0.0)
    temperature_K: float = _key("largest departure from the temperature of calibration, K", 0.0, at_least=0.0)
    torque_step_Nm: float = _key("display step of the torque, N m", 0.0, at_least=0.0)
    speed_gain: float = _key("relative standard uncertainty of the speed", 0.0, at_least=0.0, at_most=0.2)
    speed_step_rpm: float = _key("display step of the speed, r/min", 0.0, at_least=0.0)


SHAFT_COLUMNS = ("torque_in", "speed_in", "torque_out", "speed_out")


@dataclass(frozen=True)
class BenchModelKeys:
    """Table ``[bench_model]``: the loss reckoned from torque and speed of both shafts, not read from a column."""

    torque_in: str = _key("name in [log.other] of the torque at the driving shaft, N m", "torque_in_Nm", filled=True)
    speed_in: str = _key("name in [log.other] of the speed of the driving shaft, rpm", "speed_in_rpm", filled=True)
    torque_out: str = _key("name in [log.other] of the torque at the driven shaft, N m", "torque_out_Nm", filled=True)
    speed_out: str = _key("name in [log.other] of the speed of the driven shaft, rpm", "speed_out_rpm", filled=True)
    input: TransducerKeys = _key("transducer of the driving shaft, a table of its own", TransducerKeys())
    output: TransducerKeys = _key("transducer of the driven shaft, a table of its own", TransducerKeys())
    shared_calibration: float = _key(
        "correlation of the two torque calibrations: 0 for two certificates that have nothing in common, 1 where one "
        "standard makes all of both errors",
        0.0,
        at_least=0.0,
        at_most=1.0,
    )


@dataclass(frozen=True)
class OperatingPoint:
    """Table ``[operating_point.NAME]``: nominal value and tolerance of one recorded column."""

    nominal: float = _key("nominal value")
    tolerance: float = _key("largest deviation allowed, > 0", above=0.0)
    correction: Literal["none", "power", "exponential", "fitted power"] = _key(
        "how levels are brought to the nominal value. none: samples out of tolerance are flagged, no more; "
        "power: the level goes as the column to the power of sensitivity; "
        "exponential: sensitivity is the relative change of the level per unit of the column; "
        "fitted power: the power is found from these runs, six units a condition or more",
        "none",
    )
    sensitivity: float | None = _key("the exponent, or the relative change per unit of the column", None)
    sensitivity_u: float = _key("its standard uncertainty", 0.0, at_least=0.0)
    sensitivity_dof: float = _key("degrees of freedom of that", float("inf"), above=0.0, infinite=True)
    sensitivity_source: str = _key("where it comes from: document, date", "")
    reading_u: float = _key(
        "standard uncertainty of the column itself, the same in all runs, in its unit", 0.0, at_least=0.0
    )


@dataclass(frozen=True)
class PlanKeys:
    """Table ``[plan]``: what ``lossstats plan`` lays out. The sealed plan keeps it: a change after that is named."""

    first_start: str = _key("ISO 8601 time with offset at which the first bench day begins", stamps=True)
    articles: tuple[str, ...] = _key("names of the test articles, untouched controls among them", ())
    one_way: bool | None = _key(
        "true: an article can be measured in the condition after only once it has been in the condition before, as "
        "dusty comes before cleaned; false: either order can be had. Needed where articles change their condition",
        None,
    )
    reversed_articles: tuple[str, ...] = _key(
        "articles measured in the reverse order where one_way is false; left out: half of them, drawn by the seed", ()
    )
    before_articles: tuple[str, ...] = _key(
        "design independent: articles that come in the condition before as they are; left out: half of them, drawn by "
        "the seed",
        (),
    )
    waves: int | None = _key(
        "groups of articles that go through the conditions one behind the other, so that conditions overlap in time; "
        "1: all articles together; left out: 2 where one_way is true, else 1",
        None,
        at_least=1,
    )
    mounts: int = _key("mounts of an article in a condition", 1, at_least=1, at_most=100)
    runs_per_mount: int = _key("runs of a mount, nothing touched between them", 1, at_least=1, at_most=100)
    blocks: Literal["alternating", "random"] = _key(
        "order of the conditions in a block of one run each. alternating: each second block is turned round; "
        "random: drawn for every block",
        "alternating",
    )
    seed: int = _key("seed of the order", 1, at_least=0)
    reference: str | None = _key(
        "the article that stays the same and begins and ends every bench day; left out: none", None, filled=True
    )
    reference_every: int | None = _key(
        "most test runs between two runs of the reference article; left out: one block, a mount in each condition",
        None,
        at_least=1,
    )
    zero_first: bool = _key("a zero run begins every bench day", default=False)
    zero_last: bool = _key("a zero run ends every bench day", default=False)
    zero_every: int | None = _key(
        "most test runs between two zero runs; left out: no more than these", None, at_least=1
    )
    most_runs_a_day: int | None = _key(
        "most test runs of a bench day, so that a trial takes several days; a block is not parted where it fits into a "
        "day; left out: as many as fit into the working hours",
        None,
        at_least=1,
    )
    run_minutes: float = _key("length of a test or reference run", 20.0, above=0.0, at_most=1440.0)
    zero_minutes: float = _key("length of a zero run", 5.0, above=0.0, at_most=1440.0)
    fit_minutes: float = _key(
        "time to change what is on the bench, between two runs of different mounts", 5.0, at_least=0.0, at_most=1440.0
    )
    wash_hours: float = _key(
        "work on an article between two conditions, within the working hours", 0.0, at_least=0.0, at_most=24.0
    )
    dry_hours: float = _key(
        "wait after that work before the article may be measured; goes on overnight", 0.0, at_least=0.0, at_most=8760.0
    )
    back_hours: float | None = _key(
        "wait that brings an article back to a condition that comes earlier in the list, in place of wash_hours and "
        "dry_hours; left out: the same as those",
        None,
        at_least=0.0,
        at_most=8760.0,
    )
    working_from_h: float = _key(
        "hour at which a bench day begins; 8.5 is half past eight", 8.0, at_least=0.0, at_most=24.0
    )
    working_to_h: float = _key("hour at which its last run has ended", 16.0, at_least=0.0, at_most=24.0)
    working_days: tuple[Literal["Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun"], ...] = _key(
        "days of the week on which the bench runs", ("Mon", "Tue", "Wed", "Thu", "Fri")
    )


@dataclass(frozen=True)
class Settings:
    """Everything that trial.toml says."""

    trial: TrialKeys
    comparison: ComparisonKeys
    scope: ScopeKeys = field(default_factory=ScopeKeys)
    readings: ReadingsKeys = field(default_factory=ReadingsKeys)
    log: LogKeys = field(default_factory=LogKeys)
    instrument: InstrumentKeys = field(default_factory=InstrumentKeys)
    settling: SettlingKeys = field(default_factory=SettlingKeys)
    screening: ScreeningKeys = field(default_factory=ScreeningKeys)
    drift: DriftKeys = field(default_factory=DriftKeys)
    operating_point: dict[str, OperatingPoint] = field(default_factory=dict)
    bench_model: BenchModelKeys | None = None
    plan: PlanKeys | None = None
