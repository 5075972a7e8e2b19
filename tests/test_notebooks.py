"""The guided notebooks: their form, and that they hold on another trial than the one they were stored with.

That the stored outputs are still what the code prints is the business of ``pytest --nbval notebooks``. Here every
notebook that takes a trial folder runs, unchanged but for its parameters, on three others: one chain, four oils, and a
folder that ``lossstats new`` made and the simulator filled. One kernel does for all of them, emptied in between.
"""

from __future__ import annotations

import importlib.util
import re
import shutil
from collections.abc import Iterator
from itertools import pairwise
from pathlib import Path
from types import ModuleType
from typing import Any

import nbformat
import pytest
from jupyter_client.manager import AsyncKernelManager
from jupyter_core.utils import run_sync
from nbclient import NotebookClient

from lossstats import simulate_trial, write_trial
from lossstats.cli import main
from lossstats.simulator.simulate import lay_out

ROOT = Path(__file__).parents[1]
FOLDER = ROOT / "notebooks"
NOTEBOOKS = sorted(FOLDER.glob("*.ipynb"))
NAMES = [
    "01_start_here",
    "02_plan_a_trial",
    "03_check_the_records",
    "04_find_the_settled_level",
    "05_remove_bench_drift",
    "06_build_the_budget",
    "07_compare_dusty_and_cleaned",
    "08_state_and_seal",
    "09_review_a_claim",
    "10_rank_several_oils",
    "11_keep_the_bench_honest",
]


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


def _words_of(path: Path) -> str:
    cells = nbformat.read(path, as_version=4).cells
    return " ".join(" ".join(cell.source for cell in cells if cell.cell_type == "markdown").split())


def test_the_notebooks_are_there() -> None:
    assert [path.stem for path in NOTEBOOKS] == NAMES


@pytest.mark.parametrize(("one", "following"), list(pairwise(NAMES)), ids=NAMES[:-1])
def test_the_way_from_one_to_the_next(one: str, following: str) -> None:
    assert f"**Next:** `{following}.ipynb`" in _words_of(FOLDER / f"{one}.ipynb")
    assert f"**Before:** `{one}.ipynb`" in _words_of(FOLDER / f"{following}.ipynb")


def test_the_first_notebook_names_all_of_them() -> None:
    table = re.findall(r"\| `(\d\d_\w+)\.ipynb` \|", _words_of(NOTEBOOKS[0]))
    assert table == NAMES


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda path: path.stem)
def test_stored_in_good_form(path: Path) -> None:
    assert list(storing.faults(path)) == []


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda path: path.stem)
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

    text = "\n".join(storing.faults(_changed(NOTEBOOKS[0], tmp_path, spoil)))
    for part in ("no cell tagged checks", "9 lines of code", "holds an error, ValueError", "writes to stderr"):
        assert part in text


def _point_at(notebook: Any, folder: str, truth: str) -> None:
    (cell,) = _tagged(notebook, "parameters")
    for name, value in (("trial_folder", folder), ("truth_known_for", truth)):
        cell.source, count = re.subn(rf"(?m)^{name} = .*$", f'{name} = "{value}"', cell.source)
        assert count == 1


def _printed(notebook: Any) -> str:
    text = " ".join(out.get("text", "") for cell in notebook.cells for out in cell.get("outputs", []))
    return " ".join(text.split())


@pytest.fixture(scope="module")
def kernel() -> Iterator[AsyncKernelManager]:
    """Start one kernel for all runs: libraries are imported once."""
    manager = AsyncKernelManager(kernel_name="python3")
    yield manager
    run_sync(manager.shutdown_kernel)(now=True)


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> str:
    """Make a folder by `lossstats new` and `plan`, other articles in each condition, filled otherwise than planned."""
    place = tmp_path_factory.mktemp("made")
    folder, simulated = place / "own", place / "simulated"
    assert main(["new", str(folder)]) == 0
    write_trial(simulate_trial(lay_out("independent", articles=3, references_every=3), rng=20250204)[0], simulated)
    text = (folder / "trial.toml").read_text("utf-8")
    filled = {"question": "Does it save?", "before": "before", "after": "after", "design": "independent"}
    for key, value in filled.items():
        text, count = re.subn(rf'(?m)^{key} = ""  # to be filled$', f'{key} = "{value}"', text)
        assert count == 1
    text += (
        '\n[plan]\nfirst_start = "2025-02-04T08:00:00+01:00"\narticles = ["C1", "C2", "C3", "C4"]\none_way = false\n'
    )
    (folder / "trial.toml").write_text(text, encoding="utf-8", newline="")
    assert main(["plan", str(folder)]) == 0
    shutil.copy(simulated / "run_sheet.csv", folder)
    shutil.copytree(simulated / "samples", folder / "samples", dirs_exist_ok=True)
    return folder.as_posix()


