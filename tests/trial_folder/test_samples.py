"""Sample files. Evidence: real logs of others (foreign_logs/SOURCES.md), figures counted by hand in them."""

from __future__ import annotations

import tracemalloc
from dataclasses import replace
from datetime import UTC, datetime

import numpy as np
import pytest
from refused_logs import LOGS, REFUSED

from lossstats.trial_folder.samples import Samples, read_samples
from lossstats.trial_folder.settings import Column, LogKeys, ReadingsKeys

POWER = LogKeys(time_form="iso", decimals="free", time=Column("measured_on"), value=Column("ac_power__752"))
RIG = LogKeys(decimals="free", time=Column("t_s"), value=Column("outlet_V"), other={"heater_V": Column("heater_V")})
RIDE = LogKeys(
    time=Column("t_s"), value=Column("power_W"), other={"cadence_rpm": Column("cadence_rpm")}, ignore=("temp_C",)
)


def taken(data: bytes, log: LogKeys | None = None, readings: ReadingsKeys | None = None) -> Samples:
    samples, faults = read_samples(data, "a.csv", log, readings)
    assert samples is not None, faults
    return samples


def refused(data: bytes, log: LogKeys | None = None, readings: ReadingsKeys | None = None) -> list[str]:
    samples, faults = read_samples(data, "a.csv", log, readings)
    assert samples is None
    return [str(fault) for fault in faults]


def test_power_log_with_stamps() -> None:
    samples = taken((LOGS / "serf_east_1min_ac_power.csv").read_bytes(), POWER)
    assert samples.first_stamp == datetime(2022, 3, 18, 11, 33, tzinfo=UTC)
    assert np.array_equal(samples.time_s, 60.0 * np.arange(60))
    assert samples.values[[0, 1, 5]].tolist() == [-2.7098, -2.5969, -2.484]


def test_rig_log_whose_zeros_are_dropped() -> None:
    data = (LOGS / "hairdryer_rig.csv").read_bytes()
    samples = taken(data, RIG, ReadingsKeys(interval_s=(0.08,)))
    assert samples.time_s[:3].tolist() == [0.0, 0.08, 0.16]
    assert samples.values[:3].tolist() == [4.766099, 4.763659, 4.839359]
    assert samples.operating_point["heater_V"][:3].tolist() == [6.41, 3.41, 6.41]
    fixed = LogKeys(time=RIG.time, value=RIG.value, other=RIG.other)
    assert refused(data, fixed)[0].startswith(
        "a.csv, line 3, column 1 (t_s): found '0.08', 2 decimals; accepted: 1 as in line 2"
    )


def test_ride_log_with_a_column_left_aside() -> None:
    samples = taken((LOGS / "ride_intervals.csv").read_bytes(), RIDE)
    assert np.array_equal(samples.time_s, np.arange(120.0))
    assert set(samples.operating_point) == {"cadence_rpm"}


def test_values_equal_a_general_reader_on_the_readable_logs() -> None:
    import pandas as pd

    for name, log in (("hairdryer_rig.csv", RIG), ("ride_intervals.csv", RIDE)):
        frame = pd.read_csv(LOGS / name)
        samples = taken((LOGS / name).read_bytes(), log)
        assert np.array_equal(samples.time_s, frame[log.time.column])
        assert np.array_equal(samples.values, frame[log.value.column])


@pytest.mark.parametrize(("name", "log", "message"), REFUSED)
def test_awkward_logs_are_refused_with_the_reason(name: str, log: LogKeys, message: str) -> None:
    told = refused((LOGS / name).read_bytes(), log)
    assert any(message in fault for fault in told), told


def test_decimal_comma_units_rows_before_the_header_and_latin_1() -> None:
    log = LogKeys(
        separator="semicolon",
        decimal=",",
        encoding="latin-1",
        blanks="strip",
        rows_before_header=2,
        unit_row=True,
        time=Column("Zeit", factor=60.0),
        value=Column("Verlust", factor=0.001),
        other={"oil_C": Column("Öl")},
        ignore=("Bemerkung",),
    )
    text = (
        "Prüfstand 3\r\n\r\n Zeit ; Verlust;Öl;Bemerkung\r\nmin;mW;°C;\r\n"
        "0,0; 6985,0 ;23,1;angefahren\r\n0,5;6990,5;23,2;ruhig, stetig\r\n1,0;-3,0;23,2;\r\n"
    )
    samples = taken(text.encode("latin-1"), log)
    assert samples.time_s.tolist() == [0.0, 30.0, 60.0]
    assert samples.values == pytest.approx([6.985, 6.9905, -0.003], rel=1e-15)
    assert samples.operating_point["oil_C"].tolist() == [23.1, 23.2, 23.2]


