"""Table of levels. Evidence: what was written comes back; the history made from the folders; counts made by hand."""

from __future__ import annotations

import dataclasses
import importlib
from pathlib import Path

import pandas as pd
import pytest

from lossstats.archive.archive_folder import reduce_folder
from lossstats.archive.archive_levels import (
    COLUMNS,
    RunLevel,
    check_standard_columns,
    components_columns,
    levels_table,
    read_levels,
    select_levels,
    write_levels,
)
from lossstats.bench.bench_health import check_standard_chart
from lossstats.bench.check_history import history_from_trials
from lossstats.components.components import variance_components

EXAMPLE = Path(__file__).parents[2] / "example_runs" / "flour_dust"
ROW = RunLevel(
    folder="t1", run="r01", start="2031-03-03T08:00:00+01:00", bench_day="2031-03-03", role="test", article="K01",
    condition="dusty", mount="1", bench="B1", unit="W", level=6.1, u=0.02, dof=float("inf"), settled="settled",
    flagged=0, samples=36, sha256="ab" * 32,
)  # fmt: skip


def row(**changes: object) -> RunLevel:
    return dataclasses.replace(ROW, **changes)  # type: ignore[arg-type]


@pytest.fixture(scope="module")
def example() -> pd.DataFrame:
    """Levels of an example trial."""
    found = reduce_folder(EXAMPLE, "flour_dust")
    assert not found.failed
    return levels_table(found.runs)


def archive() -> pd.DataFrame:
    """Two trials on two benches, three articles, two mounts each, two runs a mount, reference runs on 24 days."""
    rows = []
    number = 0
    for folder, bench, month in (("t1", "B1", "03"), ("t2", "B2", "04")):
        for article in ("K01", "K02", "K03"):
            for condition, saving in (("dusty", 0.0), ("cleaned", 0.3)):
                for mount in ("1", "2"):
                    for again in range(2):
                        number += 1
                        level = 6 + 0.1 * int(article[-1]) - saving + 0.02 * int(mount) + 0.005 * again * (number % 3)
                        rows.append(
                            row(
                                folder=folder,
                                run=f"r{number}",
                                bench=bench,
                                bench_day=f"2031-{month}-03",
                                article=article,
                                condition=condition,
                                mount=mount,
                                level=level,
                            )
                        )
        for day in range(1, 25):
            for again in range(1 + day % 2):
                number += 1
                rows.append(
                    row(
                        folder=folder,
                        run=f"r{number}",
                        bench=bench,
                        bench_day=f"2031-{month}-{day:02d}",
                        role="reference",
                        article="REF",
                        condition="",
                        mount="1",
                        level=5 + 0.01 * ((7 * day + 3 * again) % 11),
                    )
                )
    return levels_table(rows)


def test_the_table_has_the_columns_of_a_row_even_without_rows():
    for rows in ([ROW], []):
        table = levels_table(rows)
        assert tuple(table.columns) == COLUMNS
        assert table.dtypes.astype(str).to_dict() == {
            name: {"level": "float64", "u": "float64", "dof": "float64", "flagged": "int64", "samples": "int64"}.get(name, "str")
            for name in COLUMNS
        }  # fmt: skip


@pytest.mark.parametrize("rows", [0, 1, 50])
def test_parquet_gives_the_same_back(tmp_path, rows):
    table = levels_table(
        [row(run=f"r{i}", article="Kæde 'ø'", level=6 + i / 7, dof=float("inf") if i % 2 else 3.7) for i in range(rows)]
    )
    write_levels(table, tmp_path / "levels.parquet")
    back = read_levels(tmp_path / "levels.parquet")
    pd.testing.assert_frame_equal(back, table, check_exact=True)
    assert [path.name for path in tmp_path.iterdir()] == ["levels.parquet"]


def test_parquet_of_real_levels_twice_the_same_bytes(tmp_path, example):
    for name in ("a", "b", "a"):  # one that is there is replaced
        write_levels(example, tmp_path / name)
    pd.testing.assert_frame_equal(read_levels(tmp_path / "a"), example, check_exact=True)
    assert (tmp_path / "a").read_bytes() == (tmp_path / "b").read_bytes()


def test_what_is_no_table_of_levels_is_refused(tmp_path):
    (tmp_path / "a.parquet").write_bytes(b"PAR1 and rubbish")
    with pytest.raises(
        ValueError, match=r"a\.parquet: found no Parquet file; accepted: a file that write_levels wrote"
    ):
        read_levels(tmp_path / "a.parquet")
    pd.DataFrame({"folder": ["t1"]}).to_parquet(tmp_path / "b.parquet")
    with pytest.raises(ValueError, match=r"b\.parquet: found no column run, start, .*; accepted: a table with folder"):
        read_levels(tmp_path / "b.parquet")
    with pytest.raises(ValueError, match="levels: found no column level, u; accepted"):
        write_levels(levels_table([ROW]).drop(columns=["level", "u"]), tmp_path / "c.parquet")
    assert not (tmp_path / "c.parquet").exists()