# What each notebook says on (one chain, four oils, the folder made). The truth of four_oils is withheld, as for a
# trial of one's own; oil B truly saves 0.42 W.
WORDS = {
    "01_start_here": (
        "This is a description and not a claim",
        "oil B saves more than 0.2 W",
        "after against before: is not decided",
    ),
    "02_plan_a_trial": (
        "The earlier trial does not tell its spread.",
        "no mount was repeated: refit and run of the reference article stand in for mount and run",
        "articles were measured in one condition each",
    ),
    "03_check_the_records": (
        "No operating point is recorded",
        "Nobody knows the truth of this trial.",
        "Nobody knows the truth of this trial.",
    ),
    "04_find_the_settled_level": (
        "K07",
        "Nobody knows the truth of this trial.",
        "No run of this trial is still moving: the rule is not needed.",
    ),
    "05_remove_bench_drift": (
        "No reference run and no zero run in this trial: nothing tells what the bench did.",
        "24 test runs, drift taken off by reference runs",
        "added to before minus after: 0.000 W",
    ),
    "06_build_the_budget": (
        "No interval, hence no budget.",
        "Nobody knows the truth of this trial.",
        "Nobody knows the truth of this trial.",
    ),
    "07_compare_dusty_and_cleaned": (
        "Units measured in both conditions: 1.",
        "oil B saves more than 0.2 W",
        "Units measured in both conditions: 0.",
    ),
    "08_state_and_seal": (
        "no interval in this trial; in its place one of six chains",
        "No sealed plan: rules may have been set",
        "difference that matters: none was fixed; design: independent",
    ),
    "09_review_a_claim": (
        "cleaned: true saving 0.45 W, no interval",
        "Three conditions or more: other choices are tried for two conditions only.",
        "the folder came without a sealed result",
    ),
    "10_rank_several_oils": (
        "This trial has two conditions, dusty and cleaned: nothing to rank.",
        "oil B against oil A: 0.37 to 0.69 W; true saving not known",
        "This trial has two conditions, before and after: nothing to rank.",
    ),
}
TRIALS = {
    "one_chain": ("../example_runs/one_chain", "one_chain"),
    "four_oils": ("../example_runs/four_oils", ""),
    "made": ("", ""),
}
RUNS = [(name, trial, words) for name, row in WORDS.items() for trial, words in zip(TRIALS, row, strict=True)]


def test_every_notebook_that_takes_a_trial_folder_is_run() -> None:
    takes = [path.stem for path in NOTEBOOKS if "trial_folder" in path.read_text("utf-8")]
    assert list(WORDS) == takes


@pytest.mark.parametrize(("name", "trial", "words"), RUNS, ids=[f"{name}-{trial}" for name, trial, _ in RUNS])
def test_another_trial_needs_the_parameters_cell_alone(
    name: str, trial: str, words: str, kernel: AsyncKernelManager, made: str
) -> None:
    folder, truth = TRIALS[trial]
    notebook = nbformat.read(FOLDER / f"{name}.ipynb", as_version=4)
    _point_at(notebook, folder or made, truth)
    notebook.cells.insert(0, nbformat.v4.new_code_cell("%reset -f"))
    client = NotebookClient(notebook, km=kernel, timeout=storing.LIMIT_S, resources={"metadata": {"path": str(FOLDER)}})
    try:
        client.execute()
    finally:
        client.kc.stop_channels()
    printed = _printed(notebook)
    assert words in printed
    # The wrong way of 03, a reader that guesses, ends in nan.
    assert not re.search(r"(?<!as guessed: )\bnan\b|\bNone\b", printed)
    assert "stderr" not in {out.get("name") for cell in notebook.cells for out in cell.get("outputs", [])}
