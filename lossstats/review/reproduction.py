"""The reviewer's run: recompute a sealed result from the raw bytes and say what agrees."""

from __future__ import annotations

import hashlib
import json
import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, fields, replace
from itertools import zip_longest
from pathlib import Path
from typing import TYPE_CHECKING, Any

from lossstats.conclusion.result import FOLDER, FORMAT, to_json, versions
from lossstats.records.rendering import Record
from lossstats.trial_folder.raw_files import check_name, find_link

if TYPE_CHECKING:
    import pandas as pd

    from lossstats.conclusion.result import Result

DIGITS = 9
# Below this a number is zero to rounding (an exact cancellation), whatever its digits say.
_NOTHING = 1e-12

INPUTS = "input bytes"
# Stages in the order of the work, with the parts of result.json that they fill; the longest fitting path counts.
_STAGES: dict[str, tuple[str, ...]] = {
    INPUTS: ("inputs",),
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
SHEET = "result sheet"
TABLES = ("trial.toml", "run_sheet.csv", "plan.json")


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
    sealed_versions, versions : dict of str to str
        Of Python and the libraries, then and now.
    """

    departures: tuple[Departure, ...]
    numbers: int
    files: int
    sealed_versions: dict[str, str] = field(default_factory=dict)
    versions: dict[str, str] = field(default_factory=dict)

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
    def first_stage(self) -> str:
        """Step of the work at which the first departure shows.

        Returns
        -------
        str
            Empty if everything agrees.
        """
        return self.departures[0].stage if self.departures else ""

    @property
    def first_number(self) -> Departure | None:
        """The first departure at which a number moved.

        Returns
        -------
        Departure or None
            None where bytes or words departed and every number is as it was.
        """
        return next((departure for departure in self.departures if departure.by is not None), None)

    @property
    def differences(self) -> pd.DataFrame:
        """Table of departures: stage, where, sealed, found, by.

        Returns
        -------
        pandas.DataFrame
            Empty if everything agrees.
        """
        import pandas as pd

        names = [f.name for f in fields(Departure)]
        return pd.DataFrame([[getattr(d, name) for name in names] for d in self.departures], columns=names)

    def to_json(self) -> str:
        """Say the same to a machine.

        Returns
        -------
        str
            JSON with ``agrees``, ``first_stage``, and all fields.
        """
        content = {"agrees": self.agrees, "first_stage": self.first_stage, **self.to_dict()}
        return json.dumps(content, indent=1, ensure_ascii=False) + "\n"

    def _rows(self) -> list[tuple[str, str]]:
        if self.agrees:
            rows = [("agrees", f"{self.files} input files by SHA-256, {self.numbers} numbers to {DIGITS} digits")]
        else:
            rows = [("does not agree", f"{len(self.departures)} departure(s), first at: {self.first_stage}")]
            rows += [(d.stage, f"{d.where}: sealed {d.sealed}, found {d._found()}") for d in self.departures[:_SHOWN]]
            more = len(self.departures) - _SHOWN
            rows += [("and more", f"{more} further departure(s), in .differences")] if more > 0 else []
        changed = [
            f"{n} {v} (sealed with {self.sealed_versions[n]})" for n, v in self.versions.items() if self._moved(n)
        ]
        return rows + ([("other versions", ", ".join(changed))] if changed else [])

    def _moved(self, name: str) -> bool:
        return name in self.sealed_versions and self.sealed_versions[name] != self.versions[name]


_SHOWN = 12


def reproduce(folder: str | Path, *, choices: bool = True) -> Reproduction:
    """Recompute the sealed result of a trial folder and compare.

    Parameters
    ----------
    folder : path
        Trial folder with results/result.json, or a bundle of one (a zip file).
    choices : bool, default True
        Whether to recompute what other choices and single units would give as well, and hold the sheet against it;
        without them it takes less than half of the time.

    Returns
    -------
    Reproduction
        Departures by stage, in the order of the work.

    Raises
    ------
    FileNotFoundError
        If there is no sealed result.
    ValueError
        If the sealed result cannot be read or is of another format, or a bundle is not as it was written.
    """
    path = Path(folder)
    if path.is_file():
        from lossstats.review.bundle import opened

        with opened(path) as inside:
            return _reproduce(inside, choices=choices)
    return _reproduce(path, choices=choices)


def _reproduce(folder: Path, *, choices: bool) -> Reproduction:
    from lossstats.conclusion.analysis import analyse

    sealed = _read_sealed(folder / FOLDER / "result.json")
    departures = changed_inputs(folder, sealed["inputs"])
    files = len(sealed["inputs"])
    try:
        result = analyse(folder, choices=choices)
    except ValueError as error:  # faults of the folder, and runs that the declared rule refuses
        if not departures:
            raise
        departures.append(Departure(INPUTS, "the whole folder", "can be analysed", str(error)))
        return Reproduction(tuple(departures), 0, files, sealed["versions"], versions())
    again = json.loads(to_json(result))
    if not choices:
        again |= {key: sealed.get(key) for key in ("sensitivity", "influence")}
    numbers, more = _compare(sealed, again)
    departures += more + (changed_sheet(folder / FOLDER, result, sealed) if choices else [])
    return Reproduction(tuple(departures), numbers, files, sealed["versions"], versions())


def changed_inputs(folder: Path, sealed: Mapping[str, str]) -> list[Departure]:
    """Hold the bytes of the input files against their sealed SHA-256.

    Parameters
    ----------
    folder : Path
        Trial folder.
    sealed : mapping of str to str
        SHA-256 by file name.

    Returns
    -------
    list of Departure
        Files changed, exchanged, missing or added.
    """
    names = {digest: name for name, digest in sealed.items()}
    found = {name: _digest(folder, name) for name in sealed}
    present = (p.relative_to(folder).as_posix() for p in sorted((folder / "samples").rglob("*")) if p.is_file())
    departures = []
    for name, digest in sealed.items():
        if found[name] != digest:
            other = names.get(found[name] or "")
            text = "no such file" if found[name] is None else f"SHA-256 {found[name]}"
            text = f"what was sealed as {other}" if other else text
            departures.append(Departure(INPUTS, name, f"SHA-256 {digest}", text))
    return departures + [Departure(INPUTS, name, "no such file", "a file") for name in present if name not in sealed]


def _digest(folder: Path, name: str) -> str | None:
    inside = name in TABLES or check_name(name) is None
    path = folder / name
    if not inside or find_link(folder, name) is not None or not path.is_file():
        return None  # a name that leads elsewhere is none of this trial
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def changed_sheet(results: Path, result: Result, sealed: Mapping[str, Any]) -> list[Departure]:
    """Hold the result sheet against the one that the recomputed result gives; pictures by their files.

    Parameters
    ----------
    results : Path
        Folder of results.
    result : Result
        Recomputed.
    sealed : mapping
        Content of result.json.

    Returns
    -------
    list of Departure
        The first line that differs, and pictures on the page that are not those beside it.
    """
    from lossstats.sheet.sheet import PAGE, page_without_pictures
    from lossstats.sheet.sheet_page import pictures_on, without_pictures

    path = results / PAGE
    if not path.is_file():
        return [Departure(SHEET, PAGE, "a page", "no such file")]
    page = path.read_text(encoding="utf-8", errors="replace")
    # As it was sealed: name of the folder and versions are no part of what is recomputed.
    like = page_without_pictures(replace(result, name=sealed["name"], versions=sealed["versions"]))
    departures = []
    for number, (one, other) in enumerate(
        zip_longest(without_pictures(page).splitlines(), like.splitlines(), fillvalue=""), start=1
    ):
        if one != other:
            departures.append(Departure(SHEET, f"{PAGE}, line {number}", *_around_difference(one, other)))
            break
    files = [file.read_bytes() for file in results.glob("*.png")]
    for number, png in enumerate(pictures_on(page), start=1):
        if png not in files:
            found = "no such picture among the files beside it"
            departures.append(Departure(SHEET, f"{PAGE}, picture {number}", "the picture on the page", found))
    return departures


def _around_difference(one: str, other: str) -> tuple[str, str]:
    """Both texts about the first place at which they differ."""
    at = next((i for i, (a, b) in enumerate(zip(one, other, strict=False)) if a != b), min(len(one), len(other)))
    cut = slice(max(0, at - 30), at + 40)
    return f"…{one[cut]}…", f"…{other[cut]}…"


def _compare(sealed: dict[str, Any], again: dict[str, Any]) -> tuple[int, list[Departure]]:
    """Numbers compared, and departures of everything but the inputs, in the order of the stages."""
    one, other = dict(_leaves(sealed)), dict(_leaves(again))
    departures, numbers = [], 0
    for path in dict.fromkeys([*one, *other]):
        stage = _stage_of(path)
        if stage in ("", INPUTS):
            continue
        numbers += _is_number(other.get(path))
        if path not in one or path not in other or not _same(one[path], other[path]):
            where = " / ".join(path)
            departures.append(Departure(stage, where, _text(one, path), _text(other, path), _off(one, other, path)))
    order = list(_STAGES)
    return numbers, sorted(departures, key=lambda d: order.index(d.stage))


def _stage_of(path: tuple[str, ...]) -> str:
    """Step of the work that fills this part of the record; empty for what is no part of it (versions, name)."""
    best = (0, "")
    for stage, patterns in _STAGES.items():
        for pattern in patterns:
            parts = pattern.split("/")
            fits = len(parts) <= len(path) and all(a in ("*", b) for a, b in zip(parts, path, strict=False))
            best = max(best, (len(parts), stage)) if fits else best
    return best[1]


def _read_sealed(path: Path) -> dict[str, Any]:
    if not path.is_file():
        raise FileNotFoundError(
            f"{path}: found no sealed result; accepted: a folder that `lossstats analyse` has worked on"
        )
    try:
        sealed = json.loads(path.read_text(encoding="utf-8"))
    except (ValueError, RecursionError) as error:
        raise ValueError(
            f"{path}: found a file that is not JSON ({error}); accepted: the file that `lossstats analyse` wrote"
        ) from None
    if not isinstance(sealed, dict) or sealed.get("format") != FORMAT:
        found = sealed.get("format") if isinstance(sealed, dict) else type(sealed).__name__
        raise ValueError(
            f"{path}: found format {found!r}; accepted: format {FORMAT}. An older record is reproduced with the "
            "version of lossstats that it names under versions, or the trial is analysed anew with this one"
        )
    for key, kind in (("inputs", dict), ("versions", dict), ("name", str)):
        if not isinstance(sealed.get(key), kind):
            accepted = "as `lossstats analyse` wrote it"
            raise ValueError(f"{path}, {key}: found {sealed.get(key)!r}; accepted: {accepted}")  # noqa: TRY004 - a file
    return sealed


def _leaves(value: Any, path: tuple[str, ...] = ()) -> Iterator[tuple[tuple[str, ...], Any]]:
    if isinstance(value, dict):
        for key, item in value.items():
            yield from _leaves(item, (*path, key))
    elif isinstance(value, list):
        for position, item in enumerate(value):
            yield from _leaves(item, (*path, _name_of(item) or str(position + 1)))
    else:
        yield path, value


def _name_of(item: Any) -> str:
    """What an entry of a list is called: a run, a unit in its condition, a source."""
    if not isinstance(item, dict):
        return ""
    if "unit" in item and "condition" in item:
        return f"{item['unit']} {item['condition']}"
    return str(item.get("run") or item.get("source") or "")


def _is_number(value: Any) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool)


def _same(one: Any, other: Any) -> bool:
    if _is_number(one) and _is_number(other):
        return math.isclose(one, other, rel_tol=0.5 * 10.0 ** (1 - DIGITS), abs_tol=_NOTHING)
    return type(one) is type(other) and one == other


def _off(one: dict[Any, Any], other: dict[Any, Any], path: tuple[str, ...]) -> float | None:
    a, b = one.get(path), other.get(path)
    return abs(b - a) / abs(a) if _is_number(a) and _is_number(b) and a else None


def _text(leaves: dict[Any, Any], path: tuple[str, ...]) -> str:
    return repr(leaves[path]) if path in leaves else "nothing"
