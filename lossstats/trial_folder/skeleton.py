"""The skeleton of a trial folder, to be filled before the bench is booked."""

from __future__ import annotations

import dataclasses
import os
import textwrap
import typing
from pathlib import Path
from typing import Any

from lossstats.trial_folder import run_sheet, trial_toml
from lossstats.trial_folder.run_sheet import run_sheet_text
from lossstats.trial_folder.settings import BenchModelKeys, OperatingPoint, PlanKeys, Settings
from lossstats.trial_folder.trial_toml import written

_WIDTH = 100
_HEAD = """\
# What the trial asks and how it is judged. Fill it in before the bench is booked; leave it alone afterwards.
# Keys without a comment sign are in force. Keys behind a comment sign are not set: take the sign off to set them.
# The last tables are not in force at all: to use one, take the first sign off every line of it.
"""
_NEXT = """\
A trial folder, to be filled.

1. trial.toml: write the question, the conditions, the design, the difference that matters, and what is known of the
   instrument. Do it before the bench is booked. Keys that have a default work as they are.
2. run_sheet.csv: one row a run, in the order of the bench. Either fill [plan] at the end of trial.toml, and
   lossstats plan FOLDER lays out the rows, a page to print and a sealed plan; or write the rows yourself. Columns:
     run        a name, such as r01
     start      ISO 8601 with offset, such as 2031-03-03T08:00:00+01:00
     role       test, reference (the reference article), zero (nothing fitted, or no load), or dropped: a run that takes
                no part, with the reason in remarks; its file stays. An article that went out is dropped in all its
                rows; a run that was never made has no file. The result names what was dropped
     article    such as K01; empty for a zero run
     condition  one of the conditions in trial.toml; test runs only
     mount      number of the fitting: taking the article off and refitting it makes a new mount; empty for a zero run
     file       the sample file, such as samples/r01.csv; the logger's own name does, too
     remarks    free text; in quotation marks if it holds a comma
   It is plain text with commas, UTF-8 without a byte-order mark. A spreadsheet may turn times about or write
   semicolons when it saves: a text editor is safer, and step 4 names what went wrong.
3. samples/: one file a run, never written to after recording. The kit's own form is a header such as time_s,loss_W and
   rows of numbers with fixed decimals; the logs of other programs are described in [log] of trial.toml. A file with a
   title line, semicolons, decimal commas, a row of units and the columns Zeit [s], Verlust [W] and Temperatur [°C]:
     separator = "semicolon"
     decimal = ","
     encoding = "latin-1"  # where the file is not UTF-8
     rows_before_header = 1
     unit_row = true
     time = {column = "Zeit [s]", factor = 1.0}
     value = {column = "Verlust [W]", factor = 1.0}
     ignore = ["Temperatur [°C]"]
   Time stamps such as 28.03.2031 09:10:00 in place of seconds, a semicolon behind every row, a line at the end such as
   "Ende der Messung":
     time_form = "stamp"
     stamp_form = "%d.%m.%Y %H:%M:%S"
     stamp_offset = "+01:00"
     separator_at_end = true
     rows_at_end = 1
4. lossstats check FOLDER names everything that is still wrong, with file, line and column.
5. lossstats analyse FOLDER does the whole job: the statement on the screen, the rest in results/. The result sheet
   opens in any browser.

This file is for you; nothing reads it.
"""


def write_skeleton(folder: str | os.PathLike[str]) -> None:
    """Write a trial folder to be filled: every key of trial.toml with what it means, and an empty run sheet.

    Parameters
    ----------
    folder : path
        Must not exist, or be an empty folder.

    Raises
    ------
    FileExistsError
        There is something by that name already.
    """
    path = Path(folder)
    if path.exists() and (not path.is_dir() or any(path.iterdir())):
        raise FileExistsError(f"folder: found {path.name} already, not empty; accepted: a new name, or an empty folder")
    (path / "samples").mkdir(parents=True)
    for name, text in (
        (trial_toml.FILE, skeleton_text()),
        (run_sheet.FILE, run_sheet_text()),
        ("README.txt", _NEXT),
    ):
        with (path / name).open("x", encoding="utf-8", newline="") as file:
            file.write(text)


def skeleton_text() -> str:
    """Write out every table and key of trial.toml with its meaning as a comment.

    Returns
    -------
    str
        TOML; keys that must be filled hold empty text, keys without a value stand behind a comment sign.
    """
    hints = typing.get_type_hints(Settings)
    parts = [_HEAD]
    for field in dataclasses.fields(Settings):
        kind = hints[field.name]
        if dataclasses.is_dataclass(kind):
            parts.append(_table(field.name, typing.cast("type[Any]", kind)))
    parts.append(_commented("operating_point.input_power_W", OperatingPoint, "One table for each column to be held."))
    parts.append(_commented("bench_model", BenchModelKeys, "Only for a bench that records torque and speed."))
    parts.append(_commented("plan", PlanKeys, "Only to have the run sheet laid out."))
    return "\n".join(parts)


def _table(name: str, kind: type[Any]) -> str:
    lines = [f"[{name}]", *_comment(_first_line(kind))]
    for field in dataclasses.fields(kind):
        lines += ["", *_comment(_meaning(field, typing.get_type_hints(kind)[field.name])), _assignment(field)]
    return "\n".join(lines) + "\n"


def _first_line(kind: type[Any]) -> str:
    # "Table ``[trial]``: the question." becomes "The question."
    words = (kind.__doc__ or "").strip().split("\n")[0].partition(": ")[2].replace("``", "")
    return words[:1].upper() + words[1:]


def _meaning(field: dataclasses.Field[Any], hint: Any) -> str:
    doc = str(field.metadata["doc"])
    choices = typing.get_args(hint) if typing.get_origin(hint) is typing.Literal else ()
    if choices:
        return f"{' | '.join(written(choice) for choice in choices)}: {doc}"
    return doc


def _assignment(field: dataclasses.Field[Any]) -> str:
    if field.default is not dataclasses.MISSING:
        return f"# {field.name} =" if field.default is None else f"{field.name} = {written(field.default)}"
    if field.default_factory is not dataclasses.MISSING:
        return f"{field.name} = {written(field.default_factory())}"
    return f'{field.name} = ""  # to be filled'


def _commented(head: str, kind: type[Any], when: str) -> str:
    # A table that most trials do not have, behind comment signs.
    hints = typing.get_type_hints(kind)
    # One more sign before words and before keys without a value, so that what is left without the first is TOML.
    lines = [*_comment(f"{_first_line(kind)} {when}", "# # "), f"# [{head}]"]
    for field in dataclasses.fields(kind):
        lines += [*_comment(_meaning(field, hints[field.name]), "# # "), f"# {_assignment(field)}"]
    return "\n".join(lines) + "\n"


def _comment(text: str, sign: str = "# ") -> list[str]:
    return [f"{sign}{line}" for line in textwrap.wrap(text, _WIDTH)]
