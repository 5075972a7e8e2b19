"""What a stored notebook must not hold besides what storing it refuses (`.ci/store_notebooks.py`).

``pytest --nbval`` compares text to the last character and obeys tags that silence it. So: no silenced cell, nothing
whose text differs from run to run or from version to version, no line that breaks in the page, no pointer to a
notebook that is not there.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import nbformat
import pytest

FOLDER = Path(__file__).parents[1] / "notebooks"
NOTEBOOKS = sorted(FOLDER.glob("*.ipynb"))
NAMES = {path.name for path in NOTEBOOKS}
SILENCING = {"nbval-ignore-output", "nbval-skip", "skip-execution", "raises-exception", "nbval-raises-exception"}
KINDS = {"text/plain", "text/html", "image/png"}
WIDEST = 120
CHANGING = {
    "the random id of a styled table": re.compile(r'id="T_[0-9a-f]{5}'),
    "a progress bar": re.compile(r"\d(it|run)/s|\d%\|"),
    "a number to more digits than versions agree in": re.compile(r"\d\.\d{9,}"),
    "a numpy scalar, whose look is a version's": re.compile(r"np\.(float|int)\d+\("),
}


def lint(notebook: Any) -> Iterator[str]:
    nbformat.validate(notebook)
    for number, cell in enumerate(notebook.cells):
        for name in sorted(set(re.findall(r"\d\d_\w+\.ipynb", cell.source)) - NAMES):
            yield f"cell {number}: points to {name}, which is not there"
        for tag in sorted(SILENCING & set(cell.metadata.get("tags", []))):
            yield f"cell {number}: tagged {tag}, so that nothing in it is compared"
        if cell.cell_type == "code":
            if cell.source.rstrip().endswith(";"):
                yield f"cell {number}: ends with a semicolon, which silences nothing here"
            for output in cell.outputs:
                yield from (f"cell {number}: {fault}" for fault in output_faults(output))


def output_faults(output: Any) -> Iterator[str]:
    data = dict(output.get("data", {}))
    for kind in sorted(set(data) - KINDS):
        yield f"an output of the kind {kind}; accepted: {', '.join(sorted(KINDS))}"
    printed = str(output.get("text", ""))
    text = printed + "".join(str(data.get(kind, "")) for kind in ("text/plain", "text/html"))
    for what, pattern in CHANGING.items():
        if pattern.search(text):
            yield f"an output shows {what}"
    if any(len(line) > WIDEST for line in printed.splitlines()):
        yield f"a printed line has more than {WIDEST} characters and breaks in the page"


@pytest.mark.parametrize("path", NOTEBOOKS, ids=[path.stem for path in NOTEBOOKS])
def test_nothing_silenced_nothing_that_changes(path: Path) -> None:
    assert list(lint(nbformat.read(path, as_version=4))) == []


def test_numbers_are_those_of_the_work() -> None:
    assert [path.name[:2] for path in NOTEBOOKS] == [f"{k:02d}" for k in range(1, len(NOTEBOOKS) + 1)]


def cell(source: str = "x = 1", tag: str = "setup", **output: Any) -> Any:
    outputs = [nbformat.v4.new_output(**output)] if output else []
    return nbformat.v4.new_code_cell(source, metadata={"tags": [tag]}, outputs=outputs, execution_count=1)


def shown(kind: str, text: str) -> dict[str, Any]:
    return {"output_type": "display_data", "data": {kind: text}}


def printed(text: str) -> dict[str, Any]:
    return {"output_type": "stream", "name": "stdout", "text": text}


@pytest.mark.parametrize(
    ("bad", "message"),
    [
        (cell(tag="nbval-skip"), "tagged nbval-skip"),
        (cell(tag="nbval-ignore-output"), "tagged nbval-ignore-output"),
        (cell("plt.plot(x);"), "ends with a semicolon"),
        (cell("# see 98_no_such.ipynb"), "points to 98_no_such.ipynb, which is not there"),
        (cell(**shown("image/svg+xml", "<svg/>")), "of the kind image/svg"),
        (cell(**shown("application/vnd.jupyter.widget-view+json", "{}")), "widget-view"),
        (cell(**shown("text/html", '<table id="T_1a2b3">')), "random id"),
        (cell(**shown("text/plain", "0.1234567891")), "more digits"),
        (cell(**printed("12%|#2  | 3/25 [00:01<00:09, 2.41run/s]\n")), "progress bar"),
        (cell(**shown("text/plain", "np.float64(0.5)")), "numpy scalar"),
        (cell(**printed("-" * 121 + "\n")), "more than 120 characters"),
    ],
)
def test_what_is_refused(bad: Any, message: str) -> None:
    (found,) = lint(nbformat.v4.new_notebook(cells=[bad]))
    assert message in found


def test_what_passes() -> None:
    good = [
        cell("# 01_start_here.ipynb"),
        cell(**printed("saving 0.429 W, p = 6e-05, 100 %\n")),
        cell(**shown("image/png", "")),
    ]
    assert list(lint(nbformat.v4.new_notebook(cells=good))) == []
