"""The reviewer's run: recompute a sealed result from the raw bytes and say what agrees."""

from __future__ import annotations

import json
import math
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from lossstats.rendering import Record
from lossstats.result import FOLDER, FORMAT, to_json

if TYPE_CHECKING:
    import pandas as pd

DIGITS = 9
# Below this a number is zero to rounding (an exact cancellation), whatever its digits say.
_NOTHING = 1e-12

_STAGES = {
    "inputs": "input files",
    "settings": "settings",
    "runs": "levels of the runs",
    "drift": "drift",
    "units": "unit table",
    "comparison": "comparison",
    "ranking": "ranking",
    "statement": "statement",
    "notes": "statement",
    "earlier_looks": "record of looks",
}


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
        What result.json holds, and what the recomputation gives.
    """

    stage: str
    where: str
    sealed: str
    found: str

    title = "Departure"

    def _rows(self) -> list[tuple[str, str]]:
        return [("stage", self.stage), ("where", self.where), ("sealed", self.sealed), ("found", self.found)]


@dataclass(frozen=True)
class Reproduction(Record):
    """Whether a sealed result was found again.

    Attributes
    ----------
    departures : tuple of Departure
        Empty if everything agrees; in the order of the work, so that the first is the cause.
    numbers : int
        How many numbers were compared.
    files : int
        How many input files were compared.
    """

    departures: tuple[Departure, ...]
    numbers: int
    files: int

    title = "Reproduction"

    @property
    def agrees(self) -> bool:
        """True if all hashes match and all numbers agree to 9 digits.

        Returns
        -------
        bool
            Whether there is no departure.
        """
        return not self.departures

    @property
    def differences(self) -> pd.DataFrame:
        """Table of departures: stage, where, sealed, found.

        Returns
        -------
        pandas.DataFrame
            Empty if everything agrees.
        """
        import pandas as pd

        names = ["stage", "where", "sealed", "found"]
        return pd.DataFrame([[getattr(d, name) for name in names] for d in self.departures], columns=names)

    def _rows(self) -> list[tuple[str, str]]:
        if self.agrees:
            return [("agrees", f"{self.files} input files by SHA-256, {self.numbers} numbers to {DIGITS} digits")]
        head = [("does not agree", f"{len(self.departures)} departure(s), first at: {self.departures[0].stage}")]
        return head + [(d.stage, f"{d.where}: sealed {d.sealed}, found {d.found}") for d in self.departures]


def reproduce(folder: str | Path) -> Reproduction:
    """Recompute the sealed result of a trial folder and compare.

    Parameters
    ----------
    folder : path
        Trial folder with results/result.json.

    Returns
    -------
    Reproduction
        Departures by stage, in the order of the work.

    Raises
    ------
    FileNotFoundError
        If there is no sealed result.
    ValueError
        If the sealed result cannot be read or is of another format.
    TrialError
        If the folder has faults.
    """
    from lossstats.analysis import analyse

    sealed = _read_sealed(Path(folder) / FOLDER / "result.json")
    again = json.loads(to_json(analyse(folder)))
    departures: list[Departure] = []
    numbers = 0
    for key, stage in _STAGES.items():
        one, other = dict(_leaves(sealed.get(key), key)), dict(_leaves(again.get(key), key))
        numbers += sum(_is_number(value) for value in other.values())
        departures += [
            Departure(stage, where, _text(one, where), _text(other, where))
            for where in dict.fromkeys([*one, *other])
            if where not in one or where not in other or not _same(one[where], other[where])
        ]
    return Reproduction(tuple(departures), numbers, len(again["inputs"]))


def _read_sealed(path: Path) -> dict[str, Any]:
    if not path.is_file():
        raise FileNotFoundError(
            f"{path}: found no sealed result; accepted: a folder that `lossstats analyse` has worked on"
        )
    try:
        sealed = json.loads(path.read_text(encoding="utf-8"))
    except ValueError as error:
        raise ValueError(
            f"{path}: found a file that is not JSON ({error}); accepted: the file that `lossstats analyse` wrote"
        ) from None
    if not isinstance(sealed, dict) or sealed.get("format") != FORMAT:
        found = sealed.get("format") if isinstance(sealed, dict) else type(sealed).__name__
        raise ValueError(f"{path}: found format {found!r}; accepted: format {FORMAT}")
    return sealed


def _leaves(value: Any, where: str) -> Iterator[tuple[str, Any]]:
    if isinstance(value, dict):
        for key, item in value.items():
            yield from _leaves(item, f"{where} / {key}")
    elif isinstance(value, list):
        for position, item in enumerate(value):
            name = item.get("run") or item.get("unit") if isinstance(item, dict) else None
            yield from _leaves(item, f"{where} / {name or position + 1}{_condition(item)}")
    else:
        yield where, value


def _condition(item: Any) -> str:
    """A unit occurs once a condition: name both."""
    return f" {item['condition']}" if isinstance(item, dict) and "unit" in item and "condition" in item else ""


def _is_number(value: Any) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool)


def _same(one: Any, other: Any) -> bool:
    if _is_number(one) and _is_number(other):
        return math.isclose(one, other, rel_tol=0.5 * 10.0 ** (1 - DIGITS), abs_tol=_NOTHING)
    return type(one) is type(other) and one == other


def _text(leaves: dict[str, Any], where: str) -> str:
    return repr(leaves[where]) if where in leaves else "nothing"
