"""The decisions behind an analysis with their reasonable options: what the trial planned, and what else it might."""

from __future__ import annotations

import itertools
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from lossstats.trial_folder.settings import Settings

FIT, WINDOW = "approach fit", "mean of the final window"
T, EXACT = "t", "exact"
RATIO, LOGS = "ratio of means", "mean of log ratios"

#: Every decision with the options that are tried. Names as in trial.toml where it has them.
OPTIONS: dict[str, tuple[Any, ...]] = {
    "level": (FIT, WINDOW),
    "final_window": (1 / 4, 1 / 3, 1 / 2),
    "flagged_samples": ("keep", "leave out"),
    "still_moving": ("leave out", "use with a note"),
    "references": ("interpolate", "ignore"),
    "zeros": ("interpolate", "ignore"),
    "interval": (T, EXACT),
    "percent": (RATIO, LOGS),
}
_PARTS = {1 / 4: "quarter", 1 / 3: "third", 1 / 2: "half"}


@dataclass(frozen=True)
class Decisions:
    """One option of every decision: one whole way to analyse a trial.

    Attributes
    ----------
    level : {"approach fit", "mean of the final window"}
        What is taken for the level of a run.
    final_window : float
        Final part of a run: averaged, if that is the level, and looked at to tell whether the run has settled.
    flagged_samples, still_moving, references, zeros : str
        As in trial.toml.
    interval : {"t", "exact"}
        Student or Welch t, or the interval that inverts the exact test of the design.
    percent : {"ratio of means", "mean of log ratios"}
        Of the means of the units, or the mean over the units.
    """

    level: str
    final_window: float
    flagged_samples: str
    still_moving: str
    references: str
    zeros: str
    interval: str
    percent: str

    def settings(self, planned: Settings) -> Settings:
        """The settings of a trial with those decisions changed that trial.toml holds.

        Parameters
        ----------
        planned : Settings
            What trial.toml says.

        Returns
        -------
        Settings
            As if it said otherwise.
        """
        options: Any = self  # the options were checked against those of the settings
        return replace(
            planned,
            settling=replace(planned.settling, final_window=self.final_window, still_moving=options.still_moving),
            screening=replace(planned.screening, flagged_samples=options.flagged_samples),
            drift=replace(planned.drift, references=options.references, zeros=options.zeros),
        )


def planned_decisions(settings: Settings) -> Decisions:
    """Read off what a trial has planned.

    Parameters
    ----------
    settings : Settings
        What trial.toml says.

    Returns
    -------
    Decisions
        The way that `lossstats.analyse` goes.
    """
    s = settings
    return Decisions(
        FIT,
        s.settling.final_window,
        s.screening.flagged_samples,
        s.settling.still_moving,
        s.drift.references,
        s.drift.zeros,
        T,
        RATIO,
    )


def checked_options(choices: Mapping[str, Sequence[Any]] | None) -> dict[str, tuple[Any, ...]]:
    """Check the options that a user wants tried.

    Parameters
    ----------
    choices : mapping of str to sequence, optional
        Options by decision; a decision left out stays as planned. None: all of `OPTIONS`.

    Returns
    -------
    dict of str to tuple
        In the order of the work.

    Raises
    ------
    ValueError
        Names the decision or option that does not exist, and those that do.
    """
    if choices is None:
        return dict(OPTIONS)
    for name, options in choices.items():
        if name not in OPTIONS:
            raise ValueError(f"choices: found the decision {name!r}; accepted: {', '.join(map(repr, OPTIONS))}")
        for option in [options] if isinstance(options, str | float) else options:
            if name == "final_window":
                if not (isinstance(option, int | float) and 0.1 <= option <= 0.9):
                    raise ValueError(f"choices['final_window']: found {option!r}; accepted: numbers from 0.1 to 0.9")
            elif option not in OPTIONS[name]:
                accepted = ", ".join(map(repr, OPTIONS[name]))
                raise ValueError(f"choices[{name!r}]: found {option!r}; accepted: a sequence of {accepted}")
    # One option may stand without brackets.
    given = {name: (x,) if isinstance(x, str | int | float) else tuple(x) for name, x in choices.items()}
    return {name: given.get(name, ()) for name in OPTIONS}


def one_at_a_time(planned: Decisions, options: Mapping[str, tuple[Any, ...]]) -> list[Decisions]:
    """List the ways that differ from the planned one in one decision.

    Parameters
    ----------
    planned : Decisions
        The planned way.
    options : mapping of str to tuple
        Options by decision.

    Returns
    -------
    list of Decisions
        The level of a run and its final window go together: the mean of each final window is one way.
    """
    ways = [replace(planned, level=level, final_window=window) for level, window in _levels(planned, options)]
    for name in list(OPTIONS)[2:]:
        ways += [replace(planned, **{name: option}) for option in options[name]]
    return [way for way in dict.fromkeys(ways) if way != planned]


def all_combinations(planned: Decisions, applicable: Sequence[Decisions]) -> list[Decisions]:
    """List the ways that combine the single changes in every possible manner.

    Parameters
    ----------
    planned : Decisions
        The planned way.
    applicable : sequence of Decisions
        Ways that differ from it in one decision, and apply.

    Returns
    -------
    list of Decisions
        Without the planned way. How the percentage is formed touches no verdict and is not combined.
    """
    names = list(OPTIONS)[2:-1]
    levels = dict.fromkeys((way.level, way.final_window) for way in (planned, *applicable))
    others = [dict.fromkeys(getattr(way, name) for way in (planned, *applicable)) for name in names]
    ways = [
        replace(planned, level=level, final_window=window, **dict(zip(names, rest, strict=True)))
        for (level, window), *rest in itertools.product(levels, *others)
    ]
    return [way for way in ways if way != planned]


def _levels(planned: Decisions, options: Mapping[str, tuple[Any, ...]]) -> list[tuple[str, float]]:
    near = planned.final_window
    windows = [near if math.isclose(w, near) else float(w) for w in options["final_window"]]
    levels = list(options["level"])
    pairs = [(level, window) for level in levels if level == WINDOW for window in windows or [near]]
    return pairs + [(FIT, window) for window in windows]


def in_words(way: Decisions, planned: Decisions, design: str) -> str:
    """What is different from the planned way.

    Parameters
    ----------
    way, planned : Decisions
        The way, and the planned one.
    design : str
        Names the exact test and the units.

    Returns
    -------
    str
        Joined by commas; ``as planned`` where nothing is.
    """
    part = _PARTS.get(way.final_window, f"{way.final_window:.3g}")
    test = "sign-flip" if design == "paired" else "permutation"
    logs = {"paired": "mean of the articles' log ratios", "controls": "mean of the articles' log ratios"}
    said = {
        "flagged_samples": {"keep": "flagged samples kept", "leave out": "flagged samples left out"},
        "still_moving": {"leave out": "runs still moving left out", "use with a note": "runs still moving used"},
        "references": {"interpolate": "reference runs interpolated", "ignore": "reference runs ignored"},
        "zeros": {"interpolate": "zero runs interpolated", "ignore": "zero runs ignored"},
        "interval": {EXACT: f"exact {test} interval"},
        "percent": {LOGS: f"percent by the {logs.get(design, 'ratio of the geometric means')}"},
    }
    words = []
    if way.level == WINDOW:
        words.append(f"level: mean of the final {part}")
    elif way.final_window != planned.final_window:
        words.append(f"settled or not by the final {part}")
    words += [
        options[getattr(way, name)] for name, options in said.items() if getattr(way, name) != getattr(planned, name)
    ]
    return ", ".join(words) or "as planned"
