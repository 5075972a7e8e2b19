"""The file trial.toml: read and checked key by key, and written."""

from __future__ import annotations

import dataclasses
import json
import re
import tomllib
from typing import Any

from lossstats.records.rendering import counted
from lossstats.trial_folder.faults import Fault, FaultList, quoted
from lossstats.trial_folder.number_rows import SEPARATORS
from lossstats.trial_folder.raw_files import check_text
from lossstats.trial_folder.settings import SHAFT_COLUMNS, Column, ComparisonKeys, LogKeys, Settings
from lossstats.trial_folder.stamp_forms import ACCEPTED, parse_offset, wrong_form
from lossstats.trial_folder.toml_tables import TableReader

FILE = "trial.toml"
_PLAIN_NAME = r"[A-Za-z][A-Za-z0-9_]*"


def read_settings(data: bytes) -> tuple[Settings | None, list[Fault]]:
    """Read the content of trial.toml.

    Parameters
    ----------
    data : bytes
        Content of the file.

    Returns
    -------
    settings : Settings or None
        None if the text is no TOML. Where a key has a fault its default stands in, or empty text.
    faults : list of Fault
        All that is wrong, with the key, its line, and what is accepted.

    Notes
    -----
    The line of a key is looked for in the text (tomllib gives lines for errors of syntax only); a key that is missing
    is shown at the line of its table.
    """
    faults = FaultList(FILE)
    text = check_text(data, faults)
    if text is None:
        return None, faults.listed()
    try:
        content = text.decode()
        tables = tomllib.loads(content)
    except UnicodeDecodeError as error:
        faults.add(
            f"the byte {error.object[error.start]:#04x}", "text in UTF-8", line=text.count(b"\n", 0, error.start) + 1
        )
        return None, faults.listed()
    except tomllib.TOMLDecodeError as error:
        _syntax_fault(str(error), content, faults)
        return None, faults.listed()
    except (ValueError, RecursionError):
        # tomllib lets these through: an integer of thousands of digits, brackets nested a thousand deep.
        faults.add("a number too long or brackets too deep to be read", "numbers of 64 bits, a few levels of brackets")
        return None, faults.listed()
    reader = TableReader(content, faults)
    settings = reader.table(Settings, tables, ())
    _check_together(settings, reader)
    return settings, faults.listed()


def _syntax_fault(message: str, content: str, faults: FaultList) -> None:
    match = re.search(r"\(at line (\d+), column (\d+)\)", message)
    line, column = (int(match[1]), int(match[2])) if match else (content.count("\n"), None)
    what = re.sub(r" \(at .*\)", "", message)
    row = content.split("\n")[line - 1]
    faults.add(f"{quoted(row)} ({what})", 'a line of TOML 1.0, such as key = "text"', line=line, column=column)


def _check_together(settings: Settings, reader: TableReader) -> None:
    # Rules between keys.
    comparison = settings.comparison
    if comparison.before and comparison.before == comparison.after:
        found = f"{quoted(comparison.after)}, the same as before"
        reader.fault(("comparison", "after"), found, "two conditions that differ")
    controls = ("comparison", "controls")
    if comparison.controls and comparison.design not in ("controls", ""):
        reader.fault(
            controls, f"controls with design = {quoted(comparison.design)}", 'no controls, or design = "controls"'
        )
    if comparison.design == "controls" and not comparison.controls and controls not in reader.faulty:
        reader.fault(controls, "no controls", 'the articles left untouched, which design = "controls" needs')
    if comparison.unit_of_replication == "mount" and comparison.design not in ("single", ""):
        accepted = '"article", or "mount" with design = "single": mounts of several articles are no replicates'
        reader.fault(("comparison", "unit_of_replication"), "'mount'", accepted)
    if comparison.repeatability_dof is not None and comparison.repeatability is None:
        accepted = "a repeatability, or no degrees of freedom of it"
        reader.fault(("comparison", "repeatability_dof"), "no repeatability beside it", accepted)
    if comparison.repeatability is not None and not comparison.repeatability_source.strip():
        accepted = "where the repeatability comes from: document, date; a claim on one article stands on it"
        reader.fault(("comparison", "repeatability_source"), "nothing", accepted)
    _check_several(comparison, reader)
    _check_log(settings, reader)
    _check_points(settings, reader)
    _check_bench_model(settings, reader)


