"""The direction of imports: a module may import only what comes before it in the way of the data."""

import ast
import subprocess
import sys
from pathlib import Path

import pytest

import lossstats

PACKAGE = Path(lossstats.__file__).parent

# One list, in the order of the work: the rooms and what stands in each. A new module goes where its data come from.
ROOMS = {
    "records": "argument_checks rendering estimate pattern units",
    "trial_folder": """faults settings raw_files fixed_decimals stamp_forms number_rows shaft_power samples run_sheet
        toml_tables trial_toml trial_checks plan_times plan_file samples_text folder_files trial skeleton""",
    "budgets": """input_quantity stated_limits source correlation model_function sensitivities budget_lines budget_table
        budget budget_arrays power_bench power_loss declared_bench""",
    "monte_carlo": """coverage_interval random_draws linear_validation model_draws monte_carlo_result monte_carlo""",
    "simulator": """simulated_drift simulated_readings simulated_plan simulated_order simulated_levels simulate
        simulated_shafts example_settings example_plans examples""",
    "one_run": """quantisation blocks noise mixture approach_posterior approach stationary autocorrelation screening settling
        level levels reduced_runs""",
    "corrections": "operating_point exponent_fit drift unit_table at_nominal corrected_levels",
    "exact_tests": """checked_units lattice subset_counts typical_values relabelling resampling resample_callable
        resample_sums bootstrap_samples bootstrap_result bootstrap_law bootstrapping""",
    "comparison": "contrast verdict saving comparison statement",
    "several": "simultaneous conditions overall ranked condition_pairs ranking ranking_statement",
    "run_plan": "bench_clock order_checks run_order plan_departures plan_record",
    "figures": "figure_style trace_figures level_figures figures ranking_figures budget_figures choice_figures",
    "sheet": "sheet_page sheet_record sheet_saving sheet_review sheet_runs ranking_sheet sheet",
    "conclusion": """shared_errors saving_budget looks plausibility result conclusion decisions reanalysis choices leave_out mixed_model
        analysis""",
    "archive": "archive_reading column_cache large_log archive_levels archive_folder archive",
    "components": """anova nested_table nested_means component_result components nested_likelihood outlier_tests
        grubbs_pairs precision_result interlaboratory components_figures""",
    "planning": """plan_sheet plan_folder power interval_power planned_checks planned_spread planned_design planning
        trial_size plan_changes allocation power_curves pilot_squares pilot planning_figures""",
    "rehearsal": "rehearsed_bench rehearsed_plan rehearsed_trials rehearsal_result rehearsal rehearsal_figures",
    "review": "bundle sheet_pdf record_differences sealed_record sheet_differences files_beside reproduction",
    "bench": """chart_limits check_entries check_history check_chart chart_statement bench_health linearity straight_line
        calibration_line reference_articles bench_figures bench_examples""",
    "audit": """exact_range quoted_number quoted_set quoted_samples quoted_spread audit_check audit_readings
        audit_conversions audit_samples audit_sizes audit_spread audit_verdict audit""",
}
TOP = ["notebook_copies", "cli", "__main__"]
ORDER = [f"{room}.{module}" for room, modules in ROOMS.items() for module in modules.split()] + TOP


def imported(path):
    """Modules of the package that a file imports, at its top or inside functions; type-only imports left aside."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    typing_only = [n for n in ast.walk(tree) if isinstance(n, ast.If) and getattr(n.test, "id", "") == "TYPE_CHECKING"]
    skipped = {id(inner) for block in typing_only for inner in ast.walk(block)}
    for node in ast.walk(tree):
        if id(node) in skipped:
            continue
        if isinstance(node, ast.ImportFrom) and (node.module or "").startswith("lossstats."):
            module = node.module.removeprefix("lossstats.")
            yield from (f"{module}.{a.name}" for a in node.names) if module in ROOMS else (module,)
        if isinstance(node, ast.Import):
            yield from (a.name.removeprefix("lossstats.") for a in node.names if a.name.startswith("lossstats."))


def test_every_module_has_its_place():
    files = [p.relative_to(PACKAGE).with_suffix("") for p in PACKAGE.rglob("*.py") if p.stem != "__init__"]
    assert sorted(ORDER) == sorted(".".join(file.parts) for file in files)


@pytest.mark.parametrize("room", ROOMS)
def test_a_room_tells_what_is_in_it_and_loads_nothing(room):
    (only,) = ast.parse((PACKAGE / room / "__init__.py").read_text(encoding="utf-8")).body
    assert isinstance(only, ast.Expr)
    assert only.value.value


@pytest.mark.parametrize("name", ORDER)
def test_imports_point_back(name):
    file = PACKAGE.joinpath(*name.split(".")).with_suffix(".py")
    later = [other for other in imported(file) if ORDER.index(other) >= ORDER.index(name)]
    assert not later, f"{name} imports {later}, which come later in the way of the data"


def test_tests_mirror_the_package():
    tests = Path(__file__).parent
    strays = [
        p for p in tests.glob("*/test_*.py") if p.parent.name in ROOMS and f"{p.parent.name}.{p.stem[5:]}" not in ORDER
    ]
    assert not strays


@pytest.mark.parametrize("name", [n for n in lossstats.__all__ if n != "__version__"])
def test_public_names_exist_and_are_documented(name):
    assert getattr(lossstats, name).__doc__


def test_unknown_name_is_named():
    with pytest.raises(AttributeError, match="module 'lossstats' has no attribute 'analyze'; nearest: analyse"):
        lossstats.analyze  # noqa: B018


def loaded_by(statement):
    code = f"import sys; {statement}; print(*sorted(sys.modules))"
    return set(subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True).stdout.split())


def test_import_and_help_stay_light():
    heavy = {"scipy", "pandas", "statsmodels", "matplotlib", "seaborn", "uncertainties"}
    assert not heavy & loaded_by("import lossstats")
    assert not (heavy | {"numpy"}) & loaded_by("import lossstats.cli")
