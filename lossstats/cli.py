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
        0: done, and what was checked agrees. 1: faults, departures, or a run refused. 2: the call itself is wrong.
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
        ("reproduce", _reproduce, "recompute a sealed result from the raw bytes; exit 1 if anything departs"),
        ("sensitivity", _sensitivity, "analyse again under other reasonable choices, and without each article in turn"),
    ):
        command = commands.add_parser(name, help=text, description=text)
        command.add_argument("folder", metavar="FOLDER", help="the trial folder")
        command.set_defaults(command=function)
    return parser


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
    from lossstats.plan_folder import plan_folder

    print(plan_folder(arguments.folder))
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
    print(reproduction)
    return 0 if reproduction.agrees else 1


def _sensitivity(arguments: argparse.Namespace) -> int:
    from lossstats.choices import sensitivity
    from lossstats.leave_out import leave_one_out

    print(sensitivity(arguments.folder))
    print()
    print(leave_one_out(arguments.folder))
    return 0