@pytest.mark.parametrize(
    ("header", "separator", "found", "seems"),
    [
        ("time_s;loss_W", "comma", "one field by separator = 'comma' in 'time_s;loss_W'", "'semicolon'"),
        ("time_s\tloss_W", "semicolon", "one field by separator = 'semicolon'", "'tab'"),
        ("t;x;a,b", "tab", "one field by separator = 'tab'", "'comma' or 'semicolon'"),
        ("time_s;loss_W,raw", "comma", "", ""),
        ("time_s;loss_W;of motor", "space", "2 fields by separator = 'space'", "'semicolon'"),
    ],
)
def test_another_separator_than_declared_is_told_and_never_taken(
    header: str, separator: str, found: str, seems: str
) -> None:
    data = f"{header}\n0;7.1\n1;7.2\n".encode()
    samples, faults = read_samples(data, "r01.csv", LogKeys(separator=separator))
    assert samples is None
    told = [str(fault) for fault in faults if "it seems to be" in str(fault)]
    if not seems:
        assert told == []
        assert str(faults[0]).startswith("r01.csv, line 1, column 1: found the column 'time_s;loss_W'")
        return
    assert [str(fault) for fault in faults] == told
    assert told[0].startswith(f"r01.csv, line 1: found {found}")
    assert told[0].endswith(f"it seems to be {seems}")


def test_the_shortest_file_and_both_line_ends() -> None:
    for data in (b"time_s,loss_W\n0,7.0\n1,7.1\n", b"time_s,loss_W\r\n0,7.0\r\n1,7.1\r\n"):
        samples = taken(data)
        assert (samples.time_s.tolist(), samples.values.tolist()) == ([0.0, 1.0], [7.0, 7.1])
        assert not samples.time_s.flags.writeable
        assert not samples.values.flags.writeable


def rows(times: list[float], decimals: int = 1) -> bytes:
    return ("time_s,loss_W\n" + "".join(f"{time:.{decimals}f},7.0\n" for time in times)).encode()


def test_gaps_of_whole_samples_are_taken_and_others_not() -> None:
    assert len(taken(rows([0, 1, 2, 5, 6, 7, 8])).time_s) == 7
    told = refused(rows([0, 1, 2, 4.5, 5.5, 6.5, 7.5]))
    assert told == [
        (
            "a.csv, line 5, column 1 (time_s): found a spacing of 2.5 s, where the median is 1 s; accepted: a whole "
            "number of medians within 0.2 of one (jitter in [readings] of trial.toml)"
        )
    ]
    assert len(taken(rows([0, 1, 2, 14.5, 15.5, 16.5]), readings=ReadingsKeys()).time_s) == 6


def test_jitter_is_allowed_as_far_as_the_settings_say() -> None:
    shaken = [0, 1.1, 2, 2.9, 4, 5.3, 6, 7, 8]
    assert len(taken(rows(shaken)).time_s) == 9
    assert len(refused(rows(shaken), readings=ReadingsKeys(jitter=0.1))) == 2
    assert len(taken(rows([0, 1, 1.4, 3, 4, 5]), readings=ReadingsKeys(jitter=1.0)).time_s) == 6


def test_times_rounded_to_whole_seconds_are_steady() -> None:
    # 0.7 s apart, written to 0.1 s or to 1 s: rounding shifts a spacing by one written step.
    assert len(taken(rows([round(0.7 * i, 1) for i in range(30)])).time_s) == 30
    assert len(taken(rows([round(2.4 * i) for i in range(30)], decimals=0)).time_s) == 30


def test_declared_intervals_are_met_within_one_per_cent() -> None:
    second = rows([0, 1, 2, 3])
    assert len(taken(second, readings=ReadingsKeys(interval_s=(0.5, 1.005))).time_s) == 4
    assert refused(second, readings=ReadingsKeys(interval_s=(0.5, 1.02))) == [
        (
            "a.csv, column 1 (time_s): found a sample interval of 1 s; accepted: 0.5, 1.02 s, as interval_s in "
            "[readings] of trial.toml says"
        )
    ]


def test_faults_at_the_right_line_beyond_the_first_block() -> None:
    lines = [f"{i},7.000" for i in range(200_000)]
    lines[150_000] = "150000,7.0O0"
    lines[180_000] = "179999,7.000"
    told = refused(("time_s,loss_W\n" + "\n".join(lines) + "\n").encode())
    assert [text.partition(";")[0] for text in told] == [
        "a.csv, line 150002, column 2 (loss_W): found '7.0O0'",
        "a.csv, line 180002, column 1 (time_s): found the time 179999 s after 179999 s",
    ]


def test_a_long_file_of_rubbish_is_given_up_soon() -> None:
    told = refused(b"time_s,loss_W\n" + b"0,x\n" * 600_000)
    assert len(told) == 21
    # 1001 readings that are none, 1000 times that do not rise, 20 of all those in words.
    assert told[-1] == "a.csv: found at least 1981 more faults; accepted: none; the first 20 are listed"


