"""The sealed plan: written to plan.json before the first run, and read again."""

from __future__ import annotations

import dataclasses
import hashlib
import json
import math
import os
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from lossstats.records.rendering import Record, plain
from lossstats.trial_folder.faults import Fault, FaultList, TrialError
from lossstats.trial_folder.number_rows import parse_stamp
from lossstats.trial_folder.plan_times import OrderedRun
from lossstats.trial_folder.raw_files import MOST_TABLE_BYTES, read_bytes
from lossstats.trial_folder.run_sheet import ROLES
from lossstats.trial_folder.settings import PlanKeys
from lossstats.trial_folder.toml_tables import TableReader

if TYPE_CHECKING:
    from lossstats.run_plan.run_order import RunOrder
    from lossstats.trial_folder.settings import Settings

FILE = "plan.json"
FORMAT = 1
_MOST_BYTES = 16 * MOST_TABLE_BYTES  # several hundred bytes a run
_TEXTS = ("run", "role", "article", "condition", "mount")
_SECTIONS = ("question", "difference_that_matters", "design", "settings", "order", "confounded")


@dataclass(frozen=True)
class SealedPlan(Record):
    """A plan as it was sealed.

    Attributes
    ----------
    question : str
        The question.
    difference_that_matters : float or None
        As fixed; None if none was.
    design : str
        Design of the comparison.
    settings : dict
        All tables of trial.toml, by table and key; infinity as ``"inf"``. [log] and [scope] are among them because
        another factor or column moves every number, and other words of the scope are another claim.
    runs : tuple of OrderedRun
        The order.
    confounded : tuple of str
        What the order cannot tell apart, as it was said before the first run.
    sha256 : str
        SHA-256 of the canonical text of all this.
    keys : PlanKeys
        Table [plan] of the settings.
    """

    question: str
    difference_that_matters: float | None
    design: str
    settings: dict[str, Any]
    runs: tuple[OrderedRun, ...]
    confounded: tuple[str, ...]
    sha256: str
    keys: PlanKeys

    title = "Sealed plan"

    def _rows(self) -> list[tuple[str, str]]:
        matters = self.difference_that_matters
        return [
            ("question", self.question),
            ("difference that matters", "none was fixed" if matters is None else f"{matters:g}"),
            ("design", self.design),
            ("runs", f"{len(self.runs)}, the first planned for {self.runs[0].start:%Y-%m-%d %H:%M}"),
            *(("not told apart", sentence) for sentence in self.confounded),
            ("SHA-256", self.sha256),
        ]


def seal_plan(settings: Settings, order: RunOrder) -> SealedPlan:
    """Seal a plan.

    Parameters
    ----------
    settings : Settings
        What trial.toml says.
    order : RunOrder
        The order laid out for it.

    Returns
    -------
    SealedPlan
        With its hash.
    """
    content = _content(settings, order.runs, order.confounded)
    return _plan(content, _digest(content))


def plan_text(plan: SealedPlan) -> str:
    r"""Write a sealed plan as plan.json.

    Parameters
    ----------
    plan : SealedPlan
        From `seal_plan`.

    Returns
    -------
    str
        JSON: format, the parts of the plan, a SHA-256 of each part, and one of the whole.

    Notes
    -----
    A hash is taken over JSON with sorted keys, without blanks, in UTF-8 and without escapes beyond those that JSON
    needs; it does not hang on how the file is set out.
    """
    content = {
        "format": FORMAT,
        "question": plan.question,
        "difference_that_matters": plan.difference_that_matters,
        "design": plan.design,
        "settings": plan.settings,
        "order": [_run_entry(run) for run in plan.runs],
        "confounded": list(plan.confounded),
    }
    parts = {name: _digest(content[name]) for name in _SECTIONS}
    sealed = {**content, "sha256_of_parts": parts, "sha256": plan.sha256}
    return json.dumps(sealed, indent=1, ensure_ascii=False, allow_nan=False) + "\n"


def read_plan(folder: str | os.PathLike[str]) -> SealedPlan | None:
    """Read the sealed plan of a trial folder and check its hash.

    Parameters
    ----------
    folder : path
        The trial folder.

    Returns
    -------
    SealedPlan or None
        None if the folder has no plan.json.

    Raises
    ------
    TrialError
        If the plan is not as it was sealed; the message names the parts that were edited.
    """
    path = Path(folder)
    if not os.path.lexists(path / FILE):
        return None
    faults = FaultList(FILE)
    data = read_bytes(path, FILE, faults, most=_MOST_BYTES)
    if data is None:
        raise TrialError(faults.listed())
    content = _parsed(data)
    parts, whole = content.pop("sha256_of_parts"), content.pop("sha256")
    if _digest(content) != whole:
        edited = [name for name in _SECTIONS if _digest(content.get(name)) != parts.get(name)]
        where = f"another {', '.join(edited)} than was sealed" if edited else "another content or hash than was sealed"
        found = f"{where} (SHA-256 {_digest(content)[:12]}…, sealed as {str(whole)[:12]}…)"
        raise TrialError([Fault(FILE, None, None, found, "the file as `lossstats plan` wrote it")])
    _check_parts(content)
    return _plan(content, whole)


