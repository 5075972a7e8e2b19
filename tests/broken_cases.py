"""Ways to break the small trial folder, each with the fault it gives: the table that every reader is held to."""

from __future__ import annotations

import os
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import small_trial
from small_trial import put, row, swap

FILE = "samples/r01.csv"
TIME, VALUE = "column 1 (time_s)", "column 2 (loss_W)"
NUMBER = "a finite decimal number such as 6.985"
FIELDS = "2 fields: time_s, loss_W"
STAMP = "an ISO 8601 date and time with offset such as 2031-03-03T08:00:00+01:00"


@dataclass(frozen=True)
class Case:
    """A way to break the folder, and the one fault it gives: file, line, column, found, and part of accepted."""

    name: str
    breaks: Callable[[Path], object]
    file: str
    line: int | None
    column: int | str | None
    found: str
    accepted: str
    count: int = 1


def text(old: str, new: str, file: str = FILE) -> Callable[[Path], object]:
    return lambda folder: swap(folder, file, old, new)


def whole(content: str | bytes, file: str = FILE) -> Callable[[Path], object]:
    return lambda folder: put(folder, file, content)


def line_12(new: str) -> Callable[[Path], object]:
    """Put something else in place of the row of second 10, line 12 of the first sample file."""
    return text(row(10) + "\n", new)


def value(found: str, name: str, shown: str | None = None, accepted: str = NUMBER) -> Case:
    """Case: a reading that is no number."""
    return Case(name, line_12(f"10,{found}\n"), FILE, 12, VALUE, shown or repr(found), accepted)


def toml(old: str, new: str) -> Callable[[Path], object]:
    return text(old, new, "trial.toml")


def sheet(old: str, new: str) -> Callable[[Path], object]:
    return text(old, new, "run_sheet.csv")


def both(*steps: Callable[[Path], object]) -> Callable[[Path], object]:
    return lambda folder: [step(folder) for step in steps]


def two_gigabytes(folder: Path) -> None:
    os.truncate(folder / FILE, 2 * 1024**3)


def link_out(folder: Path) -> None:
    outside = folder.parent / "outside.csv"
    outside.write_text(small_trial.samples(1))
    (folder / FILE).unlink()
    (folder / FILE).symlink_to(Path("..") / ".." / "outside.csv")


def link_folder(folder: Path) -> None:
    (folder / "samples").rename(folder.parent / "elsewhere")
    (folder / "samples").symlink_to(folder.parent / "elsewhere")


def make_pipe(folder: Path) -> None:
    (folder / FILE).unlink()
    os.mkfifo(folder / FILE)