def test_without_pyarrow_the_extra_is_named(tmp_path, monkeypatch):
    real = importlib.import_module

    def without(name: str, package: str | None = None):
        if name.startswith("pyarrow"):
            raise ModuleNotFoundError(name=name)
        return real(name, package)

    monkeypatch.setattr(importlib, "import_module", without)
    for call in (lambda: write_levels(levels_table([ROW]), tmp_path / "a"), lambda: read_levels(tmp_path / "a")):
        with pytest.raises(ModuleNotFoundError, match=r"pyarrow is not installed.*pip install 'lossstats\[scale\]'"):
            call()


def test_levels_of_an_article_a_bench_a_month():
    table = archive()
    assert len(select_levels(table)) == len(table) == 2 * (24 + 36)
    assert len(select_levels(table, article="K02")) == 16
    assert len(select_levels(table, article="K02", bench="B1", condition="cleaned")) == 4
    assert len(select_levels(table, month="2031-03")) == 60
    assert len(select_levels(table, month="2031-05")) == 0
    assert set(select_levels(table, folder="t2", role="reference")["article"]) == {"REF"}


def test_names_that_no_run_bears_are_refused():
    with pytest.raises(
        ValueError, match="article: found 'k01'; accepted: a name in the table: 'K01', 'K02', 'K03', 'REF'"
    ):
        select_levels(archive(), article="k01")
    with pytest.raises(ValueError, match="month: found '2031-13'; accepted: a year and month such as 2031-03"):
        select_levels(archive(), month="2031-13")
    with pytest.raises(ValueError, match="bench: found 'B1'; accepted: a name in the table: none, the table is empty"):
        select_levels(levels_table([]), bench="B1")


def test_history_is_that_made_from_the_folders(example):
    ours, theirs = check_standard_columns(example), history_from_trials([EXAMPLE]).table
    assert list(ours["date"]) == list(theirs["date"])
    assert list(ours["value"]) == pytest.approx(list(theirs["value"]), rel=1e-12)
    assert list(ours["n"]) == list(theirs["n"])
    assert list(ours["sd"].fillna(-1)) == pytest.approx(list(theirs["sd"].fillna(-1)), rel=1e-9)
    assert list(ours["article"]) == list(theirs["article"])
    assert list(ours["bench"]) == list(theirs["bench"])


def test_history_is_ready_for_the_chart():
    chart = check_standard_chart(check_standard_columns(archive()), base_period=12, bench="B2")
    assert len(chart.checks) == 24
    one_day = check_standard_columns(select_levels(archive(), bench="B1")).set_index("date").loc["2031-03-05"]
    # by hand: levels 5 + 0.01 * (35 % 11) and 5 + 0.01 * (38 % 11)
    assert one_day["value"] == pytest.approx((5.02 + 5.05) / 2)
    assert one_day["sd"] == pytest.approx(0.03 / 2**0.5)


def test_components_are_ready_for_their_analysis():
    table = components_columns(archive(), condition="dusty")
    # mount 1 of K01 in t1 and in t2 are two fittings
    assert len(table) == 24
    assert table.groupby("article")["mount"].nunique().tolist() == [4, 4, 4]
    assert set(table["mount"]) == {f"{t}/dusty/{m}" for t in ("t1", "t2") for m in "12"}
    assert set(variance_components(table, ["article", "mount"]).sd) == {"article", "mount", "residual"}
    reference = components_columns(archive(), role="reference")
    assert set(reference["mount"]) == {"t1/1", "t2/1"}


def test_what_cannot_be_compared_is_refused():
    with pytest.raises(
        ValueError, match="levels: found runs of the conditions 'dusty', 'cleaned'; accepted: one, chosen"
    ):
        components_columns(archive())
    with pytest.raises(ValueError, match="levels: found the units 'W', 'mW'; accepted: runs in one unit"):
        components_columns(levels_table([ROW, row(run="r02", unit="mW")]))
    with pytest.raises(ValueError, match="levels: found no reference run; accepted: one or more"):
        check_standard_columns(levels_table([ROW]))


def test_runs_still_moving_are_refused_used_or_left_out():
    table = levels_table([ROW, row(run="r02", settled="moving"), row(run="r03", settled="undecided")])
    with pytest.raises(
        ValueError, match="levels: found test runs still moving at their end, t1: r02; accepted: runs that"
    ):
        components_columns(table)
    assert list(components_columns(table, still_moving="use")["run"]) == ["r01", "r02", "r03"]
    assert list(components_columns(table, still_moving="leave out")["run"]) == ["r01", "r03"]
    with pytest.raises(ValueError, match="still_moving: found 'drop'; accepted: 'refuse', 'use', 'leave out'"):
        components_columns(table, still_moving="drop")
