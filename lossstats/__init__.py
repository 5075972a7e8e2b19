"""Raw bench readings to claims that survive a hostile reviewer.

The names below are in the order of use; each is loaded when it is first asked for.
"""

from __future__ import annotations

from importlib import import_module
from typing import Any

__version__ = "0.1.0"

_WHERE: dict[str, str] = {
    # before the bench is booked
    "PlannedDesign": "planning.planned_design",
    "power_of": "planning.planning",
    "smallest_visible_difference": "planning.planning",
    "fit_for_question": "planning.planning",
    "size_trial": "planning.trial_size",
    "cheapest_plan": "planning.allocation",
    "power_curve": "planning.power_curves",
    "components_from_trials": "planning.pilot",
    "lay_out_runs": "run_plan.run_order",
    "write_plan": "planning.plan_folder",
    "read_plan": "trial_folder.plan_file",
    "rehearse": "rehearsal.rehearsal",
    "usual_bench": "rehearsal.rehearsed_bench",
    # reading a trial
    "read_trial": "trial_folder.trial",
    "write_trial": "trial_folder.trial",
    "find_faults": "trial_folder.trial",
    "Trial": "trial_folder.trial",
    "Run": "trial_folder.trial",
    "TrialError": "trial_folder.faults",
    # the whole job, and the reviewer
    "analyse": "conclusion.analysis",
    "NotSettledError": "conclusion.conclusion",
    "Result": "conclusion.result",
    "reproduce": "review.reproduction",
    "write_bundle": "review.bundle",
    "audit_figures": "audit.audit",
    "write_pdf": "review.sheet_pdf",
    # what hangs on choices, and on single articles
    "sensitivity": "conclusion.choices",
    "leave_one_out": "conclusion.leave_out",
    "mixed_model_check": "conclusion.mixed_model",
    # its steps: one run to a level
    "screen_run": "one_run.screening",
    "find_settled": "one_run.settling",
    "run_level": "one_run.levels",
    "window_level": "one_run.levels",
    "series_level": "one_run.levels",
    "autocorrelation_time": "one_run.autocorrelation",
    "autocorrelation_times": "one_run.autocorrelation",
    "reduce_runs": "one_run.reduced_runs",
    "Level": "one_run.level",
    # operating point and bench drift
    "bring_to_nominal": "corrections.operating_point",
    "fit_exponent": "corrections.exponent_fit",
    "correct_drift": "corrections.drift",
    # uncertainty budgets
    "Source": "budgets.source",
    "propagate": "budgets.budget",
    "propagate_many": "budgets.budget_arrays",
    "propagate_monte_carlo": "monte_carlo.monte_carlo",
    "Transducer": "budgets.power_bench",
    "PowerBench": "budgets.power_bench",
    "ShaftReadings": "budgets.power_bench",
    "power_loss_W": "trial_folder.shaft_power",
    "level_budget": "budgets.power_loss",
    "swapped_budget": "budgets.power_loss",
    "difference_budget": "budgets.power_loss",
    # two conditions compared
    "compare_pairs": "comparison.comparison",
    "compare_groups": "comparison.comparison",
    "compare_with_controls": "comparison.comparison",
    "compare_crossover": "comparison.comparison",
    "compare_single": "comparison.comparison",
    "Comparison": "comparison.comparison",
    "SharedTerm": "comparison.saving",
    "Estimate": "records.estimate",
    # three conditions or more
    "rank_conditions": "several.ranking",
    "welch_anova": "several.overall",
    "Ranking": "several.ranked",
    "sign_flip": "exact_tests.resampling",
    "permute_groups": "exact_tests.resampling",
    "bootstrap": "exact_tests.bootstrapping",
    # what a test can see
    "power_paired": "planning.power",
    "power_welch": "planning.power",
    "smallest_difference_paired": "planning.power",
    "smallest_difference_welch": "planning.power",
    "decide": "comparison.verdict",
    # the bench itself
    "variance_components": "components.components",
    "likelihood_components": "components.nested_likelihood",
    "repeatability": "components.interlaboratory",
    "read_check_history": "bench.check_history",
    "history_from_trials": "bench.check_history",
    "check_standard_chart": "bench.bench_health",
    "calibrate_line": "bench.calibration_line",
    "compare_references": "bench.reference_articles",
    # thousands of runs
    "reduce_archive": "archive.archive",
    # pictures of what is finished
    "draw_run": "figures.trace_figures",
    "draw_levels": "figures.level_figures",
    "draw_pairs": "figures.figures",
    "draw_saving": "figures.figures",
    "draw_budget": "figures.figures",
    "draw_sources": "figures.budget_figures",
    "draw_conditions": "figures.ranking_figures",
    "draw_ranking": "figures.ranking_figures",
    "draw_sensitivity": "figures.choice_figures",
    "draw_influence": "figures.choice_figures",
    "draw_power_curve": "planning.planning_figures",
    "draw_rehearsal": "rehearsal.rehearsal_figures",
    "draw_components": "components.components_figures",
    "draw_mandel": "components.components_figures",
    "draw_check_chart": "bench.bench_figures",
    "draw_calibration": "bench.bench_figures",
    # known truth
    "example_truth": "simulator.examples",
    "simulate_run": "simulator.simulate",
    "simulate_trial": "simulator.simulate",
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
