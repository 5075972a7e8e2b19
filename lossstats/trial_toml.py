"""The file trial.toml: read and checked key by key, and written."""

from __future__ import annotations

import dataclasses
import difflib
import functools
import json
import math
import re
import tomllib
import types
import typing
from typing import Any

from lossstats.faults import Fault, FaultList, quoted
from lossstats.number_rows import parse_stamp
from lossstats.raw_files import check_text
from lossstats.settings import Column, LogKeys, Settings

FILE = "trial.toml"
_NOTHING: Any = object()
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
    reader = _Reader(content, faults)
    settings = reader.table(Settings, tables, ())
    _check_together(settings, reader)
    return settings, faults.listed()


def _syntax_fault(message: str, content: str, faults: FaultList) -> None:
    match = re.search(r"\(at line (\d+), column (\d+)\)", message)
    line, column = (int(match[1]), int(match[2])) if match else (content.count("\n"), None)
    what = re.sub(r" \(at .*\)", "", message)
    row = content.split("\n")[line - 1]
    faults.add(f"{quoted(row)} ({what})", 'a line of TOML 1.0, such as key = "text"', line=line, column=column)


class _Reader:
    # Turns the tables of a TOML file into dataclasses and notes every fault with its line.

    def __init__(self, content: str, faults: FaultList) -> None:
        self._lines = content.split("\n")
        self._faults = faults
        self.faulty: set[tuple[str, ...]] = set()

    def fault(self, path: tuple[str, ...], found: str, accepted: str) -> None:
        self.faulty.add(path)
        self._faults.add(found, accepted, line=self._line_of(path), column=f"key {'.'.join(path)}")

    def _line_of(self, path: tuple[str, ...]) -> int | None:
        # The line of a key, or else of the table around it.
        table: tuple[str, ...] = ()
        best: tuple[int, int | None] = (0, None)
        for number, line in enumerate(self._lines, start=1):
            if match := re.match(r"\s*\[+\s*([^\]]+?)\s*\]", line):
                table = here = _key_parts(match[1])
            elif match := re.match(r"\s*([A-Za-z0-9_\-.\"' ]+?)\s*=", line):
                here = table + _key_parts(match[1])
            else:
                continue
            if here == path[: len(here)] and len(here) > best[0]:
                best = (len(here), number)
        return best[1]

    def table(self, kind: type[Any], raw: Any, path: tuple[str, ...]) -> Any:
        # One table as its dataclass; defaults, or empty text, stand in where a key has a fault.
        if not isinstance(raw, dict):
            self.fault(path, _shown(raw), f"a table with {_listed(kind)}")
            raw = {}
        fields = {field.name: field for field in dataclasses.fields(kind)}
        for key in raw:
            if key not in fields:
                self.fault((*path, key), f"the unknown key {quoted(key)}", _nearest(key, list(fields)))
        hints = _hints(kind)  # type: ignore[arg-type]  # a class is hashable
        values = {}
        for name, field in fields.items():
            value = _NOTHING
            if name in raw:
                value = self._value(hints[name], raw[name], (*path, name), field.metadata)
            elif dataclasses.is_dataclass(hints[name]) and _default(field) is _NOTHING:
                self.fault(
                    (*path, name), f"no table [{name}]", f"a table with {_listed(typing.cast('type', hints[name]))}"
                )
                value = _stand_in(hints[name])
            elif _default(field) is _NOTHING:
                self.fault((*path, name), "no such key", _accepted(hints[name], field.metadata))
            if value is _NOTHING:
                value = _stand_in(hints[name]) if _default(field) is _NOTHING else _default(field)
            values[name] = value
        return kind(**values)

    def _value(self, hint: Any, raw: Any, path: tuple[str, ...], metadata: typing.Mapping[str, Any]) -> Any:
        if dataclasses.is_dataclass(hint):
            return self.table(typing.cast("type", hint), raw, path)
        if typing.get_origin(hint) is dict:
            return self._named_tables(typing.get_args(hint)[1], raw, path)
        if typing.get_origin(hint) is tuple:
            return self._array(typing.get_args(hint)[0], raw, path, metadata)
        value = _plain_value(hint, raw, metadata)
        if value is _NOTHING:
            self.fault(path, _shown(raw), _accepted(hint, metadata))
        return value

    def _named_tables(self, kind: type[Any], raw: Any, path: tuple[str, ...]) -> Any:
        if not isinstance(raw, dict):
            self.fault(path, _shown(raw), "a table of tables by name")
            return _NOTHING
        return {name: self.table(kind, item, (*path, name)) for name, item in raw.items()}

    def _array(self, hint: Any, raw: Any, path: tuple[str, ...], metadata: typing.Mapping[str, Any]) -> Any:
        values = (
            [_plain_value(hint, item, {"filled": True, **metadata}) for item in raw] if isinstance(raw, list) else []
        )
        if not isinstance(raw, list) or any(value is _NOTHING for value in values):
            self.fault(path, _shown(raw), f"a list, each entry {_accepted(hint, {**metadata, 'doc': ''})}")
            return _NOTHING
        if len(set(values)) < len(values):
            self.fault(path, _shown(raw), "a list without repeats")
            return _NOTHING
        return tuple(values)


@functools.cache
def _hints(kind: type[Any]) -> dict[str, Any]:
    return typing.get_type_hints(kind)


def _key_parts(text: str) -> tuple[str, ...]:
    return tuple(part.strip().strip("\"'") for part in text.split("."))


def _default(field: dataclasses.Field[Any]) -> Any:
    if field.default is not dataclasses.MISSING:
        return field.default
    if field.default_factory is not dataclasses.MISSING:
        return field.default_factory()
    return _NOTHING


