"""Raw bench readings to claims that survive a hostile reviewer.

The names below are in the order of use; each is loaded when it is first asked for.
"""

from __future__ import annotations

from importlib import import_module
from typing import Any

__version__ = "0.1.0"

_WHERE: dict[str, str] = {
    # before the bench is booked
    "PlannedDesign": "planned_design",
    "power_of": "planning",
    "smallest_visible_difference": "planning",
    "fit_for_question": "planning",
    "size_trial": "trial_size",
    "cheapest_plan": "allocation",
    "power_curve": "power_curves",
    "components_from_trials": "pilot",
    "lay_out_runs": "run_order",
    "write_plan": "plan_folder",
    "read_plan": "plan_file",
    "rehearse": "rehearsal",
    "usual_bench": "rehearsed_bench",
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
    "write_pdf": "sheet_pdf",
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
    # operating point and bench drift
    "bring_to_nominal": "operating_point",
    "fit_exponent": "exponent_fit",
    "correct_drift": "drift",
    # uncertainty budgets
    "Source": "source",
    "propagate": "budget",
    "propagate_many": "budget_arrays",
    "propagate_monte_carlo": "monte_carlo",
    "Transducer": "power_bench",
    "PowerBench": "power_bench",
    "ShaftReadings": "power_bench",
    "power_loss_W": "shaft_power",
    "level_budget": "power_loss",
    "swapped_budget": "power_loss",
    "difference_budget": "power_loss",
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
    # what a test can see
    "power_paired": "power",
    "power_welch": "power",
    "smallest_difference_paired": "power",
    "smallest_difference_welch": "power",
    "decide": "verdict",
    # the bench itself
    "variance_components": "components",
    "likelihood_components": "nested_likelihood",
    "repeatability": "interlaboratory",
    "read_check_history": "check_history",
    "history_from_trials": "check_history",
    "check_standard_chart": "bench_health",
    "calibrate_line": "calibration_line",
    "compare_references": "reference_articles",
    # thousands of runs
    "reduce_archive": "archive",
    # known truth
    "simulate_run": "simulate",
    "simulate_trial": "simulate",
}

__all__ = [*_WHERE, "__version__"]  # noqa: PLE0604


def __getattr__(name: str) -> Any:
    if name not in _WHERE:
        from difflib import get_close_matches

        near = ", ".join(get_close_matches(name, _WHERE)) or "see dir(lossstats)"
        raise AttributeError(f"module 'lossstats' has no attribute {name!r}; nearest: {near}")
    return getattr(import_module(f"lossstats.{_WHERE[name]}"), name)


def __dir__() -> list[str]:
    return sorted(__all__)
