"""The guided notebooks: their form, and that they hold on another trial than the one they were stored with.

That the stored outputs are still what the code prints is the business of ``pytest --nbval notebooks``.
"""

from __future__ import annotations

import importlib.util
from pathlib import Path
from types import ModuleType
from typing import Any

import nbformat
import pytest

from lossstats import simulate_trial, write_trial
from lossstats.simulate import lay_out

ROOT = Path(__file__).parents[1]
FOLDER = ROOT / "notebooks"
NOTEBOOKS = sorted(FOLDER.glob("*.ipynb"))
NAMES = [
    "03_check_the_records",
    "04_find_the_settled_level",
    "07_compare_and_state",
    "11_keep_the_bench_honest",
]
RECORDS, SETTLED, COMPARE = "03_check_the_records", "04_find_the_settled_level", "07_compare_and_state"


def _load_storing() -> ModuleType:
    spec = importlib.util.spec_from_file_location("store_notebooks", ROOT / ".ci" / "store_notebooks.py")
    assert spec is not None and spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


storing = _load_storing()


def _changed(path: Path, folder: Path, change: Any) -> Path:
    """Write a copy of a notebook after `change` has worked on it."""
    notebook = nbformat.read(path, as_version=4)
    change(notebook)
    copy = folder / path.name
    nbformat.write(notebook, copy)
    return copy


def _tagged(notebook: Any, tag: str) -> list[Any]:
    return [cell for cell in notebook.cells if tag in cell.metadata.get("tags", [])]


def test_the_notebooks_are_there() -> None:
    assert [path.stem for path in NOTEBOOKS] == NAMES


@pytest.mark.parametrize("path", NOTEBOOKS, ids=NAMES)
def test_stored_in_good_form(path: Path) -> None:
    assert list(storing.faults(path)) == []


@pytest.mark.parametrize("path", NOTEBOOKS, ids=NAMES)
def test_stripped_notebook_is_refused(path: Path, tmp_path: Path) -> None:
    def strip(notebook: Any) -> None:
        for cell in notebook.cells:
            if cell.cell_type == "code":
                cell.outputs, cell.execution_count = [], None

    found = list(storing.faults(_changed(path, tmp_path, strip)))
    assert [fault.split(":")[0] for fault in found][:1] == ["run counts"]
    assert any("outputs: found none" in fault for fault in found)


def test_notebook_with_outputs_alone_removed_is_refused(tmp_path: Path) -> None:
    def clear(notebook: Any) -> None:
        for cell in notebook.cells:
            if cell.cell_type == "code":
                cell.outputs = []

    found = list(storing.faults(_changed(NOTEBOOKS[0], tmp_path, clear)))
    assert len(found) == 1
    assert found[0].startswith("outputs: found none")


def _with_output(text: str) -> Any:
    def change(notebook: Any) -> None:
        _tagged(notebook, "checks")[0].outputs = [nbformat.v4.new_output("stream", name="stdout", text=text)]

    return change


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("written to /home/someone/trial\n", "path of one machine"),
        ("written to /tmp/x81/trial\n", "path of one machine"),
        ("written to /data/bench/2025/trial.toml\n", "path of one machine"),
        (r"written to C:\bench\trial", "path of one machine"),
        ("<Axes object at 0x7f1200ab34c0>\n", "address in memory"),
    ],
)
def test_traces_of_a_machine_are_refused(text: str, message: str, tmp_path: Path) -> None:
    found = list(storing.faults(_changed(NOTEBOOKS[0], tmp_path, _with_output(text))))
    assert len(found) == 1
    assert message in found[0]


def test_a_relative_path_and_a_fraction_are_no_traces(tmp_path: Path) -> None:
    text = "../example_runs/one_chain/samples/r01.csv, s/√n, W/W, 40 r/min\n"
    assert list(storing.faults(_changed(NOTEBOOKS[0], tmp_path, _with_output(text)))) == []


def test_warnings_errors_long_cells_and_missing_tags_are_refused(tmp_path: Path) -> None:
    def spoil(notebook: Any) -> None:
        (checks,) = _tagged(notebook, "checks")
        warned = nbformat.v4.new_output("stream", name="stderr", text="careful\n")
        failed = nbformat.v4.new_output("error", ename="ValueError", evalue="no", traceback=[])
        checks.outputs = [warned, failed]
        checks.source = "\n".join("x = 1" for _ in range(9))
        del checks.metadata["tags"]

    text = "\n".join(storing.faults(_changed(NOTEBOOKS[1], tmp_path, spoil)))
    for part in ("no cell tagged checks", "9 lines of code", "holds an error, ValueError", "writes to stderr"):
        assert part in text


def _point_at(name: str, truth: str) -> Any:
    def change(notebook: Any) -> None:
        (cell,) = _tagged(notebook, "parameters")
        cell.source = cell.source.replace("example_runs/flour_dust", f"example_runs/{name}")
        cell.source = cell.source.replace('truth_known_for = "flour_dust"', f'truth_known_for = "{truth}"')
        assert f'"../example_runs/{name}"' in cell.source
        assert f'truth_known_for = "{truth}"' in cell.source

    return change


def _printed(notebook: Any) -> str:
    text = " ".join(out.get("text", "") for cell in notebook.cells for out in cell.get("outputs", []))
    return " ".join(text.split())


# The truth of four_oils is left out here, as for a trial of one's own; oil B truly saves 0.42 W.
RUNS = [
    (RECORDS, "one_chain", "one_chain", "No operating point is recorded"),
    (SETTLED, "one_chain", "one_chain", "K07"),
    (COMPARE, "one_chain", "one_chain", "No interval, hence no budget."),
    (RECORDS, "four_oils", "", "Nobody knows the truth of this trial."),
    (SETTLED, "four_oils", "", "Nobody knows the truth of this trial."),
    (COMPARE, "four_oils", "", "oil B saves more than 0.2 W"),
]


@pytest.mark.parametrize(("notebook", "trial", "truth", "words"), RUNS)
def test_another_trial_needs_the_parameters_cell_alone(
    notebook: str, trial: str, truth: str, words: str, tmp_path: Path
) -> None:
    path = FOLDER / f"{notebook}.ipynb"
    ran = storing.run(_changed(path, tmp_path, _point_at(trial, truth)), folder=FOLDER)
    assert words in _printed(ran)
    assert "stderr" not in {out.get("name") for cell in ran.cells for out in cell.get("outputs", [])}


def test_other_articles_in_each_condition_have_no_differences_to_show(tmp_path: Path) -> None:
    trial = simulate_trial(lay_out("independent", articles=3, references_every=3), rng=20250204)[0]
    write_trial(trial, tmp_path / "own")

    def point_at_own(notebook: Any) -> None:
        (cell,) = _tagged(notebook, "parameters")
        cell.source = f'trial_folder = "{(tmp_path / "own").as_posix()}"\ntruth_known_for = ""\n'

    path = FOLDER / f"{COMPARE}.ipynb"
    printed = _printed(storing.run(_changed(path, tmp_path, point_at_own), folder=FOLDER))
    assert "Units measured in both conditions: 0." in printed
    assert "after: true saving not known, interval" in printed
    assert " nan" not in printed