# fmt: off
SAMPLES = [
    value("nan", "nan"),
    value("NaN", "NaN"),
    value("inf", "inf"),
    value("-Infinity", "minus infinity"),
    value("1e400", "1e400"),
    value("1_000", "underscore"),
    value("٦.٩٨٥", "Arabic-Indic digits"),
    value("６.985", "full-width digit"),
    value("0x10", "hexadecimal"),
    value("--7.000", "two minus signs"),
    value("7-000", "a minus inside"),
    value("-", "a minus alone"),
    value("7.000.0", "two decimal points"),
    value(".985", "no digit before the point"),
    value("7.", "no digit after the point"),
    value("overload", "a word"),
    value('"7.000"', "quotation marks"),
    value("9" * 400 + ".000", "four hundred digits", repr("9" * 60) + " …"),
    value("", "empty field", "an empty field"),
    value(" 7.000", "blank in front", accepted=NUMBER + " without blanks around it (or blanks = 'strip'"),
    value("7.000\t", "tab behind", accepted=NUMBER + " without blanks around it (or blanks = 'strip'"),
    value("+7.000", "plus sign", accepted=NUMBER + " without plus sign or exponent (or decimals = 'free'"),
    value("7.0e1", "exponent", accepted=NUMBER + " without plus sign or exponent (or decimals = 'free'"),
    Case("wrong decimals", line_12("10,7.00\n"), FILE, 12, VALUE, "'7.00', 2 decimals", "3 as in line 2"),
    Case("no decimals", line_12("10,7\n"), FILE, 12, VALUE, "'7', 0 decimals", "3 as in line 2"),
    Case("time with decimals", line_12("10.0,7.000\n"), FILE, 12, TIME, "'10.0', 1 decimal", "0 as in line 2"),
    Case("short row", line_12("10\n"), FILE, 12, None, "1 field in '10'", FIELDS),
    Case("long row", line_12("10,7.000,1\n"), FILE, 12, None, "3 fields in '10,7.000,1'", FIELDS),
    Case("decimal comma", line_12("10,7,000\n"), FILE, 12, None, "3 fields in '10,7,000'", FIELDS),
    Case("trailing comma", line_12("10,7.000,\n"), FILE, 12, None, "3 fields in '10,7.000,'", FIELDS),
    Case("blank line inside", line_12("\n"), FILE, 12, None, "a blank line", FIELDS),
    Case("blank line at the end", whole(small_trial.samples() + "\n"), FILE, 32, None, "a blank line", FIELDS),
    Case("comment line", line_12("# touched\n"), FILE, 12, None, "1 field in '# touched'", FIELDS),
    Case("every row one field more",
         whole(small_trial.samples().replace("\n", ",1\n").replace("loss_W,1", "loss_W")), FILE, 2, None,
         f"3 fields in '{row(0)},1'", FIELDS, 21),
    Case("last line cut", whole(small_trial.samples()[:-1]), FILE, 31, None,
         f"a last line without a line end, '{row(29)}'", "a file that was not cut short"),
    Case("cut inside the last number", whole(small_trial.samples()[:-3]), FILE, 31, None,
         f"a last line without a line end, '{row(29)[:-2]}'", "a file that was not cut short", 2),
    Case("cut inside a number, then a line end", whole(small_trial.samples()[:-3] + "\n"), FILE, 31, VALUE,
         f"'{row(29)[3:-2]}', 1 decimal", "3 as in line 2 (a number cut short?)"),
    Case("cut inside a row, then a line end", whole(small_trial.samples()[:-7] + "\n"), FILE, 31, None,
         "1 field in '29'", FIELDS),
    Case("repeated time", text("\n10,", "\n9,"), FILE, 12, TIME, "the time 9 s after 9 s", "times that rise"),
    Case("falling time", text("\n10,", "\n8,"), FILE, 12, TIME, "the time 8 s after 9 s", "times that rise"),
    Case("negative time", text("\n0,", "\n-1,"), FILE, 2, TIME, "the time -1 s", "times since the start of the run"),
    Case("unsteady interval",
         whole(small_trial.samples().replace(",", ".0,").replace("\n10.0,", "\n10.4,").replace("time_s.0", "time_s")),
         FILE, 12, TIME, "a spacing of 1.4 s, where the median is 1 s",
         "a whole number of medians within 0.2 of one", 2),
    Case("mixed line ends", line_12(row(10) + "\r\n"), FILE, 12, None, "mixed line ends", "one kind of line end"),
    Case("a plain line end among pairs",
         whole(small_trial.samples().replace("\n", "\r\n").replace(row(8) + "\r\n", row(8) + "\n")), FILE, 10, None,
         "mixed line ends", "one kind of line end"),
    Case("carriage return inside", line_12("10,7.000\r11,7.000\n"), FILE, 12, None,
         "a carriage return inside a line", "one kind of line end", 2),
    Case("byte-order mark", whole("\ufeff" + small_trial.samples()), FILE, 1, None, "a byte-order mark",
         "UTF-8 without one"),
    Case("UTF-16", whole(small_trial.samples().encode("utf-16")), FILE, None, None, "text in UTF-16",
         "text in UTF-8"),
    Case("binary", whole(b"\x89HDF\r\n\x1a\n\x00\x00"), FILE, None, None, "a binary file (it has zero bytes)",
         "plain text"),
    Case("zero byte inside", line_12("10,7.0\x000\n"), FILE, None, None, "a binary file (it has zero bytes)",
         "plain text"),
    Case("empty file", whole(""), FILE, None, None, "an empty file", "a header line and rows"),
    Case("header only", whole("time_s,loss_W\n"), FILE, None, None, "0 rows of samples", "two rows or more"),
    Case("one row", whole("time_s,loss_W\n0,7.000\n"), FILE, None, None, "1 row of samples", "two rows or more"),
    Case("no header", text("time_s,loss_W\n", ""), FILE, 1, "column 1", "the column '0'", "time_s, loss_W", 4),
    Case("missing column", text("time_s,loss_W", "time_s,loss"), FILE, 1, "column 2", "the column 'loss'",
         "time_s, loss_W; name others in other or ignore", 2),
    Case("extra column", text("time_s,loss_W", "time_s,loss_W,oil_C"), FILE, 1, "column 3", "the column 'oil_C'",
         "time_s, loss_W; name others in other or ignore"),
    Case("column name twice", text("time_s,loss_W", "time_s,loss_W,loss_W"), FILE, 1, "column 3",
         "the column name 'loss_W' a second time", "column names that differ"),
    Case("blank in the header", text("time_s,loss_W", "time_s, loss_W"), FILE, 1, "column 2", "the column ' loss_W'",
         "time_s, loss_W", 2),
    Case("column name not UTF-8", whole(b"time_s,loss_\xb5W\n"), FILE, 1, None,
         r"'time_s,loss_\\xb5W', which is not UTF-8", "column names in UTF-8"),
    Case("two gigabytes", two_gigabytes, FILE, None, None, "2 147 483 648 bytes", "at most 512 MiB"),
    Case("enormous header", whole("x" * 70_000 + "\n"), FILE, 1, None, "a line of more than 65536 bytes",
         "lines of at most 65536 bytes"),
    Case("enormous row", line_12("10," + "7" * 70_000 + "\n"), FILE, 12, None, "a line of 70003 bytes",
         "lines of at most 65536 bytes"),
    Case("row longer than a block", line_12("10," + "7" * 2_100_000 + "\n"), FILE, 12, None,
         "a line of more than 1048576 bytes", "lines of at most 65536 bytes"),
    Case("a copy of another run", whole(small_trial.samples(2)), "samples/r02.csv", None, None,
         "the same content as samples/r01.csv", "the readings of this run"),
    Case("seconds of another clock",
         whole("time_s,loss_W\n" + "".join(f"{1_900_000_000 + i},7.{i:03d}\n" for i in range(30))), FILE, 31, TIME,
         "the time 1900000029 s", "times since the start of the run, at most 10000000 s", 1),
    Case("missing file", lambda folder: (folder / FILE).unlink(), FILE, None, None, "no such file", "a file in the"),
    Case("file not named", lambda folder: put(folder, "samples/r07.csv", small_trial.samples(7)), "samples/r07.csv",
         None, None, "a file that run_sheet.csv does not name", "every file in one row"),
    Case("named pipe", make_pipe, FILE, None, None, "no plain file", "a plain text file"),
    Case("symbolic link out", link_out, FILE, None, None, "a symbolic link, samples/r01.csv to '../../outside.csv'",
         "a file that lies in the trial folder itself"),
]
# fmt: on

