"""The result sheet: one self-contained page with the figures beside it."""

from __future__ import annotations

from collections.abc import Mapping
from html import escape
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from lossstats.result import Result

Traces = Mapping[str, tuple[NDArray[np.float64], NDArray[np.float64]]]


def write_sheet(result: Result, folder: str | Path, *, traces: Traces | None = None) -> Path:
    """Write result_sheet.html and the figures of a finished result into a folder.

    Parameters
    ----------
    result : Result
        The finished result.
    folder : path
        An existing folder; only files inside it are written.
    traces : mapping of str to (ndarray, ndarray), optional
        Time in s and readings of the runs, by run.

    Returns
    -------
    Path
        The page.
    """
    page = Path(folder) / "result_sheet.html"
    title = escape(result.name or "Result")
    body = result._repr_html_()
    page.write_text(
        f'<!DOCTYPE html>\n<html lang="en"><head><meta charset="utf-8"><title>{title}</title></head>'
        f"<body><h1>{title}</h1>{body}</body></html>\n",
        encoding="utf-8",
    )
    return page