def _check_several(comparison: ComparisonKeys, reader: TableReader) -> None:
    # Keys that only design several has, and those that it does not have.
    several = comparison.design == "several"
    for field in dataclasses.fields(comparison):
        wanted, value = field.metadata.get("several", several), getattr(comparison, field.name)
        if wanted != several and value not in ("", None) and comparison.design:
            accepted = f"nothing, or design = {'several' if wanted else 'paired'!r}".replace("'", '"')
            reader.fault(
                ("comparison", field.name), f"{_brief(value)} with design = {quoted(comparison.design)}", accepted
            )
    if not several:
        return
    names = comparison.all_conditions
    if len(names) < 3 and ("comparison", "conditions") not in reader.faulty:
        accepted = "a list of three names or more, or another design with before and after"
        reader.fault(("comparison", "conditions"), counted(len(names), "condition"), accepted)
    if comparison.control is not None and comparison.control not in names:
        accepted = f"one of the conditions ({', '.join(names)}), or no such key"
        reader.fault(("comparison", "control"), quoted(comparison.control), accepted)
    if comparison.blocks is None and ("comparison", "blocks") not in reader.faulty:
        doc = ComparisonKeys.__dataclass_fields__["blocks"].metadata["doc"]
        reader.fault(("comparison", "blocks"), "no such key", doc)


def _brief(value: Any) -> str:
    return quoted(value) if isinstance(value, str) else f"the list {quoted(', '.join(value))[1:-1]}"


def _check_log(settings: Settings, reader: TableReader) -> None:
    log = settings.log
    if log.separator == "comma" and log.decimal == ",":
        reader.fault(("log", "decimal"), "a decimal comma with separator = 'comma'", "another separator")
    used = {"time": log.time, "value": log.value, **{f"other.{name}": column for name, column in log.other.items()}}
    seen: dict[str, str] = {}
    for key, column in used.items():
        path = ("log", *key.split("."), "column")
        if column.column in seen and column.column:
            accepted = f"a column that is not read as {seen[column.column]} already"
            reader.fault(path, quoted(column.column), accepted)
        seen[column.column] = key
    for name in log.ignore:
        if name in seen:
            reader.fault(("log", "ignore"), quoted(name), f"columns that are not read; {seen[name]} reads this one")
    if log.time_form != "seconds" and log.time.factor != 1:
        reader.fault(("log", "time", "factor"), f"the number {log.time.factor}", "1, because stamps have no unit")
    if log.time.factor < 0:
        reader.fault(("log", "time", "factor"), f"the number {log.time.factor}", "a number > 0, or times would fall")
    if log.separator == "space" and log.separator_at_end:
        reader.fault(("log", "separator_at_end"), "true with separator = 'space'", "false: blanks at an end are none")
    _check_stamps(log, reader)
    _check_names(settings, reader)


def _check_stamps(log: LogKeys, reader: TableReader) -> None:
    # A stamp is read by a stated form and a stated offset, or not at all.
    form, offset = log.stamp_form, log.stamp_offset
    if log.time_form != "stamp":
        for key, value in (("stamp_form", form), ("stamp_offset", offset)):
            if value is not None:
                found = f"{quoted(value)} with time_form = {quoted(log.time_form)}"
                reader.fault(("log", key), found, 'no such key, or time_form = "stamp"')
        return
    if form is None:
        reader.fault(("log", "stamp_form"), "no such key", ACCEPTED)
        return
    if wrong := wrong_form(form):
        reader.fault(("log", "stamp_form"), f"{wrong} in {quoted(form)}", ACCEPTED)
    elif log.separator != "tab" and SEPARATORS[log.separator].decode() in form:
        found = f"{quoted(form)} with separator = {quoted(log.separator)}"
        reader.fault(("log", "stamp_form"), found, "a stamp that does not hold the separator")
    own = "%z" in form
    if own and offset is not None:
        reader.fault(("log", "stamp_offset"), f"{quoted(offset)} beside %z", "no such key, or no %z in stamp_form")
    elif not own and (offset is None or parse_offset(offset) is None):
        found = "no such key" if offset is None else quoted(offset)
        reader.fault(("log", "stamp_offset"), found, 'an offset from UTC such as "+01:00", or %z in stamp_form')


def _check_names(settings: Settings, reader: TableReader) -> None:
    log = settings.log
    for name in log.other:
        if not re.fullmatch(_PLAIN_NAME, name) or name in ("time_s", log.value.column):
            accepted = "a name of letters, digits and _, other than time_s and the column of values"
            reader.fault(("log", "other", name), f"the name {quoted(name)}", accepted)
    for name in settings.operating_point:
        if name not in log.other:
            accepted = f"a column of [log.other]: {', '.join(log.other) or 'there is none yet'}"
            reader.fault(("operating_point", name), f"the name {quoted(name)}", accepted)


def _check_points(settings: Settings, reader: TableReader) -> None:
    # A correction to the nominal operating point needs its sensitivity, and no other has one.
    for name, point in settings.operating_point.items():
        known = point.correction in ("power", "exponential")
        path = ("operating_point", name, "sensitivity")
        if known and point.sensitivity is None and path not in reader.faulty:
            accepted = f"a number, which correction = {quoted(point.correction)} needs"
            reader.fault(path, "no such key", accepted)
        if not known and point.sensitivity is not None:
            accepted = 'no such key, or correction = "power" or "exponential"'
            reader.fault(path, f"a number with correction = {quoted(point.correction)}", accepted)
        if point.correction in ("power", "fitted power") and point.nominal <= 0:
            accepted = f"a number > 0 with correction = {quoted(point.correction)}"
            reader.fault(("operating_point", name, "nominal"), f"the number {point.nominal:g}", accepted)
        if point.correction == "fitted power" and settings.comparison.design not in ("paired", "independent", ""):
            accepted = '"power" with a sensitivity from elsewhere, or design = "paired" or "independent"'
            found = f"'fitted power' with design = {quoted(settings.comparison.design)}"
            reader.fault(("operating_point", name, "correction"), found, accepted)
    if [point.correction for point in settings.operating_point.values()].count("fitted power") > 1:
        last = list(settings.operating_point)[-1]
        accepted = "one column with a fitted power: two cannot be told apart by so few units"
        reader.fault(("operating_point", last, "correction"), "more than one fitted power", accepted)


