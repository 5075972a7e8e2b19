"""Working copies of the notebooks: beside a trial, pointed at it, from a checkout and from a built wheel."""

from __future__ import annotations

import ast
import json
import subprocess
import sys
import zipfile
from pathlib import Path

import hatchling.build
import nbformat
import pytest
from nbclient import NotebookClient

from lossstats import notebook_copies
from lossstats.bench.bench_examples import check_history_text, example_check_history
from lossstats.cli import main
from lossstats.notebook_copies import copy_notebooks, find_notebooks, pointed_at
from lossstats.simulator.examples import example_trial
from lossstats.trial_folder.skeleton import write_skeleton
from lossstats.trial_folder.trial import find_faults, write_trial

ROOT = Path(__file__).parents[1]
STORED = sorted((ROOT / "notebooks").glob("*.ipynb"))


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    write_trial(example_trial("one_chain"), tmp_path / "trial")
    return tmp_path / "trial"


def bytes_of(folder: Path) -> dict[str, bytes]:
    return {p.relative_to(folder).as_posix(): p.read_bytes() for p in sorted(folder.rglob("*")) if p.is_file()}


def parameters(path: Path) -> dict[str, object]:
    cells = nbformat.read(path, as_version=4).cells
    (source,) = (cell.source for cell in cells if "parameters" in cell.metadata.get("tags", []))
    return {node.targets[0].id: ast.literal_eval(node.value) for node in ast.parse(source).body}  # type: ignore[attr-defined]


def test_every_notebook_lies_beside_the_trial_without_outputs(folder: Path) -> None:
    before = bytes_of(folder)
    copies = copy_notebooks(folder)
    assert [p.relative_to(folder).as_posix() for p in copies] == [f"notebooks/{p.name}" for p in STORED]
    for copy, stored in zip(copies, STORED, strict=True):
        notebook, original = nbformat.read(copy, as_version=4), nbformat.read(stored, as_version=4)
        nbformat.validate(notebook)
        assert not any(cell.get("outputs") or cell.get("execution_count") for cell in notebook.cells)
        assert [cell.id for cell in notebook.cells] == [cell.id for cell in original.cells]
    assert {name: data for name, data in bytes_of(folder).items() if not name.startswith("notebooks/")} == before
    assert find_faults(folder) == []


def test_parameters_name_the_trial_and_no_truth(folder: Path) -> None:
    found = {copy.name: parameters(copy) for copy in copy_notebooks(folder)}
    pointed = [values for values in found.values() if "trial_folder" in values]
    assert len(pointed) >= 3
    for values in pointed:
        assert values["trial_folder"] == ".."
        assert values.get("truth_known_for", "") == ""
    for stored in STORED:
        assert list(parameters(stored)) == list(found[stored.name])


def test_every_path_in_a_copy_leads_to_something(folder: Path) -> None:
    """Whatever a cell opens lies beside the copy: nothing of a checkout is needed."""
    for copy in copy_notebooks(folder):
        for cell in nbformat.read(copy, as_version=4).cells:
            if cell.cell_type != "code":
                continue
            assert "../example_runs" not in cell.source
            code = "\n".join(line for line in cell.source.splitlines() if not line.startswith("%"))
            texts = [n.value for n in ast.walk(ast.parse(code)) if isinstance(n, ast.Constant)]
            paths = [t for t in texts if isinstance(t, str) and t.startswith("example_runs/")]
            assert all((copy.parent / path).exists() for path in paths), paths


def test_a_history_of_checks_is_ones_own_where_there_is_one(folder: Path) -> None:
    copies = copy_notebooks(folder)
    (honest,) = (p for p in copies if "history_file" in parameters(p))
    assert parameters(honest)["history_file"] == "example_runs/check_history/check_history.csv"
    assert parameters(honest)["truth_known"] is True
    assert "invented" in (honest.parent / "example_runs" / "README.md").read_text(encoding="utf-8").lower()
    (folder / "notebooks").rename(folder / "seen")
    (folder / "check_history.csv").write_text(check_history_text(example_check_history()), encoding="utf-8")
    copy_notebooks(folder)
    assert parameters(honest)["history_file"] == "../check_history.csv"
    assert parameters(honest)["truth_known"] is False


def run_copy(path: Path) -> str:
    """Run a copy where it lies; what it prints."""
    notebook = nbformat.read(path, as_version=4)
    NotebookClient(notebook, timeout=300, resources={"metadata": {"path": str(path.parent)}}).execute()
    printed = " ".join(out.get("text", "") for cell in notebook.cells for out in cell.get("outputs", []))
    return " ".join(printed.split())


def test_a_copy_runs_on_the_trial_it_lies_beside(folder: Path) -> None:
    (path,) = (p for p in copy_notebooks(folder) if p.name.endswith("find_the_settled_level.ipynb"))
    printed = run_copy(path)
    assert "K07" in printed
    assert "Nobody knows the truth of this trial." in printed