# fmt: off
TOMLS = [
    Case("no trial.toml", lambda folder: (folder / "trial.toml").unlink(), "trial.toml", None, None, "no such file",
         "a file in the trial folder"),
    Case("large trial.toml", lambda folder: os.truncate(folder / "trial.toml", 2 * 1024**2), "trial.toml", None,
         None, "2 097 152 bytes", "at most 1 MiB"),
    Case("syntax", toml('design = "paired"', "design = paired"), "trial.toml", 7, 10,
         "'design = paired' (Invalid value)", "a line of TOML 1.0"),
    Case("key twice", toml('after = "cleaned"', 'before = "cleaned"'), "trial.toml", 6, 19,
         """'before = "cleaned"' (Cannot overwrite a value)""", "a line of TOML 1.0"),
    Case("trial.toml not UTF-8", lambda folder: put(folder, "trial.toml", b'[trial]\nquestion = "\xe4"\n'),
         "trial.toml", 2, None, "the byte 0xe4", "text in UTF-8"),
    Case("unknown key", toml("difference_that_matters", "diference_that_maters"), "trial.toml", 8,
         "key comparison.diference_that_maters", "the unknown key 'diference_that_maters'",
         "difference_that_matters (or before, after"),
    Case("unknown table", toml("[readings]", "[reading]"), "trial.toml", 10, "key reading",
         "the unknown key 'reading'", "readings or screening"),
    Case("wrong type", toml("resolution = 0.001", 'resolution = "0.001"'), "trial.toml", 11,
         "key readings.resolution", "the text '0.001'", "a finite number >= 0 (display step"),
    Case("true for a number", toml("resolution = 0.001", "resolution = true"), "trial.toml", 11,
         "key readings.resolution", "true", "a finite number >= 0"),
    Case("nan for a number", toml("resolution = 0.001", "resolution = nan"), "trial.toml", 11,
         "key readings.resolution", "the number nan", "a finite number >= 0"),
    Case("out of range", toml("difference_that_matters = 0.2", "confidence = 95"), "trial.toml", 8,
         "key comparison.confidence", "the number 95", "a finite number >= 0.5 and <= 0.999"),
    Case("zero where more is needed", toml("_matters = 0.2", "_matters = 0"), "trial.toml", 8,
         "key comparison.difference_that_matters", "the number 0", "a finite number > 0"),
    Case("percent for a ratio", toml("[readings]", "[instrument]\ngain = 0.5\n[readings]"), "trial.toml", 11,
         "key instrument.gain", "the number 0.5", "a finite number >= 0 and <= 0.2"),
    Case("unknown choice", toml('"paired"', '"pairs"'), "trial.toml", 7, "key comparison.design", "the text 'pairs'",
         '"paired" or "crossover" or "independent" or "controls" or "single"'),
    Case("missing key", toml('after = "cleaned"\n', ""), "trial.toml", 4, "key comparison.after", "no such key",
         "text that is not empty (name of the new condition"),
    Case("empty text", toml('"Does a wash pay?"', '" "'), "trial.toml", 2, "key trial.question", "the text ' '",
         "text that is not empty (the question"),
    Case("missing table", toml('[trial]\nquestion = "Does a wash pay?"\n', ""), "trial.toml", None, "key trial",
         "no table [trial]", "a table with question, measurand"),
    Case("number for a table", toml("[readings]\nresolution", "readings"), "trial.toml", 10,
         "key comparison.readings", "the unknown key 'readings'", "before, after"),
    Case("one condition", toml('"cleaned"', '"dusty"'), "trial.toml", 6, "key comparison.after",
         "'dusty', the same as before", "two conditions that differ", 4),
    Case("controls in a paired design", toml("difference_that_matters = 0.2", 'controls = ["K03"]'), "trial.toml", 8,
         "key comparison.controls", "controls with design = 'paired'", 'no controls, or design = "controls"'),
    Case("controls that are none", toml('"paired"', '"controls"'), "trial.toml", 4, "key comparison.controls",
         "no controls", "the articles left untouched"),
    Case("a list with repeats", toml("resolution = 0.001", "interval_s = [1, 1.0]"), "trial.toml", 11,
         "key readings.interval_s", "the list [1, 1.0]", "a list without repeats"),
    Case("a list entry out of range", toml("resolution = 0.001", "interval_s = [1, -1]"), "trial.toml", 11,
         "key readings.interval_s", "the list [1, -1]", "a list, each entry a finite number > 0"),
    Case("no list", toml("resolution = 0.001", "interval_s = 1"), "trial.toml", 11, "key readings.interval_s",
         "the number 1", "a list, each entry"),
    Case("mounts in a paired design", toml("difference_that_matters = 0.2", 'unit_of_replication = "mount"'),
         "trial.toml", 8, "key comparison.unit_of_replication", "'mount'",
         '"article", or "mount" with design = "single"'),
    Case("repeatability of unknown source", toml("difference_that_matters = 0.2", "repeatability = 0.06"), "trial.toml", 4,
         "key comparison.repeatability_source", "nothing", "where the repeatability comes from: document, date"),
    Case("dof alone", toml("difference_that_matters = 0.2", "repeatability_dof = 12"), "trial.toml", 8,
         "key comparison.repeatability_dof", "no repeatability beside it", "a repeatability"),
    Case("comma twice", toml("[readings]", '[log]\ndecimal = ","\n[readings]'), "trial.toml", 11, "key log.decimal",
         "a decimal comma with separator = 'comma'", "another separator"),
    Case("column read and ignored", toml("[readings]", '[log]\nignore = ["loss_W"]\n[readings]'), "trial.toml", 11,
         "key log.ignore", "'loss_W'", "columns that are not read; value reads this one"),
    Case("column read twice", toml("[readings]", '[log]\nother.x = {column = "loss_W"}\n[readings]'), "trial.toml",
         11, "key log.other.x.column", "'loss_W'", "a column that is not read as value already"),
    Case("operating point nowhere",
         toml("[readings]", "[operating_point.power_W]\nnominal = 280\ntolerance = 3\n[readings]"), "trial.toml", 10,
         "key operating_point.power_W", "the name 'power_W'", "a column of [log.other]"),
    Case("break without offset", toml("[readings]", '[drift]\nbreaks = ["2031-03-03T08:00:00"]\n[readings]'),
         "trial.toml", 11, "key drift.breaks", "the list ['2031-03-03T08:00:00']",
         "an ISO 8601 date and time with offset"),
    Case("integer of 5000 digits", toml("resolution = 0.001", "resolution = " + "9" * 5000), "trial.toml", None, None,
         "a number too long or brackets too deep to be read", "numbers of 64 bits"),
    Case("brackets 100 000 deep", toml("resolution = 0.001", "resolution = " + "[" * 100_000), "trial.toml", None, None,
         "a number too long or brackets too deep to be read", "numbers of 64 bits"),
    Case("integer of 65 bits", toml("resolution = 0.001", f"resolution = {2**64}"), "trial.toml", 11,
         "key readings.resolution", "an integer of more than 64 bits", "a finite number >= 0"),
    Case("hexadecimal without end", toml("resolution = 0.001", "resolution = 0x" + "f" * 5000), "trial.toml", 11,
         "key readings.resolution", "an integer of more than 64 bits", "a finite number >= 0"),
    Case("factor without end",
         both(toml("[readings]", '[log]\nvalue = {column = "loss_W", factor = 1e300}\n[readings]'),
              line_12("10,1" + "0" * 20 + ".000\n")),
         FILE, 12, VALUE, "a number that the factor 1e+300 makes infinite", "a finite number"),
    Case("another interval than declared", toml("[readings]", "[readings]\ninterval_s = [2, 5]"), FILE, None, TIME,
         "a sample interval of 1 s", "2, 5 s, as interval_s in [readings] of trial.toml says", 6),
]
# fmt: on