def _check_bench_model(settings: Settings, reader: TableReader) -> None:
    model = settings.bench_model
    if model is None:
        return
    columns = {key: getattr(model, key) for key in SHAFT_COLUMNS}
    for key, name in columns.items():
        if name not in settings.log.other and ("bench_model", key) not in reader.faulty:
            accepted = f"a column of [log.other]: {', '.join(settings.log.other) or 'there is none yet'}"
            reader.fault(("bench_model", key), f"the name {quoted(name)}", accepted)
        if list(columns.values()).count(name) > 1:
            reader.fault(("bench_model", key), f"{quoted(name)} more than once", "four columns that differ")
    for key, shaft in (("input", model.input), ("output", model.output)):
        of_scale = shaft.class_of == "full scale" and shaft.torque_class_percent > 0
        if shaft.full_scale_Nm is None and (of_scale or shaft.zero_percent_per_10K * shaft.temperature_K > 0):
            accepted = "a number > 0: a class or a zero in percent of full scale needs it"
            reader.fault(("bench_model", key, "full_scale_Nm"), "no such key", accepted)
    for key in ("gain", "zero"):
        if getattr(settings.instrument, key) > 0:
            accepted = "0 beside a table [bench_model]: the transducers hold the calibration and the zeros"
            reader.fault(("instrument", key), f"the number {getattr(settings.instrument, key):g}", accepted)
    if settings.trial.unit != "W":
        accepted = '"W": a loss reckoned from N m and r/min is in W'
        reader.fault(("trial", "unit"), f"{quoted(settings.trial.unit)} with a table [bench_model]", accepted)


def settings_text(settings: Settings) -> str:
    r"""Text of trial.toml for these settings.

    Parameters
    ----------
    settings : Settings
        What to write.

    Returns
    -------
    str
        Every key that has a value, defaults included, so that the file says what was done even when a default
        should change; keys that are None or of another design, and empty tables, are left out.
    """
    parts = []
    for field in dataclasses.fields(settings):
        table = getattr(settings, field.name)
        named = table.items() if isinstance(table, dict) else [(None, table)] if table is not None else []
        for name, item in named:
            head = field.name if name is None else f"{field.name}.{_written_key(name)}"
            lines = [
                f"{key} = {written(getattr(item, key))}"
                for key in (f.name for f in dataclasses.fields(item))
                if getattr(item, key) is not None and not _other_design(item, key)
            ]
            parts.append("\n".join([f"[{head}]", *lines]) + "\n")
    return "\n".join(parts)


def _other_design(item: Any, key: str) -> bool:
    several = type(item).__dataclass_fields__[key].metadata.get("several")
    return several is not None and several != (item.design == "several")


def written(value: Any) -> str:
    """One value as TOML.

    Parameters
    ----------
    value : str, bool, int, float, tuple, dict or Column
        The value.

    Returns
    -------
    str
        Its text, on one line.

    Examples
    --------
    >>> written(("a", "b")), written(0.05), written(Column("t_s"))
    ('["a", "b"]', '0.05', '{column = "t_s", factor = 1.0}')
    """
    if isinstance(value, str):
        return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, int | float):
        return repr(value)
    if isinstance(value, tuple | list):
        return "[" + ", ".join(written(item) for item in value) + "]"
    if dataclasses.is_dataclass(value):
        value = {field.name: getattr(value, field.name) for field in dataclasses.fields(value)}
    items = ((key, item) for key, item in value.items() if item is not None)
    return "{" + ", ".join(f"{_written_key(key)} = {written(item)}" for key, item in items) + "}"


def _written_key(key: str) -> str:
    return key if re.fullmatch(r"[A-Za-z0-9_-]+", key) else written(key)


def kit_form(log: LogKeys) -> LogKeys:
    """Give the kit's own form of a log with the same columns.

    Parameters
    ----------
    log : LogKeys
        Any column map.

    Returns
    -------
    LogKeys
        Comma-separated, decimal point, fixed decimals, seconds; the column of values keeps its name where that
        needs no quotation marks.
    """
    plain = re.fullmatch(_PLAIN_NAME, log.value.column) and log.value.column != "time_s"
    value = log.value.column if plain else "value"
    return LogKeys(value=Column(value), other={name: Column(name) for name in log.other})
