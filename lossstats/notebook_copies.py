"""A working copy of the guided notebooks beside an analyst's own trial, pointed at that trial."""

from __future__ import annotations

import json
import os
import re
import secrets
import shutil
from importlib import resources
from pathlib import Path
from typing import Any

from lossstats.trial_folder import trial_toml

FOLDER = "notebooks"
EXAMPLES = "example_runs"
HISTORY = "check_history.csv"
_README = """\
# Invented examples

Some cells of the notebooks show an invented trial beside your own. Every reading here comes from the kit's own bench
simulator with a stored seed; no real chain or bench stands behind it. Your own trial lies two folders up.
"""


def find_notebooks() -> tuple[Path, ...]:
    """Find the guided notebooks: those of the installed package, or those of the checkout it runs from.

    Returns
    -------
    tuple of Path
        In the order of the work.

    Raises
    ------
    FileNotFoundError
        If there are none in either place.
    """
    package = Path(str(resources.files("lossstats")))
    for place in (package / FOLDER, package.parent / FOLDER):
        found = sorted(place.glob("[0-9][0-9]_*.ipynb"))
        if found:
            return tuple(found)
    raise FileNotFoundError(
        f"{FOLDER}: found no notebook in the package or beside it; accepted: an installation from the project's folder"
    )


def copy_notebooks(folder: str | os.PathLike[str]) -> tuple[Path, ...]:
    """Write a working copy of the guided notebooks into a trial folder, whole or not at all.

    Parameters
    ----------
    folder : path
        A trial folder. It may still be without samples.

    Returns
    -------
    tuple of Path
        The notebooks in ``FOLDER/notebooks``, without outputs. Their parameters name the trial they lie beside.

    Raises
    ------
    FileNotFoundError
        If there is no trial.toml.
    FileExistsError
        If there is something by the name ``notebooks`` already; nothing is written.

    Notes
    -----
    Cells that show an invented trial beside one's own read it from ``notebooks/example_runs``, which is written too.
    A history of checks with the reference article is read from ``check_history.csv`` in the trial folder where there
    is one, else from the invented example.
    """
    path = Path(folder)
    if not (path / trial_toml.FILE).is_file():
        raise FileNotFoundError(
            f"{path}: found no {trial_toml.FILE}; accepted: a trial folder, such as `lossstats new` writes"
        )
    target = path / FOLDER
    _refuse_existing(target)
    sources = find_notebooks()
    values = _own_values(path)
    draft = path / f".{FOLDER}.{secrets.token_hex(4)}"
    draft.mkdir()
    try:
        for source in sources:
            text = pointed_at(source.read_text(encoding="utf-8"), values)
            (draft / source.name).write_text(text, encoding="utf-8", newline="\n")
        _write_examples(draft / EXAMPLES)
        draft.rename(target)
    except BaseException:
        shutil.rmtree(draft, ignore_errors=True)
        raise
    return tuple(target / source.name for source in sources)


def _refuse_existing(target: Path) -> None:
    if not os.path.lexists(target):
        return
    inside = sorted(p.name for p in target.iterdir()) if target.is_dir() else []
    name = f"{FOLDER}/{inside[0]}" if inside else FOLDER
    more = f" and {len(inside) - 1} more" if len(inside) > 1 else ""
    raise FileExistsError(
        f"{name}: found such a file{more}; accepted: a trial folder without {FOLDER}/ (give yours another name)"
    )


def _own_values(folder: Path) -> dict[str, str]:
    # Parameters by name, as Python text; a parameter that is not named here stays as it is.
    values = {"trial_folder": '".."', "truth_known_for": '""'}
    if (folder / HISTORY).is_file():
        values |= {"history_file": f'"../{HISTORY}"', "truth_known": "False"}
    return values


def pointed_at(text: str, values: dict[str, str]) -> str:
    """Set parameters of a notebook and clear its outputs.

    Parameters
    ----------
    text : str
        The notebook, as JSON.
    values : dict of str to str
        Name of a parameter to its value as Python text; only cells tagged ``parameters`` are changed.

    Returns
    -------
    str
        The notebook, as JSON. Paths to the examples lead to a folder beside the notebook, not above it.
    """
    notebook: dict[str, Any] = json.loads(text)
    for cell in notebook["cells"]:
        source = "".join(cell["source"])
        if "parameters" in cell["metadata"].get("tags", []):
            for name, value in values.items():
                source = re.sub(rf"(?m)^{name} = .*$", f"{name} = {value}".replace("\\", r"\\"), source)
        cell["source"] = source.replace(f"../{EXAMPLES}/", f"{EXAMPLES}/").splitlines(keepends=True)
        if cell["cell_type"] == "code":
            cell["outputs"], cell["execution_count"] = [], None
    return json.dumps(notebook, indent=1, ensure_ascii=False) + "\n"


def _write_examples(folder: Path) -> None:
    from lossstats.bench.bench_examples import write_bench_examples
    from lossstats.simulator.examples import write_examples

    write_examples(folder)
    write_bench_examples(folder)
    (folder / "README.md").write_text(_README, encoding="utf-8", newline="\n")
