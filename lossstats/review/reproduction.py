"""The reviewer's run: recompute a sealed result from the raw bytes and say what agrees, and what was not checked."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from dataclasses import dataclass, field, fields
from pathlib import Path
from typing import TYPE_CHECKING, Any

from lossstats.conclusion.result import FOLDER, to_json, versions
from lossstats.records.rendering import Record
from lossstats.review.record_differences import DIGITS, INPUTS, Departure, record_differences
from lossstats.review.sealed_record import name_remark, odd_entries, read_sealed
from lossstats.trial_folder.raw_files import check_name, find_link

if TYPE_CHECKING:
    import pandas as pd

    from lossstats.conclusion.result import Result

TABLES = ("trial.toml", "run_sheet.csv", "plan.json")


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
    pictures : int
        How many pictures were drawn again and compared.
    remarks : tuple of str
        What a reviewer must know of the way of comparing, and of the name of the trial.
    not_checked : tuple of str
        What travels with the result and was not checked, each with the reason.
    """

    departures: tuple[Departure, ...]
    numbers: int
    files: int
    sealed_versions: dict[str, str] = field(default_factory=dict)
    versions: dict[str, str] = field(default_factory=dict)
    pictures: int = 0
    remarks: tuple[str, ...] = ()
    not_checked: tuple[str, ...] = ()

    title = "Reproduction"

    @property
    def agrees(self) -> bool:
        """True if all hashes match, all numbers agree to 9 digits, and words and pictures are the same.

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
            rows = [("agrees", self._compared())]
        else:
            rows = [("does not agree", f"{len(self.departures)} departure(s), first at: {self.first_stage}")]
            rows += [(d.stage, f"{d.where}: sealed {d.sealed}, found {d._found()}") for d in self.departures[:_SHOWN]]
            more = len(self.departures) - _SHOWN
            rows += [("and more", f"{more} further departure(s), in .differences")] if more > 0 else []
        changed = [
            f"{n} {v} (sealed with {self.sealed_versions[n]})" for n, v in self.versions.items() if self._moved(n)
        ]
        rows += [("other versions", ", ".join(changed))] if changed else []
        rows += [("remark", remark) for remark in self.remarks]
        return rows + [("not checked", text) for text in self.not_checked]

    def _compared(self) -> str:
        drawn = f", {self.pictures} pictures drawn again" if self.pictures else ""
        return f"{self.files} input files by SHA-256, {self.numbers} numbers to {DIGITS} digits{drawn}"

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
        Whether to recompute what other choices and single units would give as well, and hold sheet and pictures
        against it; without them it takes a small part of the time, and the outcome says that they were left out.

    Returns
    -------
    Reproduction
        Departures by stage, in the order of the work; what was not checked.

    Raises
    ------
    FileNotFoundError
        If there is no sealed result.
    ValueError
        If the sealed result cannot be read, holds a key twice or is of another format, or a bundle is not as it was
        written.
    """
    path = Path(folder)
    if path.is_file():
        from lossstats.review.bundle import opened

        with opened(path) as inside:
            return _reproduce(inside, path.stem, choices=choices)
    return _reproduce(path, path.resolve().name, choices=choices)


def _reproduce(folder: Path, called: str, *, choices: bool) -> Reproduction:
    from lossstats.conclusion.analysis import analyse
    from lossstats.review.files_beside import unchecked

    sealed = read_sealed(folder / FOLDER / "result.json")
    departures = changed_inputs(folder, sealed["inputs"])
    remarks = name_remark(sealed["name"], called)
    not_checked = unchecked(folder, choices=choices)
    files, then = len(sealed["inputs"]), sealed["versions"]
    try:
        result = analyse(folder, choices=choices)
    except ValueError as error:  # faults of the folder, and runs that the declared rule refuses
        if not departures:
            raise
        departures += [Departure(INPUTS, "the whole folder", "can be analysed", str(error)), *odd_entries(sealed)]
        not_checked = ("everything that is computed: the folder cannot be analysed", *not_checked)
        return Reproduction(tuple(departures), 0, files, then, versions(), 0, remarks, not_checked)
    again = json.loads(to_json(result))
    if not choices:
        again |= {key: sealed[key] for key in ("sensitivity", "influence") if key in sealed}
    numbers, more = record_differences(sealed, again)
    pictures, beside, rough = _beside(folder, result, sealed, choices=choices)
    departures += [*odd_entries(sealed), *more, *beside]
    remarks = (*remarks, *rough)
    return Reproduction(tuple(departures), numbers, files, then, versions(), pictures, remarks, not_checked)


def _beside(
    folder: Path, result: Result, sealed: dict[str, Any], *, choices: bool
) -> tuple[int, list[Departure], tuple[str, ...]]:
    """Pictures drawn again, departures of the files beside the record, and what to remark on the way of comparing."""
    from lossstats.review.files_beside import file_differences

    departures = file_differences(folder, result)
    if not choices:
        return 0, departures, ()
    from lossstats.review.sheet_differences import ROUGHLY, drawn_alike, sheet_differences

    pictures, more = sheet_differences(folder / FOLDER, result, sealed)
    return pictures, [*departures, *more], () if drawn_alike(sealed["versions"]) else (ROUGHLY,)


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
        Files changed, exchanged, missing, or there and not sealed.
    """
    names = {digest: name for name, digest in sealed.items()}
    found = {name: _digest(folder, name) for name in sealed}
    files = [*(folder / name for name in TABLES), *sorted((folder / "samples").rglob("*"))]
    present = (p.relative_to(folder).as_posix() for p in files if p.is_file())
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
