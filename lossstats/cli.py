"""Commands: thin, each a few lines over the public names."""

from __future__ import annotations

import argparse
import os
import shlex
import sys
import textwrap
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from lossstats.trial_folder.faults import Fault

_ABOUT = (
    "From the raw records of a power-loss bench to a statement with its interval: plan a trial, check its records, "
    "analyse it, seal the result, recompute it. A trial is a folder; `lossstats new FOLDER` makes one."
)
_STATUS = (
    "Exit 0: done, and what was checked agrees. 1: faults, departures, a run refused, or figures that cannot "
    "all be true. 2: the call itself is wrong."
)
_WIDTH = 100
_MOST_FILES = 3

CAUTION = (
    "Before you touch the bench: guards closed and the drive locked out before hands go near a chain; solvent, oven "
    "and ultrasonic bath by their data sheets, with ventilation; local rules and licensed practice come first."
)


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command.

    Parameters
    ----------
    argv : sequence of str, optional
        Arguments; those of the process if left out.

    Returns
    -------
    int
        0: done, and what was checked agrees. 1: faults, departures, a run refused, or figures
        that cannot all be true. 2: the call itself is wrong.
    """
    parser = _parser()
    arguments = parser.parse_args(argv)
    if "command" not in arguments:
        parser.print_help(sys.stderr)
        return 2
    try:
        status = int(arguments.command(arguments))
        sys.stdout.flush()
    except BrokenPipeError:
        # Whoever read the output has gone, as `head` does; without this the flush at exit would complain.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 1
    except (ValueError, OSError) as error:
        print(f"lossstats: {_told(error)}", file=sys.stderr)
        return 1
    return status


def _told(error: ValueError | OSError) -> str:
    from lossstats.trial_folder.faults import TrialError

    if not isinstance(error, TrialError):
        return str(error)
    return "\n  ".join([str(error).partition("\n")[0], *_folded(error.faults)])


def _parser() -> argparse.ArgumentParser:
    from lossstats import __version__

    parser = argparse.ArgumentParser(prog="lossstats", description=_ABOUT, epilog=f"{_STATUS} {CAUTION}")
    parser.add_argument("--version", action="version", version=f"lossstats {__version__}")
    commands = parser.add_subparsers(metavar="COMMAND")
    for name, function, text in (
        ("new", _new, "write a trial folder to be filled: trial.toml with a comment to every key, an empty run sheet"),
        ("plan", _plan, "lay out the runs by [plan] of trial.toml: write run_sheet.csv, a page to print, plan.json"),
        (
            "check",
            _check,
            "name all faults of a trial folder, or say what analyse will ask; exit 1 if there are faults",
        ),
        ("analyse", _analyse, "do the whole job: print the statement, write results/"),
        ("sensitivity", _sensitivity, "analyse again under other reasonable choices, and without each article in turn"),
        ("sheet", _sheet, "print results/result_sheet.html to results/result_sheet.pdf, where a Chromium is installed"),
        ("bundle", _bundle, "put inputs, plan, result and sheet into FOLDER.zip: same bytes for the same content"),
        ("notebooks", _notebooks, "put a copy of the guided notebooks into the trial folder, set to that trial"),
    ):
        command = commands.add_parser(name, help=text, description=f"{text[0].upper()}{text[1:]}.", epilog=_STATUS)
        command.add_argument("folder", metavar="FOLDER", help=_FOLDER.get(name, "the trial folder"))
        command.set_defaults(command=function)
        if name == "check":
            command.add_argument("--all", action="store_true", help="list what many sample files share file by file")
    _add_reproduce(commands)
    _add_audit(commands)
    return parser


_FOLDER = {
    "new": "the trial folder to be made; a new name, or an empty folder",
    "plan": "the trial folder, with [plan] filled in its trial.toml and no samples yet",
}


def _add_reproduce(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    text = "recompute a sealed result from the raw bytes and name the first stage that departs"
    ending = (
        "Exit 0: everything agrees. 1: something departs, or the record cannot be read. 2: the call is wrong. "
        "Numbers agree to nine digits; other versions of the libraries are named, not refused."
    )
    command = commands.add_parser("reproduce", help=text, description=f"R{text[1:]}.", epilog=ending)
    command.add_argument("folder", metavar="FOLDER", help="the trial folder, or a bundle of it (FOLDER.zip)")
    command.add_argument("--json", action="store_true", help="print it for a machine")
    command.set_defaults(command=_reproduce)


def _add_audit(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    text = "hold figures that somebody quotes against each other: can they all be true, under which reading of percent"
    ending = (
        "Exit 0: nothing was found that cannot be true. 1: the figures cannot all be true. 2: the call is "
        'wrong. Write digits as quoted: lossstats audit --before "8 W" --after "4.6 W" --percent "38 %"'
    )
    command = commands.add_parser("audit", help=text, description=f"H{text[1:]}.", epilog=ending)
    for name, shown in _QUOTED.items():
        command.add_argument(f"--{name}", metavar="TEXT", help=shown)
    command.add_argument(
        "--percent-of",
        choices=("before", "after", "input power", "efficiency"),
        help="of what the percentage is, if the source says",
    )
    command.add_argument("--unit", default="W", metavar="TEXT", help="unit of the levels (default W)")
    command.add_argument("--n", type=int, nargs="+", metavar="N", help="pairs, or units in each condition")
    for name, shown in (("sd", "standard deviation of the values"), ("sem", "standard error of the mean")):
        command.add_argument(f"--{name}", nargs="+", metavar="TEXT", help=f"{shown}: one for all, or one a condition")
    command.add_argument("--confidence", type=float, default=0.95, metavar="P", help="of the interval (default 0.95)")
    command.add_argument("--p-by", choices=("t", "exact"), help="test behind the p, as the source names it")
    command.add_argument("--paired", action=argparse.BooleanOptionalAction, help="same articles in both conditions")
    command.set_defaults(command=_audit)


_QUOTED = {
    "before": 'level before, "8 W"',
    "after": 'level after, "4.6 W"',
    "saving": 'before minus after, "about 0.5 W", "2.9 W more"',
    "percent": 'the change in percent, "38 %%", "50 %% more"',
    "percent-back": 'the same change from the other end, "33 %% less"',
    "input-power": 'power put in, "280 W"',
    "interval": 'of the saving "0.2 to 0.8 W", or of the percentage "2 to 11 %%"',
    "p": 'p of no difference, "0.03", "< 0.05"',
    "grid": "step on which each averaged value lies",
    "resolution": "display step of the bench",
    "repeatability": "standard deviation of the level of one mount, known for such benches",
}


def _caution() -> None:
    print(textwrap.fill(CAUTION, _WIDTH))


def _folded(faults: Sequence[Fault]) -> list[str]:
    # A wrong word in [log] makes the same fault in every sample file: told in full for the first, then counted.
    places: dict[object, list[str]] = {}
    for fault in faults:
        places.setdefault((fault.line, fault.column, fault.accepted), []).append(fault.file)
    lines: list[str] = []
    more: list[str] = []
    for fault in faults:
        files = list(dict.fromkeys(places[fault.line, fault.column, fault.accepted]))
        if fault.file.startswith("samples/") and len(files) > _MOST_FILES and fault.file != files[0]:
            more.append(fault.file)
        else:
            lines.append(str(fault))
    if more:
        files = list(dict.fromkeys(more))
        told = f"{len(more)} more like these, at the same places of {len(files)} files: {', '.join(files)}"
        lines += [*textwrap.wrap(told, _WIDTH), "every one of them: lossstats check --all"]
    return lines


def _new(arguments: argparse.Namespace) -> int:
    from lossstats.trial_folder.skeleton import write_skeleton

    write_skeleton(arguments.folder)
    folder = shlex.quote(arguments.folder)
    print(f"{arguments.folder}: written. Next:")
    print("- fill in trial.toml; its comments say what each key means")
    print(f"- lossstats plan {folder} lays out run_sheet.csv from the table [plan]; or write the rows yourself")
    print(f"- put one sample file a run into samples/, then: lossstats check {folder}")
    _caution()
    return 0


def _plan(arguments: argparse.Namespace) -> int:
    from lossstats.planning.plan_folder import write_plan

    print(write_plan(arguments.folder))
    print("lodge this SHA-256 with somebody else before the first run: by itself it does not show when it was made")
    print(f"to print and take to the bench: {shlex.quote(str(Path(arguments.folder) / 'run_sheet.html'))}")
    _caution()
    return 0


def _check(arguments: argparse.Namespace) -> int:
    from lossstats.conclusion.analysis import remarks_on
    from lossstats.records.rendering import counted
    from lossstats.trial_folder.trial import find_faults, read_trial

    faults = find_faults(arguments.folder)
    print(*([str(fault) for fault in faults] if arguments.all else _folded(faults)), sep="\n", end="\n" * bool(faults))
    print(f"{arguments.folder}: {counted(len(faults), 'fault') if faults else 'no faults'}")
    for remark in () if faults else remarks_on(read_trial(arguments.folder)):
        print(textwrap.fill(remark, _WIDTH, initial_indent="remark: ", subsequent_indent="  "))
    return 1 if faults else 0


def _analyse(arguments: argparse.Namespace) -> int:
    from functools import partial

    from tqdm import tqdm

    from lossstats.conclusion.analysis import analyse
    from lossstats.conclusion.result import FOLDER
    from lossstats.review.sheet_pdf import PDF

    printed = Path(arguments.folder) / FOLDER / PDF
    had_pdf = printed.is_file()
    result = analyse(arguments.folder, progress=partial(tqdm, disable=None, unit="run", delay=2))
    where = result.save(arguments.folder)
    print(result)
    print(f"\nwritten: {where / 'result.json'}, {where / 'result_sheet.html'}")
    if had_pdf and not printed.exists():
        print(f"removed: {printed}, printed from an earlier sheet")
        print(f"to print this one: lossstats sheet {shlex.quote(arguments.folder)}")
    return 0


def _reproduce(arguments: argparse.Namespace) -> int:
    from lossstats.review.reproduction import reproduce

    reproduction = reproduce(arguments.folder)
    print(reproduction.to_json() if arguments.json else reproduction, end="" if arguments.json else "\n")
    return 0 if reproduction.agrees else 1


def _sheet(arguments: argparse.Namespace) -> int:
    from lossstats.review.sheet_pdf import write_pdf

    print(f"written: {write_pdf(arguments.folder)}")
    return 0


def _bundle(arguments: argparse.Namespace) -> int:
    from lossstats.review.bundle import write_bundle

    print(f"written: {write_bundle(arguments.folder)}")
    return 0


def _notebooks(arguments: argparse.Namespace) -> int:
    from lossstats.notebook_copies import copy_notebooks

    copies = copy_notebooks(arguments.folder)
    print(*copies, sep="\n")
    print(f"to open them: jupyter lab {copies[0].parent}")
    return 0


def _sensitivity(arguments: argparse.Namespace) -> int:
    from lossstats.conclusion.choices import sensitivity
    from lossstats.conclusion.leave_out import leave_one_out

    print(sensitivity(arguments.folder))
    print()
    print(leave_one_out(arguments.folder))
    return 0


def _audit(arguments: argparse.Namespace) -> int:
    from lossstats.audit.audit import audit_figures

    figures = {name: value for name, value in vars(arguments).items() if name != "command"}
    try:
        audit = audit_figures(**figures)
    except ValueError as error:
        print(f"lossstats: {error}", file=sys.stderr)
        return 2
    print(audit)
    return 0 if audit.possible else 1
