"""Tables of a TOML file into dataclasses: every key checked, every fault with its line."""

from __future__ import annotations

import dataclasses
import difflib
import functools
import json
import math
import re
import types
import typing
from typing import Any

from lossstats.trial_folder.faults import FaultList, quoted
from lossstats.trial_folder.number_rows import parse_stamp

_NOTHING: Any = object()
_INTEGER_BITS = 63  # TOML 1.0: integers are signed 64-bit


class TableReader:
    """Turn the tables of a TOML file into dataclasses, and note every fault with its line.

    The fields of the dataclasses say what is accepted: the type by their annotation, the limits by their metadata.

    Parameters
    ----------
    content : str
        Text of the file, in which the lines are looked for.
    faults : FaultList
        Takes what is wrong.

    Attributes
    ----------
    faulty : set of tuple of str
        Paths of the keys that have a fault.
    """

    def __init__(self, content: str, faults: FaultList) -> None:
        self._lines = content.split("\n")
        self._faults = faults
        self.faulty: set[tuple[str, ...]] = set()

    def fault(self, path: tuple[str, ...], found: str, accepted: str) -> None:
        """Note a fault of one key.

        Parameters
        ----------
        path : tuple of str
            Tables and key.
        found : str
            What was found.
        accepted : str
            What would be accepted.
        """
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
        """Read one table as its dataclass.

        Parameters
        ----------
        kind : type
            A dataclass.
        raw : object
            What tomllib gave for the table.
        path : tuple of str
            Where the table stands.

        Returns
        -------
        dataclass instance
            Defaults, or empty text, stand in where a key has a fault.
        """
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
            if _passed_over(field, raw):
                value = ""
            elif name in raw:
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
        if typing.get_origin(hint) in (types.UnionType, typing.Union):
            hint = typing.get_args(hint)[0]
        if dataclasses.is_dataclass(hint):
            return self.table(typing.cast("type", hint), raw, path)
        if typing.get_origin(hint) is dict:
            return self._named_tables(typing.get_args(hint)[1], raw, path)
        if typing.get_origin(hint) is tuple:
            return self._array(typing.get_args(hint)[0], raw, path, metadata)
        value = _plain_value(hint, raw, metadata)
        if value is _NOTHING:
            self.fault(path, _shown(raw), _unprintable(raw) or _accepted(hint, metadata))
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
            odd = next(filter(_unprintable, raw), None) if isinstance(raw, list) else None
            if odd is not None:
                self.fault(path, f"{_shown(odd)} in the list", _unprintable(odd))
                return _NOTHING
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


def _passed_over(field: dataclasses.Field[Any], raw: typing.Mapping[str, Any]) -> bool:
    # A key that design several does not have, where it is left out or empty.
    return field.metadata.get("several") is False and raw.get("design") == "several" and not raw.get(field.name)


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
        if not isinstance(raw, str) or not raw.isprintable() or (metadata.get("filled") and not raw.strip()):
            return _NOTHING
        return _NOTHING if metadata.get("stamps") and parse_stamp(raw) is None else raw
    numbers = (int,) if hint is int else (int, float)
    if not isinstance(raw, numbers) or isinstance(raw, bool) or _too_long(raw) or not _in_range(raw, metadata):
        return _NOTHING
    return raw if hint is int else float(raw)


def _unprintable(raw: Any) -> str:
    # What is accepted in place of a text that would move a cursor, turn a line about or break it; else empty.
    odd = isinstance(raw, str) and not raw.isprintable()
    return "text in characters that can be printed, on one line" if odd else ""


def _too_long(number: float) -> bool:
    return isinstance(number, int) and number.bit_length() > _INTEGER_BITS


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
        return "an integer of more than 64 bits" if _too_long(raw) else f"the number {raw}"
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
