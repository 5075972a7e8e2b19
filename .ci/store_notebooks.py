"""Store notebooks run and clean, or say what is wrong with stored ones.

    python .ci/store_notebooks.py notebooks/*.ipynb            run from a fresh kernel, store clean
    python .ci/store_notebooks.py --check notebooks/*.ipynb    a line a fault; exit status 1 if there are any

The stored outputs are the reference of the tests (`pytest --nbval`), and a notebook without outputs passes those
tests with nothing compared. So notebooks are stored run, and in one form, without anything of the machine that ran
them: a reviewer then sees only what has changed.
"""

from __future__ import annotations

import re
import sys
from collections.abc import Iterator
from pathlib import Path

import nbformat
from nbclient import NotebookClient
from nbformat import NotebookNode

KERNEL = {"display_name": "Python 3 (ipykernel)", "language": "python", "name": "python3"}
LANGUAGE = {"name": "python"}
NEEDED_TAGS = ("setup", "parameters", "checks", "solution")
MOST_LINES = 8
MOST_BYTES = 700_000
LIMIT_S = 300
# A path of one machine (a root folder with two more levels, a home, a drive letter), or an address on the web.
PRIVATE = re.compile(
    r"(?<![\w.~/])/(home|root|tmp|var|usr|opt|srv|mnt|Users)/\w|(?<![\w.~/:])(/[\w.-]+){3}|\b[A-Za-z]:\\|site-packages"
)
ADDRESS = re.compile(r"\bat 0x[0-9a-f]{6,}")


def run(path: Path, folder: Path | None = None) -> NotebookNode:
    """Run a notebook from a fresh kernel, in its own folder unless another one is given."""
    notebook = nbformat.read(path, as_version=4)
    where = {"metadata": {"path": str(folder or path.parent)}}
    NotebookClient(notebook, timeout=LIMIT_S, record_timing=False, resources=where).execute()
    return notebook


def clean(notebook: NotebookNode) -> NotebookNode:
    """Keep sources, outputs and tags; nothing of the machine and the clock."""
    notebook.metadata = NotebookNode(kernelspec=NotebookNode(KERNEL), language_info=NotebookNode(LANGUAGE))
    for cell in notebook.cells:
        tags = cell.metadata.get("tags")
        cell.metadata = NotebookNode(tags=tags) if tags else NotebookNode()
        for output in cell.get("outputs", []):
            if "metadata" in output:
                output.metadata = NotebookNode()
    return notebook


def store(path: Path) -> None:
    """Run in place and store clean."""
    nbformat.write(clean(run(path)), path)


def faults(path: Path) -> Iterator[str]:
    """Everything that is wrong with the form of a stored notebook."""
    notebook = nbformat.read(path, as_version=4)
    code = [cell for cell in notebook.cells if cell.cell_type == "code"]
    counts = [cell.execution_count for cell in code]
    if counts != list(range(1, len(counts) + 1)):
        yield f"run counts: found {counts}; accepted: every cell run once, in order, from a fresh kernel"
    if not any(cell.outputs for cell in code):
        yield "outputs: found none; accepted: the outputs of a run, which the tests compare"
    if notebook.metadata != {"kernelspec": KERNEL, "language_info": LANGUAGE}:
        yield f"metadata of the notebook: found {sorted(notebook.metadata)}; accepted: the fixed kernel and language"
    if path.stat().st_size > MOST_BYTES:
        yield f"size: found {path.stat().st_size} bytes; accepted: at most {MOST_BYTES}"
    found_tags = {tag for cell in notebook.cells for tag in cell.metadata.get("tags", [])}
    for tag in NEEDED_TAGS:
        if tag not in found_tags:
            yield f"tags: found no cell tagged {tag}; accepted: at least one"
    yield from _text_faults(notebook)
    for number, cell in enumerate(notebook.cells):
        yield from (f"cell {number}: {fault}" for fault in _cell_faults(cell))


def _text_faults(notebook: NotebookNode) -> Iterator[str]:
    text = [line for cell in notebook.cells if cell.cell_type == "markdown" for line in cell.source.splitlines()]
    titles = [line for line in text if line.startswith("# ")]
    if len(titles) != 1:
        yield f"headings: found {len(titles)} of the first order; accepted: 1, the title"


def _cell_faults(cell: NotebookNode) -> Iterator[str]:
    if not cell.source.strip():
        yield "found no source; accepted: a filled cell"
    if PRIVATE.search(cell.source):
        yield "the source names a path of one machine or an installation"
    noise = set(cell.metadata) - {"tags"}
    if noise:
        yield f"metadata: found {sorted(noise)}; accepted: tags"
    lines = len(cell.source.splitlines())
    if cell.cell_type == "code" and lines > MOST_LINES and "setup" not in cell.metadata.get("tags", []):
        yield f"found {lines} lines of code; accepted: at most {MOST_LINES}"
    for output in cell.get("outputs", []):
        yield from _output_faults(output)


def _output_faults(output: NotebookNode) -> Iterator[str]:
    if output.output_type == "error":
        yield f"holds an error, {output.ename}; accepted: a cell that runs, or shows the error as text"
    if output.get("name") == "stderr":
        yield "writes to stderr; accepted: neither warnings nor progress bars"
    data = output.get("data", {})
    if "image/svg+xml" in data:
        yield "holds an SVG, whose bytes differ from run to run; accepted: PNG"
    if output.get("metadata"):
        yield f"metadata of an output: found {sorted(output.metadata)}; accepted: none"
    text = "".join(str(value) for kind, value in data.items() if kind.startswith("text/")) + str(output.get("text", ""))
    if PRIVATE.search(text):
        yield "an output shows a path of one machine or an installation"
    if ADDRESS.search(text):
        yield "an output shows an address in memory"


def main(names: list[str], *, only_check: bool) -> int:
    """Exit status: 0 if every notebook is in good form."""
    count = 0
    for path in map(Path, names):
        if not only_check:
            store(path)
        for fault in faults(path):
            count += 1
            print(f"{path.name}: {fault}")
    return int(count > 0)


if __name__ == "__main__":
    notebooks = [name for name in sys.argv[1:] if name != "--check"]
    if not notebooks:
        sys.exit("found no notebook; accepted: one notebook or more, and --check to run and store nothing")
    sys.exit(main(notebooks, only_check="--check" in sys.argv))
