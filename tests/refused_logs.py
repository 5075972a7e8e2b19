"""Real logs of others (foreign_logs/SOURCES.md) that every reader refuses, each for the reason beside it."""

from __future__ import annotations

from pathlib import Path

from lossstats.trial_folder.settings import Column, LogKeys

LOGS = Path(__file__).parent / "foreign_logs"
MIDC = (
    "DATE (MM/DD/YYYY)",
    "Global PSP [W/m^2]",
    "Global PSP (Accumulated) [kWhr/m^2]",
    "Temperature @ 50m [deg C]",
    "Temperature @ 80m [deg C]",
)
# Name in foreign_logs, column map, and part of the message.
REFUSED = [
    (
        "midc_20181014.txt",
        LogKeys(time_form="iso", time=Column("MST"), value=Column("Temperature @ 2m [deg C]"), ignore=MIDC),
        "line 2, column 2 (MST): found '00:00'; accepted: an ISO 8601 date and time with offset",
    ),
    (
        "SRML-day-EUPO1801.txt",
        LogKeys(
            separator="tab", time=Column("2018"), value=Column("7008"), ignore=("94255", "1000", "0", "2010", "2011")
        ),
        "line 1, column 6: found the column name '0' a second time; accepted: column names that differ",
    ),
    (
        "dsc_crlf.csv",
        LogKeys(blanks="strip", time=Column("Temperature (C)"), value=Column("Heat Flow Endo Up (mW)")),
        "line 3, column 1 (Temperature (C)): found the time -9.961 s after -9.951 s; accepted: times that rise",
    ),
    (
        "dsc_crlf.csv",
        LogKeys(time=Column("Temperature (C)"), value=Column(" Heat Flow Endo Up (mW)")),
        (
            "line 2, column 2 ( Heat Flow Endo Up (mW)): found ' -0.0013'; accepted: a finite decimal number such as "
            "6.985 without blanks around it (or blanks = 'strip' in [log] of trial.toml)"
        ),
    ),
    ("dsc_crlf.csv", LogKeys(), "line 1: found no column 'time_s' among 'Temperature (C)', ' Heat Flow Endo Up (mW)'"),
    ("tires.csv", LogKeys(), "line 1: found a byte-order mark; accepted: UTF-8 without one"),
    (
        "tires.csv",
        LogKeys(encoding="utf-8-sig"),
        "line 35: found a last line without a line end, '1.05,1.04,1.06,1.02,1.03,1.03,0.93,1.28,1'",
    ),
    ("tires.csv", LogKeys(encoding="utf-8-sig"), "line 1, column 7: found the column 'Wedge gauge×peel force'"),
    (
        "astropy_bad.txt",
        LogKeys(
            separator="space", rows_before_header=3, time=Column("top1"), value=Column("top2"), ignore=("top3", "top4")
        ),
        "line 5: found 5 fields in 'hat1  hat2 hat3 hat4    hat5'; accepted: 4 fields: top1, top2, top3, top4",
    ),
    (
        "astropy_ipac.dat",
        LogKeys(separator="space", rows_before_header=6, unit_row=True, time=Column("ra"), value=Column("dec")),
        "line 7, column 3: found the column name '|' a second time; accepted: column names that differ",
    ),
    (
        "astropy_continuation.dat",
        LogKeys(separator="space", time=Column("1"), value=Column("3"), ignore=("5", "\\")),
        "line 2: found 2 fields in 'hello world'; accepted: 4 fields: 1, 3, 5, \\",
    ),
    (
        "astropy_commented_header2.dat",
        LogKeys(separator="space", rows_before_header=2, time=Column("a"), value=Column("b"), ignore=("#", "c")),
        "line 4: found 3 fields in '1 2 3'; accepted: 4 fields: #, a, b, c",
    ),
]
