"""Raw bench readings to claims that survive a hostile reviewer.

The names below are in the order of use; each is loaded when it is first asked for.
"""

from __future__ import annotations

from importlib import import_module
from typing import Any

__version__ = "0.1.0"

_WHERE: dict[str, str] = {
    # reading a trial
    "read_trial": "trial",
    "write_trial": "trial",
    "find_faults": "trial",
    "Trial": "trial",
    "Run": "trial",
    "TrialError": "faults",
    # the whole job, and the reviewer
    "analyse": "analysis",
    "NotSettledError": "conclusion",
    "Result": "result",
    "reproduce": "reproduction",
    "write_bundle": "bundle",
    "audit_figures": "audit",
    # what hangs on choices, and on single articles
    "sensitivity": "choices",
    "leave_one_out": "leave_out",
    "mixed_model_check": "mixed_model",
    # its steps: one run to a level
    "screen_run": "screening",
    "find_settled": "settling",
    "run_level": "levels",
    "window_level": "levels",
    "series_level": "levels",
    "reduce_runs": "levels",
    "Level": "levels",
    # bench drift
    "correct_drift": "drift",
    # two conditions compared
    "compare_pairs": "comparison",
    "compare_groups": "comparison",
    "compare_with_controls": "comparison",
    "compare_crossover": "comparison",
    "compare_single": "comparison",
    "Comparison": "comparison",
    "SharedTerm": "saving",
    "Estimate": "estimate",
    # three conditions or more
    "rank_conditions": "ranking",
    "welch_anova": "overall",
    "Ranking": "ranked",
    "sign_flip": "resampling",
    "permute_groups": "resampling",
    "bootstrap": "bootstrapping",
    # what a design can see
    "power_paired": "power",
    "power_welch": "power",
    "smallest_difference_paired": "power",
    "smallest_difference_welch": "power",
    "decide": "verdict",
    # known truth
    "simulate_run": "simulate",
    "simulate_trial": "simulate",
}

__all__ = [*_WHERE, "__version__"]  # noqa: PLE0604


def __getattr__(name: str) -> Any:
    if name not in _WHERE:
        raise AttributeError(f"module 'lossstats' has no attribute {name!r}; it has {', '.join(_WHERE)}")
    return getattr(import_module(f"lossstats.{_WHERE[name]}"), name)


def __dir__() -> list[str]:
    return sorted(__all__)
