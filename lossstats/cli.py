"""Commands: thin, each a few lines over the public names."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Sequence

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
    arguments = _parser().parse_args(argv)
    try:
        return int(arguments.command(arguments))
    except (ValueError, OSError) as error:
        print(f"lossstats: {error}", file=sys.stderr)
        return 1


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(prog="lossstats", description=__doc__, epilog=CAUTION)
    commands = parser.add_subparsers(required=True, metavar="COMMAND")
    for name, function, text in (
        ("new", _new, "write the commented skeleton of a trial folder"),
        ("plan", _plan, "lay out the runs that trial.toml plans: write run_sheet.csv, a page to print, a sealed plan"),
        ("check", _check, "list all faults of a trial folder; exit 1 if there are any"),
        ("analyse", _analyse, "do the whole job: print the statement, write results/"),
        ("sheet", _sheet, "print results/result_sheet.html to results/result_sheet.pdf, where a Chromium is installed"),
        ("bundle", _bundle, "put inputs, plan, result and sheet into FOLDER.zip: same bytes for the same content"),
        ("notebooks", _notebooks, "put a copy of the guided notebooks into the trial folder, set to that trial"),
        ("sensitivity", _sensitivity, "analyse again under other reasonable choices, and without each article in turn"),
    ):
        command = commands.add_parser(name, help=text, description=text)
        command.add_argument("folder", metavar="FOLDER", help="the trial folder")
        command.set_defaults(command=function)
    _add_reproduce(commands)
    _add_audit(commands)
    return parser


def _add_reproduce(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    text = "recompute a sealed result from the raw bytes and name the first stage that departs"
    ending = (
        "Exit 0: everything agrees. 1: something departs, or the record cannot be read. 2: the call is wrong. Numbers "
        "agree to nine digits; other versions of the libraries are named, not refused."
    )
    command = commands.add_parser("reproduce", help=text, description=text, epilog=ending)
    command.add_argument("folder", metavar="FOLDER", help="the trial folder, or a bundle of it (FOLDER.zip)")
    command.add_argument("--json", action="store_true", help="print it for a machine")
    command.set_defaults(command=_reproduce)


def _add_audit(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    text = "hold figures that somebody quotes against each other: can they all be true, under which reading of percent"
    ending = (
        "Exit 0: nothing was found that cannot be true. 1: the figures cannot all be true. 2: the call is wrong. "
        'Write digits as quoted: lossstats audit --before "8 W" --after "4.6 W" --percent "38 %"'
    )
    command = commands.add_parser("audit", help=text, description=text, epilog=ending)
    for name, shown in _QUOTED.items():
        command.add_argument(f"--{name}", metavar="TEXT", help=shown)
    command.add_argument(
        "--percent-of", choices=("before", "after", "input power", "efficiency"), help="what 100 %% is"
    )
    command.add_argument("--unit", default="W", help="unit of the levels (default W)")
    command.add_argument("--n", type=int, nargs="+", metavar="N", help="pairs, or units in each condition")
    for name in ("sd", "sem"):
        command.add_argument(f"--{name}", nargs="+", metavar="TEXT", help=f"{name}, one or one a condition")
    command.add_argument("--confidence", type=float, default=0.95, help="of the interval (default 0.95)")
    command.add_argument("--p-by", choices=("t", "exact"), help="kind of test that the source names")
    command.add_argument("--paired", action=argparse.BooleanOptionalAction, help="same articles in both conditions")
    command.set_defaults(command=_audit)


_QUOTED = {
    "before": 'level before, "8 W"',
    "after": 'level after, "4.6 W"',
    "saving": 'before minus after, "about 0.5 W", "2.9 W more"',
    "percent": '"38 %%", "50 %% more"',
    "percent-back": 'the same change from the other end, "33 %% less"',
    "input-power": '"280 W"',
    "interval": 'of the saving "0.2 to 0.8 W", or of the percentage "2 to 11 %%"',
    "p": '"0.03", "< 0.05"',
    "grid": "step on which each averaged value lies",
    "resolution": "display step of the bench",
    "repeatability": "standard deviation of the level of one mount, known for such benches",
}


def _new(arguments: argparse.Namespace) -> int:
    from lossstats.skeleton import write_skeleton

    write_skeleton(arguments.folder)
    print(
        f"{arguments.folder}: fill in trial.toml and run_sheet.csv, put the samples into samples/, then: "
        "lossstats check"
    )
    print(CAUTION)
    return 0


def _plan(arguments: argparse.Namespace) -> int:
    from lossstats.plan_folder import write_plan

    print(write_plan(arguments.folder))
    print(CAUTION)
    return 0


def _check(arguments: argparse.Namespace) -> int:
    from lossstats.trial import find_faults

    faults = find_faults(arguments.folder)
    for fault in faults:
        print(fault)
    print(f"{arguments.folder}: {f'{len(faults)} fault(s)' if faults else 'no faults'}")
    return 1 if faults else 0


def _analyse(arguments: argparse.Namespace) -> int:
    from functools import partial

    from tqdm import tqdm

    from lossstats.analysis import analyse

    result = analyse(arguments.folder, progress=partial(tqdm, disable=None, unit="run", delay=2))
    where = result.save(arguments.folder)
    print(result)
    print(f"\nwritten: {where / 'result.json'}, {where / 'result_sheet.html'}")
    return 0


def _reproduce(arguments: argparse.Namespace) -> int:
    from lossstats.reproduction import reproduce

    reproduction = reproduce(arguments.folder)
    print(reproduction.to_json() if arguments.json else reproduction, end="" if arguments.json else "\n")
    return 0 if reproduction.agrees else 1


def _sheet(arguments: argparse.Namespace) -> int:
    from lossstats.sheet_pdf import write_pdf

    print(f"written: {write_pdf(arguments.folder)}")
    return 0


def _bundle(arguments: argparse.Namespace) -> int:
    from lossstats.bundle import write_bundle

    print(f"written: {write_bundle(arguments.folder)}")
    return 0


def _notebooks(arguments: argparse.Namespace) -> int:
    from lossstats.notebook_copies import copy_notebooks

    copies = copy_notebooks(arguments.folder)
    print(*copies, sep="\n")
    print(f"to open them: jupyter lab {copies[0].parent}")
    return 0


def _sensitivity(arguments: argparse.Namespace) -> int:
    from lossstats.choices import sensitivity
    from lossstats.leave_out import leave_one_out

    print(sensitivity(arguments.folder))
    print()
    print(leave_one_out(arguments.folder))
    return 0


def _audit(arguments: argparse.Namespace) -> int:
    from lossstats.audit import audit_figures

    figures = {name: value for name, value in vars(arguments).items() if name != "command"}
    try:
        audit = audit_figures(**figures)
    except ValueError as error:
        print(f"lossstats: {error}", file=sys.stderr)
        return 2
    print(audit)
    return 0 if audit.possible else 1
