"""The example trials: invented data with a known truth, the same bytes from the same seeds.

``python -m lossstats.simulator.examples FOLDER`` writes them again.
"""

from __future__ import annotations

import dataclasses
import os
import sys
import textwrap
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

from lossstats.simulator.example_plans import SEEDS, flour_dust, four_oils, one_chain, two_shafts
from lossstats.simulator.example_settings import REASONS, TWO_SHAFTS_BENCH
from lossstats.simulator.simulate import Plan, Truth, simulate_trial
from lossstats.simulator.simulated_shafts import record_shafts
from lossstats.trial_folder.settings import Settings

if TYPE_CHECKING:
    from lossstats.trial_folder.trial import Trial

_HEADING = """\
# {name}: an example trial.
# The data are invented. No real chain, bench or bakery stands behind them: every reading comes from the kit's own
# bench simulator with a stored seed (lossstats/simulator), so the truth is known and the files can be made again.

"""
_PLANS: dict[str, Callable[[], Plan]] = {
    "flour_dust": flour_dust,
    "one_chain": one_chain,
    "four_oils": four_oils,
    "two_shafts": two_shafts,
}


def example_trial(name: str) -> Trial:
    """Simulate an example trial in memory.

    Parameters
    ----------
    name : {"flour_dust", "one_chain", "four_oils", "two_shafts"}
        Which.

    Returns
    -------
    Trial
        The same every time; its folder is None.
    """
    return _simulated(name)[0]


def example_truth(name: str) -> Truth:
    """Tell the truth behind an example trial; no file of the trial holds it.

    Parameters
    ----------
    name : {"flour_dust", "one_chain", "four_oils", "two_shafts"}
        Which.

    Returns
    -------
    Truth
        True saving, and true level, drift and shown level of every run.
    """
    return _simulated(name)[1]


def _simulated(name: str) -> tuple[Trial, Truth]:
    if name not in _PLANS:
        raise ValueError(f"name: found {name!r}; accepted: {' or '.join(map(repr, _PLANS))}")
    trial, truth = simulate_trial(_PLANS[name](), rng=SEEDS[name])
    if name == "two_shafts":
        trial, _ = record_shafts(trial, TWO_SHAFTS_BENCH, rng=SEEDS[name] + 1)
    return trial, truth


def write_examples(folder: str | os.PathLike[str]) -> None:
    """Write the example trials, the same bytes every time.

    Parameters
    ----------
    folder : path
        Where the trial folders go; none of them may exist.

    Raises
    ------
    FileExistsError
        One of the trial folders exists; those before it are written.
    """
    from lossstats.trial_folder.trial import write_trial

    for name in _PLANS:
        trial = example_trial(name)
        target = Path(folder) / name
        write_trial(trial, target)
        toml = target / "trial.toml"
        toml.write_bytes(
            (_HEADING.format(name=name) + _with_comments(toml.read_text("utf-8"), trial.settings)).encode()
        )


def _with_comments(text: str, settings: Settings) -> str:
    # The meaning of every key above it, and what this trial has to say about it.
    lines, table = [], None
    for line in text.splitlines():
        key = line.partition(" = ")[0]
        if line.startswith("["):
            table = getattr(settings, line.strip("[]").partition(".")[0])
            table = next(iter(table.values())) if isinstance(table, dict) else table
        elif table is not None:
            docs = {field.name: field.metadata["doc"] for field in dataclasses.fields(table)}
            lines += _comment(docs.get(key, ""))
            lines += _comment(REASONS.get(line, ""))
        lines.append(line)
    return "\n".join(lines) + "\n"


def _comment(words: str) -> list[str]:
    return textwrap.wrap(words, 118, initial_indent="# ", subsequent_indent="# ")


if __name__ == "__main__":
    if len(sys.argv) != 2:
        sys.exit("found no folder; accepted: python -m lossstats.simulator.examples FOLDER")
    write_examples(sys.argv[1])
