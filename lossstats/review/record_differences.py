"""Two records of a result held against each other, entry by entry: what differs, and at which step of the work."""

from __future__ import annotations

import math
import reprlib
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from lossstats.records.rendering import Record

DIGITS = 9
# Below this a number is zero to rounding (an exact cancellation), whatever its digits say.
_NOTHING = 1e-12

INPUTS = "input bytes"
RECORD = "record"
# Stages in the order of the work, with the parts of result.json that they fill; the longest fitting path counts.
# What fits none is foreign to the record.
_STAGES: dict[str, tuple[str, ...]] = {
    INPUTS: ("inputs",),
    RECORD: ("format", "name", "versions"),
    "settings": ("settings",),
    "plan": ("plan",),
    "screening": ("runs/*/screening", "runs/*/level_without_flagged"),
    "window": ("runs/*/settled", "runs/*/used", "runs/*/why_not_used"),
    "level": ("runs",),
    "drift": ("drift", "runs/*/corrected", "runs/*/drift_removed"),
    "unit table": ("units",),
    "comparison": ("comparison", "ranking", "budget"),
    "verdict": ("comparison/verdict", "ranking/comparisons/*/verdict", "statement", "notes"),
    "sensitivity": ("sensitivity", "influence"),
    "record of looks": ("earlier_looks",),
}
# Compared elsewhere: digests with the bytes of the files, the others with what they may look like.
ELSEWHERE = ("format", "inputs", "name", "versions")

_SHORT = reprlib.Repr()
_SHORT.maxstring = _SHORT.maxother = 400
_SHORT.maxlevel = 2


@dataclass(frozen=True)
class Departure(Record):
    """One thing that does not agree.

    Attributes
    ----------
    stage : str
        Step of the work at which it shows.
    where : str
        File or number.
    sealed, found : str
        What the record holds, and what was found again.
    by : float or None
        Relative difference of two numbers, of the sealed one.
    """

    stage: str
    where: str
    sealed: str
    found: str
    by: float | None = None

    title = "Departure"

    def _rows(self) -> list[tuple[str, str]]:
        return [("stage", self.stage), ("where", self.where), ("sealed", self.sealed), ("found", self._found())]

    def _found(self) -> str:
        return self.found if self.by is None else f"{self.found} (off by {self.by:.1g} of it)"


def record_differences(sealed: dict[str, Any], again: dict[str, Any]) -> tuple[int, list[Departure]]:
    """Compare two records but for inputs, name and versions.

    Parameters
    ----------
    sealed, again : dict
        Content of result.json, as it was sealed and as it was recomputed.

    Returns
    -------
    numbers : int
        How many numbers agree or depart.
    departures : list of Departure
        In the order of the stages: an entry that only one of the two has, a list in another order, a value that is
        another one.
    """
    one, other = ({k: v for k, v in record.items() if k not in ELSEWHERE} for record in (sealed, again))
    departures = list(_differences(one, other, ()))
    order = list(_STAGES)
    return _numbers(other), sorted(departures, key=lambda d: order.index(d.stage))


def _differences(one: Any, other: Any, path: tuple[str, ...]) -> Iterator[Departure]:
    if isinstance(one, dict) and isinstance(other, dict):
        yield from _entries(one, other, path)
    elif isinstance(one, list) and isinstance(other, list):
        named, named_other = _labelled(one), _labelled(other)
        common = [name for name in named if name in named_other]
        common_other = [name for name in named_other if name in named]
        if common != common_other:
            yield _departure(path, ", ".join(common), f"another order: {', '.join(common_other)}")
        yield from _entries(named, named_other, path)
    elif not _same(one, other):
        yield _departure(path, _SHORT.repr(one), _SHORT.repr(other), _off(one, other))


def _entries(one: dict[str, Any], other: dict[str, Any], path: tuple[str, ...]) -> Iterator[Departure]:
    for name in dict.fromkeys([*one, *other]):
        here = (*path, name)
        if name in one and name in other:
            yield from _differences(one[name], other[name], here)
        else:
            sealed, found = (_SHORT.repr(record[name]) if name in record else "nothing" for record in (one, other))
            yield _departure(here, sealed, found)


def _labelled(items: list[Any]) -> dict[str, Any]:
    """Entries of a list by their names; a second one of the same name is another entry, with its count."""
    seen: Counter[str] = Counter()
    labelled = {}
    for position, item in enumerate(items, start=1):
        name = _on_one_line(_name_of(item)) or str(position)
        seen[name] += 1
        labelled[name if seen[name] == 1 else f"{name} ({seen[name]})"] = item
    return labelled


def _name_of(item: Any) -> str:
    """What an entry of a list is called: a run, a unit in its condition, a source."""
    if not isinstance(item, dict):
        return ""
    if "unit" in item and "condition" in item:
        return f"{item['unit']} {item['condition']}"
    return str(item.get("run") or item.get("source") or "")


def _on_one_line(name: str) -> str:
    """What a record calls its entry, with what cannot be printed escaped."""
    return name if name.isprintable() else repr(name)[1:-1]


def _departure(path: tuple[str, ...], sealed: str, found: str, by: float | None = None) -> Departure:
    return Departure(_stage_of(path), " / ".join(path), sealed, found, by)


def _stage_of(path: tuple[str, ...]) -> str:
    """Step of the work that fills this part of the record."""
    best = (0, RECORD)
    for stage, patterns in _STAGES.items():
        for pattern in patterns:
            parts = pattern.split("/")
            fits = len(parts) <= len(path) and all(a in ("*", b) for a, b in zip(parts, path, strict=False))
            best = max(best, (len(parts), stage)) if fits else best
    return best[1]


def _numbers(value: Any) -> int:
    if isinstance(value, dict | list):
        return sum(map(_numbers, value.values() if isinstance(value, dict) else value))
    return int(_is_number(value))


def _is_number(value: Any) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool)


def _same(one: Any, other: Any) -> bool:
    if _is_number(one) and _is_number(other):
        return math.isclose(one, other, rel_tol=0.5 * 10.0 ** (1 - DIGITS), abs_tol=_NOTHING)
    return type(one) is type(other) and bool(one == other)


def _off(a: Any, b: Any) -> float | None:
    return abs(b - a) / abs(a) if _is_number(a) and _is_number(b) and a and math.isfinite(a) else None


def text_difference(stage: str, name: str, text: str, like: str) -> list[Departure]:
    """Find the first line at which a file is not as the kit writes it.

    Parameters
    ----------
    stage, name : str
        Step of the work, and name of the file.
    text, like : str
        Content of the file, and what the kit would write.

    Returns
    -------
    list of Departure
        One, or none.
    """
    lines, wanted = text.splitlines(), like.splitlines()
    for number in range(max(len(lines), len(wanted))):
        one, other = (part[number] if number < len(part) else "" for part in (lines, wanted))
        if one != other or not number < min(len(lines), len(wanted)):
            return [Departure(stage, f"{name}, line {number + 1}", *_around_difference(one, other))]
    return []


def _around_difference(one: str, other: str) -> tuple[str, str]:
    """Both texts about the first place at which they differ."""
    at = next((i for i, (a, b) in enumerate(zip(one, other, strict=False)) if a != b), min(len(one), len(other)))
    cut = slice(max(0, at - 30), at + 40)
    return f"…{one[cut]}…", f"…{other[cut]}…"
