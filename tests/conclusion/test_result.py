"""The sealed record: whole or not at all, plain JSON, nothing of the machine."""

import json
import math
import tempfile
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest

from lossstats.conclusion import result as result_module
from lossstats.conclusion.analysis import analyse
from lossstats.conclusion.result import FORMAT, to_json
from lossstats.simulator.examples import example_trial
from lossstats.trial_folder.trial import write_trial


@pytest.fixture(scope="module")
def result():
    return analyse(example_trial("one_chain"))


@pytest.fixture
def folder(tmp_path):
    write_trial(example_trial("one_chain"), tmp_path / "trial")
    return tmp_path / "trial"


def test_json_is_plain_and_whole(result):
    content = json.loads(to_json(result), parse_constant=lambda text: pytest.fail(f"not JSON: {text}"))
    assert content["format"] == FORMAT
    assert [r["run"] for r in content["runs"]] == [r.run for r in result.runs]
    assert content["runs"][0]["level"]["value"] == result.runs[0].level.value  # unrounded
    assert content["comparison"]["difference"] is None
    assert content["comparison"]["observed"] == result.comparison.observed
    assert content["settings"]["instrument"]["gain_dof"] == "inf"
    assert set(content["versions"]) == {"python", "lossstats", "numpy", "scipy", "matplotlib"}


def test_same_bytes_again(result):
    assert to_json(result) == to_json(analyse(example_trial("one_chain")))


def test_save_writes_results_and_nothing_else(folder):
    before = {p.name for p in folder.iterdir()}
    where = analyse(folder).save(folder)
    assert {p.name for p in folder.iterdir()} - before == {"results"}
    assert {"result.json", "result_sheet.html"} <= {p.name for p in where.iterdir()}
    assert json.loads((where / "result.json").read_text())["inputs"].keys() == {"trial.toml", "run_sheet.csv", "samples/r01.csv", "samples/r02.csv"}  # fmt: skip


def test_no_path_of_the_machine_in_the_record(folder, tmp_path):
    where = analyse(folder).save(folder)
    for file in ("result.json", "result_sheet.html"):
        assert str(tmp_path) not in (where / file).read_text(encoding="utf-8")


def test_a_failed_write_leaves_the_old_results(folder, monkeypatch):
    result = analyse(folder)
    where = result.save(folder)
    (where / "result.json").write_text("old", encoding="utf-8")

    def fails(*_args, **_options):
        raise OSError("disk full")

    monkeypatch.setattr("lossstats.sheet.sheet.write_sheet", fails)
    with pytest.raises(OSError, match="disk full"):
        result.save(folder)
    assert (where / "result.json").read_text(encoding="utf-8") == "old"
    assert [p.name for p in folder.iterdir() if p.name.startswith(".")] == []


def test_earlier_results_are_replaced_whole(folder):
    result = analyse(folder)
    where = result.save(folder)
    (where / "stray.txt").write_text("from another time", encoding="utf-8")
    result.save(folder)
    assert not (where / "stray.txt").exists()


def test_results_written_at_the_same_time_stay_whole(tmp_path):
    """Four writers, fifty results each: the last one stays, nothing of the others, and nobody fails."""

    def write(writer):
        for number in range(50):
            work = Path(tempfile.mkdtemp(prefix=".results-", dir=tmp_path))
            for name in ("one", "two"):
                (work / name).write_text(f"{writer} {number}", encoding="utf-8")
            result_module._replace(work, tmp_path / "results")

    with ThreadPoolExecutor(4) as pool:
        list(pool.map(write, range(4)))
    assert [path.name for path in tmp_path.iterdir()] == ["results"]
    one, two = (path.read_text(encoding="utf-8") for path in sorted((tmp_path / "results").iterdir()))
    assert one == two


def test_missing_folder_is_named(result, tmp_path):
    with pytest.raises(FileNotFoundError, match="nowhere: found no such folder; accepted: the trial folder"):
        result.save(tmp_path / "nowhere")


def test_tables(result):
    assert list(result.levels.index) == ["r01", "r02"]
    assert math.isclose(result.levels.loc["r01", "level"], result.runs[0].level.value)
    assert list(result.unit_table.columns) == ["dusty", "cleaned"]
    assert result.budget.table.empty


def test_renderings(result):
    assert str(result).startswith(result.settings.trial.question)
    assert "<em>" in result._repr_html_()
