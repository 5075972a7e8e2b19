"""The skeleton of a trial folder. Evidence: tomllib reads it; the faults it has are the blanks that were left."""

from __future__ import annotations

import dataclasses
import re
import tomllib
from pathlib import Path

import pytest
import small_trial

from lossstats.trial_folder.settings import (
    BenchModelKeys,
    ComparisonKeys,
    OperatingPoint,
    PlanKeys,
    Settings,
    TrialKeys,
)
from lossstats.trial_folder.skeleton import skeleton_text, write_skeleton
from lossstats.trial_folder.trial import find_faults, read_trial


def test_every_key_stands_there_with_its_meaning() -> None:
    text = skeleton_text()
    settings = Settings(TrialKeys("?"), ComparisonKeys("a", "b", "paired"))
    optional = {"operating_point": OperatingPoint, "bench_model": BenchModelKeys, "plan": PlanKeys}
    plain = " ".join(text.replace("\n# # ", " ").replace("\n# ", " ").split())
    for table in dataclasses.fields(Settings):
        kind = optional.get(table.name) or getattr(settings, table.name)
        assert f"\n# [{table.name}" in text if table.name in optional else f"\n[{table.name}]" in text
        for key in dataclasses.fields(kind):
            assert re.search(rf"^(# ){{0,2}}{key.name} =", text, re.MULTILINE)
            assert " ".join(key.metadata["doc"].split()) in plain
    assert "# [operating_point.input_power_W]" in text


def test_the_last_tables_are_toml_once_the_first_sign_is_off() -> None:
    """As an editor takes it off a marked block: what stays commented are the words, and keys without a value."""
    text = skeleton_text()
    start = text.index("# # Nominal value")
    taken = "\n".join(line.removeprefix("# ") for line in text[start:].split("\n"))
    tables = tomllib.loads(text[:start] + taken)
    assert tables["operating_point"]["input_power_W"]["correction"] == "none"
    assert tables["bench_model"]["torque_in"] == BenchModelKeys().torque_in
    assert tables["plan"]["working_days"] == list(PlanKeys("").working_days)
    assert "reference" not in tables["plan"]
    assert not {"operating_point", "bench_model", "plan"} & set(tomllib.loads(text))


@pytest.mark.parametrize("with_stamps", [False, True])
def test_the_foreign_logs_of_the_readme_read(tmp_path: Path, with_stamps: bool) -> None:
    """The lines of README.txt, taken over as they stand, read the logs that they describe."""
    folder = tmp_path / "trial"
    small_trial.write(folder)
    before = [(list(run.time_s), list(run.values)) for run in read_trial(folder).runs]
    write_skeleton(tmp_path / "new")
    words = (tmp_path / "new" / "README.txt").read_text(encoding="utf-8")
    lines = re.findall(r"^     (\w+ = .*)$", words, re.MULTILINE)
    assert len(lines) == 13
    lines = lines if with_stamps else lines[:8]
    with (folder / "trial.toml").open("a", encoding="utf-8") as file:
        file.write("\n[log]\n" + "\n".join(lines) + "\n")
    for number, path in enumerate(sorted((folder / "samples").iterdir())):
        rows = path.read_text(encoding="utf-8").splitlines()[1:]
        log = ["Log of the bench", "Zeit [s];Verlust [W];Temperatur [°C]", "s;W;°C"]
        for row in rows:
            time_s, loss_W = row.split(",")
            clock = f"03.03.2031 08:{10 * number:02d}:{int(time_s):02d}" if with_stamps else time_s
            log.append(f"{clock};{loss_W.replace('.', ',')};21,3{';' * with_stamps}")
        log += ["Ende der Messung"] * with_stamps
        path.write_text("\n".join(log) + "\n", encoding="latin-1")
    assert [(list(run.time_s), list(run.values)) for run in read_trial(folder).runs] == before


def test_values_in_force_are_the_defaults() -> None:
    tables = tomllib.loads(skeleton_text())
    settings = Settings(TrialKeys("?"), ComparisonKeys("a", "b", "paired"))
    assert tables["settling"]["final_window"] == settings.settling.final_window
    assert tables["log"]["value"] == {"column": "loss_W", "factor": 1.0}
    assert "difference_that_matters" not in tables["comparison"]


def test_an_untouched_skeleton_says_what_is_still_to_be_filled(tmp_path: Path) -> None:
    write_skeleton(tmp_path / "trial")
    assert {path.name for path in (tmp_path / "trial").iterdir()} == {
        "trial.toml",
        "run_sheet.csv",
        "samples",
        "README.txt",
    }
    told = [(fault.file, fault.column, fault.found) for fault in find_faults(tmp_path / "trial")]
    assert told == [
        ("trial.toml", "key trial.question", "the text ''"),
        ("trial.toml", "key comparison.before", "the text ''"),
        ("trial.toml", "key comparison.after", "the text ''"),
        ("trial.toml", "key comparison.design", "the text ''"),
        ("run_sheet.csv", None, "a header and no rows"),
    ]
    assert '"paired" or "crossover"' in find_faults(tmp_path / "trial")[3].accepted


def test_a_filled_skeleton_reads(tmp_path: Path) -> None:
    folder = tmp_path / "trial"
    write_skeleton(folder)
    for key, value in (("question", "Does it pay?"), ("before", "dusty"), ("after", "cleaned"), ("design", "paired")):
        small_trial.swap(folder, "trial.toml", f'\n{key} = ""  # to be filled', f'\n{key} = "{value}"')
    small_trial.swap(folder, "trial.toml", "# difference_that_matters =", "difference_that_matters = 0.2")
    with (folder / "run_sheet.csv").open("a", newline="") as file:
        file.write(small_trial.sheet().removeprefix(small_trial.HEADER))
    for number in range(1, 7):
        small_trial.put(folder, f"samples/r{number:02d}.csv", small_trial.samples(number))
    trial = read_trial(folder)
    expected = ComparisonKeys("dusty", "cleaned", "paired", difference_that_matters=0.2)
    assert trial.settings == Settings(TrialKeys("Does it pay?"), expected)


def test_an_empty_folder_is_taken_and_a_filled_one_refused(tmp_path: Path) -> None:
    (tmp_path / "empty").mkdir()
    write_skeleton(tmp_path / "empty")
    with pytest.raises(
        FileExistsError, match="folder: found empty already, not empty; accepted: a new name, or an empty"
    ):
        write_skeleton(tmp_path / "empty")
    (tmp_path / "file").write_text("x")
    with pytest.raises(FileExistsError, match="folder: found file already"):
        write_skeleton(tmp_path / "file")
    assert (tmp_path / "file").read_text() == "x"