def _parsed(data: bytes) -> dict[str, Any]:
    accepted = "the file as `lossstats plan` wrote it"
    try:
        content = json.loads(data)
    except (ValueError, RecursionError) as error:
        raise TrialError([Fault(FILE, None, None, f"no JSON ({error})", accepted)]) from None
    if not isinstance(content, dict) or content.get("format") != FORMAT:
        found = repr(content.get("format")) if isinstance(content, dict) else f"a {type(content).__name__}"
        raise TrialError([Fault(FILE, None, "key format", found, f"format {FORMAT}")])
    if not isinstance(content.get("sha256_of_parts"), dict) or not isinstance(content.get("sha256"), str):
        raise TrialError([Fault(FILE, None, "key sha256", "no hash", accepted)])
    return content


def _content(settings: Settings, runs: Sequence[OrderedRun], confounded: Sequence[str]) -> dict[str, Any]:
    return {
        "format": FORMAT,
        "question": settings.trial.question,
        "difference_that_matters": settings.comparison.difference_that_matters,
        "design": settings.comparison.design,
        "settings": planned_settings(settings),
        "order": [_run_entry(run) for run in runs],
        "confounded": list(confounded),
    }


def planned_settings(settings: Settings) -> dict[str, Any]:
    """Give what a plan fixes of trial.toml: every table.

    Parameters
    ----------
    settings : Settings
        What trial.toml says.

    Returns
    -------
    dict
        All tables as JSON knows them; infinity as ``"inf"``.
    """
    tables: dict[str, Any] = json_values(plain(settings))
    return tables


def json_values(value: Any) -> Any:
    """Write infinity, which JSON does not know and degrees of freedom may be, as text.

    Parameters
    ----------
    value : object
        Dicts, lists and plain values.

    Returns
    -------
    object
        The same with ``"inf"`` for infinity.
    """
    if isinstance(value, dict):
        return {key: json_values(item) for key, item in value.items()}
    if isinstance(value, list):
        return [json_values(item) for item in value]
    return "inf" if isinstance(value, float) and math.isinf(value) else value


def _run_entry(run: OrderedRun) -> dict[str, Any]:
    return {**dataclasses.asdict(run), "start": run.start.isoformat(), "end": run.end.isoformat()}


def _digest(content: Any) -> str:
    text = json.dumps(content, sort_keys=True, separators=(",", ":"), ensure_ascii=False)
    return hashlib.sha256(text.encode("utf-8", "surrogatepass")).hexdigest()


def _check_parts(content: dict[str, Any]) -> None:
    # The hash tells an edit; whoever seals something else than a plan is told here.
    faults = FaultList(FILE)
    for name, kind, accepted in (
        ("question", str, "text"),
        ("difference_that_matters", float | int | None, "a number or null"),
        ("design", str, "text"),
        ("settings", dict, "tables with their keys"),
        ("order", list, "a list of runs"),
        ("confounded", list, "a list of texts"),
    ):
        if name not in content or not isinstance(content[name], kind):
            faults.add(f"no such part, or another kind of value in {name}", accepted, column=f"key {name}")
    if not len(faults):
        for number, entry in enumerate(content["order"], start=1):
            _check_run(entry, number, faults)
        if not content["order"] or not all(isinstance(line, str) for line in content["confounded"]):
            faults.add("no run, or no text where there should be", "a plan with runs", column="key order")
        _read_keys(content["settings"], faults)
    if len(faults):
        raise TrialError(faults.listed())


def _check_run(entry: Any, number: int, faults: FaultList) -> None:
    names = [field.name for field in dataclasses.fields(OrderedRun)]
    good = isinstance(entry, dict) and sorted(entry) == sorted(names)
    good = good and all(isinstance(entry[name], str) for name in (*_TEXTS, "start", "end"))
    good = good and entry["role"] in ROLES and isinstance(entry["block"], int | None)
    if not good or parse_stamp(entry["start"]) is None or parse_stamp(entry["end"]) is None:
        faults.add("an entry that is no run", f"an entry with {', '.join(names)}", column=f"key order, entry {number}")


def _read_keys(settings: dict[str, Any], faults: FaultList) -> PlanKeys:
    # Keys of a later version are passed over; null stands for a key that was left out.
    raw = settings.get("plan")
    if isinstance(raw, dict):
        known = {field.name for field in dataclasses.fields(PlanKeys)}
        raw = {key: value for key, value in raw.items() if key in known and value is not None}
    keys: PlanKeys = TableReader("", faults).table(PlanKeys, raw, ("settings", "plan"))
    return keys


def _plan(content: dict[str, Any], digest: str) -> SealedPlan:
    return SealedPlan(
        question=content["question"],
        difference_that_matters=content["difference_that_matters"],
        design=content["design"],
        settings=content["settings"],
        runs=tuple(_run(entry) for entry in content["order"]),
        confounded=tuple(content["confounded"]),
        sha256=digest,
        keys=_read_keys(content["settings"], FaultList(FILE)),
    )


def _run(entry: dict[str, Any]) -> OrderedRun:
    start, end = (datetime.fromisoformat(entry[name]) for name in ("start", "end"))
    return OrderedRun(**{**entry, "start": start, "end": end})