def test_memory_beside_the_content_is_a_few_times_the_numbers() -> None:
    data = ("time_s,loss_W\n" + "".join(f"{i},{7 + i % 7 / 1000:.3f}\n" for i in range(120_000))).encode()
    tracemalloc.start()
    samples = taken(data)
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    numbers = 2 * samples.time_s.nbytes
    # Blocks of 1 MiB as Python floats, and the numbers twice while they are joined.
    assert peak < 6 * numbers + 40 * 1024**2


GERMAN = LogKeys(
    separator="semicolon",
    decimal=",",
    separator_at_end=True,
    rows_at_end=2,
    time_form="stamp",
    stamp_form="%d.%m.%Y %H:%M:%S",
    stamp_offset="+01:00",
    time=Column("Zeit"),
    value=Column("Verlust"),
)


@pytest.mark.parametrize("header", ["Zeit;Verlust;", "Zeit;Verlust"])
def test_stamps_of_a_stated_form_and_a_footer(header: str) -> None:
    rows = "28.03.2031 09:10:00;6,98;\n28.03.2031 09:10:01;6,97;\n28.03.2031 09:10:02;6,99;\n"
    samples = taken(f"{header}\n{rows}\nEnde der Messung".encode(), GERMAN)
    assert samples.time_s.tolist() == [0.0, 1.0, 2.0]
    assert samples.values.tolist() == [6.98, 6.97, 6.99]
    assert samples.first_stamp is not None
    assert samples.first_stamp.isoformat() == "2031-03-28T09:10:00+01:00"


@pytest.mark.parametrize(
    ("text", "told"),
    [
        (
            "0;1,0;\n1;1,1;\nEnde\n",
            "line 3: found a row of samples, '1;1,1;'; accepted: no row of samples in the last 2",
        ),
        ("0;1,0;\n1;1,1;\n\n2;1", "line 5: found a last line without a line end, '2;1'; accepted: a file that was not"),
        ("0;1,0;\n1;1,1\n2;1,2;\n\nEnde\n", "line 3: found 2 fields in '1;1,1'; accepted: 2 fields: t, v, and a sep"),
        ("0;1,0;\n1;1,1;;\n2;1,2;\n\nEnde\n", "line 3: found 4 fields in '1;1,1;;'"),
        ("0;1,0;\n1;;\n2;1,2;\n\nEnde\n", "line 3, column 2 (v): found an empty field"),
        ("Ende\n", "found 0 rows of samples; accepted: two rows or more"),
    ],
)
def test_a_footer_and_a_last_separator_hide_no_samples(text: str, told: str) -> None:
    log = replace(GERMAN, time_form="seconds", stamp_form=None, stamp_offset=None, time=Column("t"), value=Column("v"))
    assert any(told in fault for fault in refused(f"t;v;\n{text}".encode(), log))


def test_numbers_of_rows_that_end_with_a_separator_are_those_of_rows_that_do_not() -> None:
    plain = b"t,v\n" + b"".join(b"%d,%d.%03d\n" % (k, k % 7, k % 1000) for k in range(3000))
    ended = plain.replace(b"\n", b",\n")
    log = LogKeys(time=Column("t"), value=Column("v"))
    assert np.array_equal(taken(ended, replace(log, separator_at_end=True)).values, taken(plain, log).values)


@pytest.mark.parametrize(
    ("rows", "log", "told"),
    [
        (
            "28.03.2031 09:10:0{};6.9",
            LogKeys(separator="semicolon"),
            "line 2, column 1 (time_s): found '28.03.2031 09:10:00'; accepted: a finite decimal number such as 6.985; "
            "for time stamps time_form in [log] of trial.toml, with stamp_form where they are not ISO 8601",
        ),
        (
            "28.03.2031 09:10:0{};6.9",
            LogKeys(separator="semicolon", time_form="iso"),
            "such as 2031-03-03T08:00:00+01:00 (or another time_form in [log] of trial.toml)",
        ),
        (
            "{};6.9",
            LogKeys(separator="semicolon", time_form="stamp", stamp_form="%d.%m.%Y %H:%M:%S", stamp_offset="Z"),
            "found '0'; accepted: a date and time of the form %d.%m.%Y %H:%M:%S (stamp_form in [log] of trial.toml) (or",
        ),
        (
            "{};6.9;",
            LogKeys(separator="semicolon"),
            "for an empty field at the end of every row separator_at_end = true in [log] of trial.toml",
        ),
    ],
)
def test_another_form_of_every_row_is_told_once(rows: str, log: LogKeys, told: str) -> None:
    text = "time_s;loss_W\n" + "".join(rows.format(k) + "\n" for k in range(10))
    (fault,) = refused(text.encode(), log)
    assert told in fault


@pytest.mark.parametrize("end", ["\n", "Ende der Messung\n"])
def test_a_footer_is_told_by_the_key_that_leaves_it_out(end: str) -> None:
    (fault,) = refused(b"time_s,loss_W\n0,6.9\n1,6.9\n" + end.encode())
    assert fault.endswith("(or rows_at_end in [log] of trial.toml, for lines after the last row)")