def test_a_copy_that_copies_the_trial_runs_too(folder: Path) -> None:
    """The parameter is "..": a notebook that takes the name of the folder from it has to resolve it first."""
    (path,) = (p for p in copy_notebooks(folder) if p.name.endswith("review_a_claim.ipynb"))
    before = bytes_of(folder)
    assert run_copy(path)
    assert bytes_of(folder) == before


@pytest.mark.full
@pytest.mark.parametrize("name", ["one_chain", "four_oils", "two_shafts"])
@pytest.mark.parametrize("notebook", [p.name for p in STORED])
def test_every_copy_runs_beside_every_kind_of_trial(notebook: str, name: str, tmp_path: Path) -> None:
    write_trial(example_trial(name), tmp_path / name)
    copies = {p.name: p for p in copy_notebooks(tmp_path / name)}
    assert run_copy(copies[notebook])


def test_a_skeleton_gets_notebooks_too(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    write_skeleton(tmp_path / "fresh")
    assert main(["notebooks", str(tmp_path / "fresh")]) == 0
    *paths, last = capsys.readouterr().out.splitlines()
    assert paths == [str(tmp_path / "fresh" / "notebooks" / p.name) for p in STORED]
    assert last == f"to open them: jupyter lab {tmp_path / 'fresh' / 'notebooks'}"


@pytest.mark.parametrize(
    ("names", "message"),
    [
        ([], "notebooks: found such a file; accepted: a trial folder without notebooks/"),
        (["mine.ipynb"], "notebooks/mine.ipynb: found such a file; accepted"),
        (["a.ipynb", "b.ipynb", "c.txt"], "notebooks/a.ipynb: found such a file and 2 more; accepted"),
    ],
)
def test_nothing_is_overwritten(names: list[str], message: str, folder: Path) -> None:
    (folder / "notebooks").mkdir()
    for name in names:
        (folder / "notebooks" / name).write_text("mine", encoding="utf-8")
    before = bytes_of(folder)
    with pytest.raises(FileExistsError, match=message):
        copy_notebooks(folder)
    assert bytes_of(folder) == before


def test_a_link_is_something_by_that_name(folder: Path) -> None:
    (folder / "notebooks").symlink_to(folder / "nowhere")
    with pytest.raises(FileExistsError, match="notebooks: found such a file"):
        copy_notebooks(folder)


def test_whole_or_not_at_all(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def fail(_: Path) -> None:
        raise OSError("no space left")

    monkeypatch.setattr(notebook_copies, "_write_examples", fail)
    before = bytes_of(folder)
    with pytest.raises(OSError, match="no space left"):
        copy_notebooks(folder)
    assert bytes_of(folder) == before
    assert sorted(p.name for p in folder.iterdir()) == ["run_sheet.csv", "samples", "trial.toml"]


def test_only_a_trial_folder(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["notebooks", str(tmp_path)]) == 1
    assert "found no trial.toml; accepted: a trial folder, such as `lossstats new` writes" in capsys.readouterr().err
    assert not list(tmp_path.iterdir())


def test_only_parameters_are_set_and_odd_values_stay_text() -> None:
    def cell(source: str, *tags: str) -> dict[str, object]:
        metadata = {"tags": list(tags)}
        return {"cell_type": "code", "execution_count": 3, "metadata": metadata, "outputs": [1], "source": [source]}

    text = json.dumps({"cells": [cell("x = 1\nxx = 2", "parameters"), cell("x = 1")], "nbformat": 4})
    first, second = json.loads(pointed_at(text, {"x": r'"a\1b"'}))["cells"]
    assert first["source"] == ['x = "a\\1b"\n', "xx = 2"]
    assert second["source"] == ["x = 1"]
    assert first["outputs"] == second["outputs"] == []


def test_a_checkout_knows_its_notebooks() -> None:
    assert list(find_notebooks()) == STORED


def test_a_built_wheel_carries_the_notebooks_and_finds_them(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(ROOT)
    wheel = tmp_path / hatchling.build.build_wheel(str(tmp_path))
    with zipfile.ZipFile(wheel) as archive:
        assert archive.testzip() is None
        archive.extractall(tmp_path / "site")
    installed = tmp_path / "site" / "lossstats"
    names = [p.name for p in sorted((installed / "notebooks").glob("*.ipynb"))]
    assert names == [p.name for p in STORED]
    write_skeleton(tmp_path / "trial")
    code = (
        "import lossstats, sys; from lossstats.cli import main; print(lossstats.__file__); sys.exit(main(sys.argv[1:]))"
    )
    done = subprocess.run(
        [sys.executable, "-c", code, "notebooks", str(tmp_path / "trial")],
        cwd=tmp_path / "site",
        capture_output=True,
        text=True,
        check=True,
    )
    assert done.stdout.splitlines()[0] == str(installed / "__init__.py")
    assert len(done.stdout.splitlines()) == 2 + len(STORED)
    assert len(list((tmp_path / "trial" / "notebooks").glob("*.ipynb"))) == len(STORED)