def _stand_in(hint: Any) -> Any:
    # A harmless value in place of one that has a fault; it is never used, because the fault stops the trial.
    if dataclasses.is_dataclass(hint):
        kind = typing.cast("type", hint)
        hints = _hints(kind)
        return kind(**{f.name: _stand_in(hints[f.name]) for f in dataclasses.fields(kind) if _default(f) is _NOTHING})
    return 0.0 if hint is float else ""


def _plain_value(hint: Any, raw: Any, metadata: typing.Mapping[str, Any]) -> Any:
    # Text, number, truth value or choice, if it is what the key takes.
    if typing.get_origin(hint) in (types.UnionType, typing.Union):
        hint = typing.get_args(hint)[0]
    if typing.get_origin(hint) is typing.Literal:
        return raw if isinstance(raw, str) and raw in typing.get_args(hint) else _NOTHING
    if hint is bool:
        return raw if isinstance(raw, bool) else _NOTHING
    if hint is str:
        if not isinstance(raw, str) or (metadata.get("filled") and not raw.strip()):
            return _NOTHING
        return _NOTHING if metadata.get("stamps") and parse_stamp(raw) is None else raw
    numbers = (int,) if hint is int else (int, float)
    if not isinstance(raw, numbers) or isinstance(raw, bool) or not _in_range(raw, metadata):
        return _NOTHING
    return raw if hint is int else float(raw)


def _in_range(number: float, metadata: typing.Mapping[str, Any]) -> bool:
    finite = math.isfinite(number) or (bool(metadata.get("infinite")) and number == math.inf)
    return (
        finite
        and number >= metadata.get("at_least", -math.inf)
        and number <= metadata.get("at_most", math.inf)
        and ("above" not in metadata or number > metadata["above"])
        and not (metadata.get("nonzero") and number == 0)
    )


def _accepted(hint: Any, metadata: typing.Mapping[str, Any]) -> str:
    # What a key takes, in words.
    if typing.get_origin(hint) in (types.UnionType, typing.Union):
        hint = typing.get_args(hint)[0]
    if typing.get_origin(hint) is typing.Literal:
        words = " or ".join(json.dumps(choice) for choice in typing.get_args(hint))
    elif hint is bool:
        words = "true or false"
    elif hint is str:
        words = "an ISO 8601 date and time with offset, in quotation marks" if metadata.get("stamps") else "text"
        words = "text that is not empty" if metadata.get("filled") else words
    else:
        words = "a whole number" if hint is int else "a finite number"
        words = "a number or inf" if metadata.get("infinite") else words
        limits = [
            f"{sign} {metadata[key]:g}"
            for key, sign in (("above", ">"), ("at_least", ">="), ("at_most", "<="))
            if key in metadata
        ]
        words = " ".join([words, " and ".join(limits)]).strip() + (" other than 0" if metadata.get("nonzero") else "")
    return f"{words} ({metadata['doc']})" if metadata.get("doc") else words


def _shown(raw: Any) -> str:
    if isinstance(raw, str):
        return f"the text {quoted(raw)}"
    if isinstance(raw, bool):
        return str(raw).lower()
    if isinstance(raw, int | float):
        return f"the number {raw}"
    if isinstance(raw, dict):
        return "a table"
    if isinstance(raw, list):
        return f"the list {quoted(str(raw))[1:-1]}"
    return f"a date or time, {raw}"


def _listed(kind: type[Any]) -> str:
    return ", ".join(field.name for field in dataclasses.fields(kind))


def _nearest(key: str, known: list[str]) -> str:
    near = difflib.get_close_matches(key, known, n=3, cutoff=0.5)
    others = [name for name in known if name not in near]
    if near:
        return f"{' or '.join(near)}" + (f" (or {', '.join(others)})" if others else "")
    return ", ".join(known)


def _check_together(settings: Settings, reader: _Reader) -> None:
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
    _check_log(settings, reader)


def _check_log(settings: Settings, reader: _Reader) -> None:
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
    if log.time_form == "iso" and log.time.factor != 1:
        reader.fault(("log", "time", "factor"), f"the number {log.time.factor}", "1, because stamps have no unit")
    if log.time.factor < 0:
        reader.fault(("log", "time", "factor"), f"the number {log.time.factor}", "a number > 0, or times would fall")
    _check_names(settings, reader)


def _check_names(settings: Settings, reader: _Reader) -> None:
    log = settings.log
    for name in log.other:
        if not re.fullmatch(_PLAIN_NAME, name) or name in ("time_s", log.value.column):
            accepted = "a name of letters, digits and _, other than time_s and the column of values"
            reader.fault(("log", "other", name), f"the name {quoted(name)}", accepted)
    for name in settings.operating_point:
        if name not in log.other:
            accepted = f"a column of [log.other]: {', '.join(log.other) or 'there is none yet'}"
            reader.fault(("operating_point", name), f"the name {quoted(name)}", accepted)


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
        should change; keys that are None, and empty tables, are left out.
    """
    parts = []
    for field in dataclasses.fields(settings):
        table = getattr(settings, field.name)
        named = table.items() if isinstance(table, dict) else [(None, table)]
        for name, item in named:
            head = field.name if name is None else f"{field.name}.{_written_key(name)}"
            lines = [
                f"{key} = {written(getattr(item, key))}"
                for key in (f.name for f in dataclasses.fields(item))
                if getattr(item, key) is not None
            ]
            parts.append("\n".join([f"[{head}]", *lines]) + "\n")
    return "\n".join(parts)


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
    return "{" + ", ".join(f"{_written_key(key)} = {written(item)}" for key, item in value.items()) + "}"


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