R04, R05 = (line for line in small_trial.sheet().splitlines(keepends=True) if line.startswith(("r04", "r05")))
SINGLE = toml('design = "paired"', 'design = "single"')
# fmt: off
SHEETS = [
    Case("no run sheet", lambda folder: (folder / "run_sheet.csv").unlink(), "run_sheet.csv", None, None,
         "no such file", "a file in the trial folder"),
    Case("run sheet columns", sheet("mount,file", "file,mount"), "run_sheet.csv", 1, None,
         "'run,start,role,article,condition,file,mount,remarks'", small_trial.HEADER.strip()),
    Case("run sheet empty", whole(small_trial.HEADER, "run_sheet.csv"), "run_sheet.csv", None, None,
         "a header and no rows", "one row a run"),
    Case("run sheet, short row", sheet("samples/r04.csv,\n", "samples/r04.csv\n"), "run_sheet.csv", 5, None,
         f"7 fields in {R04[:60]!r} …", "8 fields: run,start", 3),
    Case("run sheet, comma in the remarks", sheet("r04.csv,\n", "r04.csv,windy, cold\n"), "run_sheet.csv", 5, None,
         f"9 fields in {R04[:60]!r} …", "8 fields: run,start", 3),
    Case("run sheet, blank line", sheet(R04, "\n" + R04), "run_sheet.csv", 5, None, "a blank line", "8 fields"),
    Case("run sheet, open quotation mark", sheet("r04.csv,\n", 'r04.csv,"windy\n'), "run_sheet.csv", 5, None,
         f"{R04[:60]!r} … (unexpected end of data)", "fields in quotation marks that end in the same line", 3),
    Case("run sheet cut short", lambda folder: os.truncate(folder / "run_sheet.csv", len(small_trial.sheet()) - 1),
         "run_sheet.csv", 7, None,
         f"a last line without a line end, {small_trial.sheet().splitlines()[-1][:60]!r} …",
         "a file that was not cut short"),
    Case("unknown role", sheet("08:30:00+01:00,test", "08:30:00+01:00,Test"), "run_sheet.csv", 5, "column 3 (role)",
         "'Test'", "test, reference or zero", 2),
    Case("unknown condition", sheet("test,K01,cleaned", "test,K01,washed"), "run_sheet.csv", 5,
         "column 5 (condition)", "'washed'", "dusty or cleaned", 2),
    Case("test without mount", sheet("K01,cleaned,1", "K01,cleaned,"), "run_sheet.csv", 5, "column 6 (mount)",
         "an empty field", "the mount, which a test run needs"),
    Case("reference with condition", sheet("test,K01,cleaned", "reference,REF,cleaned"), "run_sheet.csv", 5,
         "column 5 (condition)", "'cleaned'", "an empty field: a reference run has no condition", 2),
    Case("zero run with article", sheet("test,K01,cleaned,1", "zero,K01,,"), "run_sheet.csv", 5,
         "column 4 (article)", "'K01'", "an empty field: a zero run has no article", 2),
    Case("blank around an entry", sheet("test,K01,cleaned", "test, K01,cleaned"), "run_sheet.csv", 5,
         "column 4 (article)", "' K01'", "an entry without blanks around it"),
    Case("run without name", sheet("\nr04,", "\n,"), "run_sheet.csv", 5, "column 1 (run)", "an empty field",
         "a name"),
    Case("clock without offset", sheet("08:30:00+01:00", "08:30:00"), "run_sheet.csv", 5, "column 2 (start)",
         "'2031-03-03T08:30:00'", STAMP),
    Case("date the other way", sheet("2031-03-03T08:30:00+01:00", "03/05/2031 08:30"), "run_sheet.csv", 5,
         "column 2 (start)", "'03/05/2031 08:30'", STAMP),
    Case("thirteenth month", sheet("2031-03-03T08:30", "2031-13-03T08:30"), "run_sheet.csv", 5, "column 2 (start)",
         "'2031-13-03T08:30:00+01:00'", STAMP),
    Case("start before the run before", sheet("T08:30", "T08:15"), "run_sheet.csv", 5, "column 2 (start)",
         "2031-03-03T08:15:00+01:00, not after line 4 (2031-03-03T08:20:00+01:00)",
         "runs in the order of the bench"),
    Case("offset of another zone", sheet("08:30:00+01:00", "08:30:00+02:00"), "run_sheet.csv", 5, "column 2 (start)",
         "2031-03-03T08:30:00+02:00, not after line 4 (2031-03-03T08:20:00+01:00)",
         "runs in the order of the bench"),
    Case("overlapping runs", sheet("T08:30:00", "T08:20:20"), "run_sheet.csv", 5, "column 2 (start)",
         "2031-03-03T08:20:20+01:00, while run r03 goes on until 2031-03-03T08:20:29+01:00",
         "a start after the end"),
    Case("run named twice", sheet("\nr04,", "\nr01,"), "run_sheet.csv", 5, "column 1 (run)",
         "the run 'r01' a second time, first in line 2", "every run once"),
    Case("file named twice",
         both(sheet("samples/r04.csv", "samples/r01.csv"), lambda folder: (folder / "samples/r04.csv").unlink()),
         "run_sheet.csv", 5, "column 7 (file)", "the file 'samples/r01.csv' a second time, first in line 2",
         "every file once"),
    Case("no file", sheet("samples/r04.csv", ""), "run_sheet.csv", 5, "column 7 (file)", "an empty field",
         "the sample file of the run", 2),
    Case("path out of the folder", sheet("samples/r04.csv", "samples/../../r04.csv"), "run_sheet.csv", 5,
         "column 7 (file)", "a path out of the folder, 'samples/../../r04.csv'", "a file below samples/", 2),
    Case("absolute path", sheet("samples/r04.csv", "/etc/passwd"), "run_sheet.csv", 5, "column 7 (file)",
         "an absolute path, '/etc/passwd'", "a file below samples/", 2),
    Case("drive", sheet("samples/r04.csv", "C:/r04.csv"), "run_sheet.csv", 5, "column 7 (file)",
         "an absolute path, 'C:/r04.csv'", "a file below samples/", 2),
    Case("backslash", sheet("samples/r04.csv", "samples\\r04.csv"), "run_sheet.csv", 5, "column 7 (file)",
         r"a backslash or a character that cannot be printed, 'samples\\r04.csv'", "a file below samples/", 2),
    Case("the same file by another name", sheet("samples/r04.csv", "samples/./r01.csv"), "run_sheet.csv", 5,
         "column 7 (file)", "a path with an empty step, 'samples/./r01.csv'", "a file below samples/", 2),
    Case("file outside samples/", sheet("samples/r04.csv", "trial.toml"), "run_sheet.csv", 5, "column 7 (file)",
         "a file outside samples/, 'trial.toml'", "a file below samples/", 2),
    Case("a condition of some articles only",
         sheet(R04 + R05, R04.replace("cleaned", "dusty") + R05.replace("cleaned", "dusty")), "run_sheet.csv", None,
         None, "no test run in condition 'cleaned' of K01, K02",
         "every article in both conditions, as design = 'paired' says", 3),
    Case("an article once", sheet("test,K01,cleaned", "test,K04,cleaned"), "run_sheet.csv", None, None,
         "no test run in condition 'dusty' of K04", "every article in both conditions", 2),
    Case("independent, in both", toml('"paired"', '"independent"'), "run_sheet.csv", None, None,
         "test runs in both conditions of K01, K02, K03", "every article in one condition"),
    Case("single, of three", SINGLE, "run_sheet.csv", None, None, "test runs of K01, K02, K03",
         "test runs of one article"),
    Case("control unknown", toml('"paired"', '"controls"\ncontrols = ["K09"]'), "run_sheet.csv", None, None,
         "no test run of the control article 'K09'", "controls in [comparison] among K01, K02, K03"),
    Case("controls only", toml('"paired"', '"controls"\ncontrols = ["K01", "K02", "K03"]'), "run_sheet.csv", None,
         None, "control articles only", "articles that were treated beside them"),
    Case("test article as reference", sheet("test,K01,cleaned", "reference,K01,"), "run_sheet.csv", 5,
         "column 4 (article)", "'K01' as reference article, a test article in line 2", "a reference article"),
    Case("article in small letters", sheet("test,K01,cleaned", "test,k01,cleaned"), "run_sheet.csv", 5,
         "column 4 (article)", "the article 'k01', in line 2 'K01'", "one spelling of each article", 3),
    Case("a year that nobody sees", sheet("2031-03-03T08:30", "9999-03-03T08:30"), "run_sheet.csv", 5,
         "column 2 (start)", "'9999-03-03T08:30:00+01:00'", STAMP),
    Case("mount that comes back", sheet("test,K01,cleaned", "test,K01,dusty"), "run_sheet.csv", 5,
         "column 6 (mount)", "mount '1' of K01 again, after K02 (line 3) was on the bench",
         "a new mount for every fitting", 2),
]
# fmt: on

CASES = [*SAMPLES, *TOMLS, *SHEETS]
