"""The result sheet held against the one that the recomputed result gives: its words, its pictures point by point."""

from __future__ import annotations

import io
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from lossstats.conclusion.result import versions
from lossstats.review.record_differences import Departure, text_difference
from lossstats.sheet.sheet import PAGE, draw_pictures, make_page
from lossstats.sheet.sheet_page import pictures_on, without_pictures

if TYPE_CHECKING:
    from lossstats.conclusion.result import Result

SHEET = "result sheet"
ROUGHLY = (
    "pictures could only be compared roughly, by the means of squares of 16 points, because they were drawn with "
    "another matplotlib or numpy than is installed: a bar that was moved is seen, another word may not be"
)
# Of 255: another processor may round the edge of a line otherwise.
_EXACT = 2 / 255
_SQUARE = 16
# Pictures of four trials drawn with matplotlib 3.9.4 and 3.11.2 are 0.175 apart at most (3.11.0 and 3.11.2: 0.008);
# the picture of a saving that is half as large again is 0.28 and more from the true one.
_ROUGH = 0.2
_SIGNATURE = b"\x89PNG\r\n\x1a\n"
# No animation, no colour profile, no text: what is seen is what is compared.
_CHUNKS = {b"IHDR", b"IDAT", b"IEND", b"pHYs"}


def drawn_alike(sealed: Mapping[str, str]) -> bool:
    """Say whether a picture drawn again must be the same, point by point.

    Parameters
    ----------
    sealed : mapping of str to str
        Versions in the record.

    Returns
    -------
    bool
        True where matplotlib and numpy are those that are installed.
    """
    here = versions()
    return all(sealed.get(name) == here[name] for name in ("matplotlib", "numpy"))


def sheet_differences(results: Path, result: Result, sealed: Mapping[str, Any]) -> tuple[int, list[Departure]]:
    """Hold page and pictures against those that the recomputed result gives.

    Parameters
    ----------
    results : Path
        Folder of results.
    result : Result
        Recomputed, its samples with it.
    sealed : mapping
        Content of result.json.

    Returns
    -------
    pictures : int
        How many were drawn again.
    departures : list of Departure
        The first line of the page that differs; pictures on it, in their order, and beside it that show something else.
    """
    # As it was sealed: name of the folder and versions are no part of what is recomputed.
    like = replace(result, name=sealed["name"], versions=sealed["versions"])
    runs = () if result._trial is None else result._trial.runs
    drawn = draw_pictures(like, {run.name: (run.time_s, run.values) for run in runs})
    exact = drawn_alike(sealed["versions"])
    departures = _on_the_page(results / PAGE, make_page(like, drawn), exact=exact)
    for name, png in drawn.items():
        path = results / f"{name}.png"
        found = picture_difference(path.read_bytes(), png, exact=exact) if path.is_file() else "no such file"
        if found:
            departures.append(Departure(SHEET, path.name, "a picture of this result", found))
    return len(drawn), departures


def _on_the_page(path: Path, like: str, *, exact: bool) -> list[Departure]:
    if not path.is_file():
        return [Departure(SHEET, PAGE, "a page", "no such file")]
    page = path.read_text(encoding="utf-8", errors="replace")
    departures = text_difference(SHEET, PAGE, without_pictures(page), without_pictures(like))
    pictures, wanted = pictures_on(page), pictures_on(like)
    if len(pictures) != len(wanted):
        departures.append(Departure(SHEET, PAGE, f"{len(pictures)} pictures", f"{len(wanted)} pictures"))
    for number, (png, again) in enumerate(zip(pictures, wanted, strict=False), start=1):
        if found := picture_difference(png, again, exact=exact):
            departures.append(Departure(SHEET, f"{PAGE}, picture {number}", "a picture of this result", found))
    return departures


def picture_difference(png: bytes, again: bytes, *, exact: bool) -> str:
    """Say in what a picture differs from the one drawn again.

    Parameters
    ----------
    png, again : bytes
        Content of PNG files; the second one was just drawn.
    exact : bool
        Whether every point must agree to 2 of 255 steps; else the means of squares of 16 by 16 points must, to a
        fifth of the scale: lettering may lie elsewhere by a point or two, a bar may not.

    Returns
    -------
    str
        Empty if it does not differ.
    """
    if png == again:
        return ""
    # The size is looked at before anything is unpacked.
    if not _plain(png) or png[16:24] != again[16:24]:
        return "a picture of another size or kind, drawn again"
    from matplotlib.image import imread

    try:
        one, other = (np.asarray(imread(io.BytesIO(data), format="png"), dtype=float) for data in (png, again))
    except (OSError, ValueError, SyntaxError, EOFError):
        return "a picture that cannot be read"
    if one.shape != other.shape:
        return "a picture of another kind, drawn again"
    apart = np.abs(one - other) if exact else np.abs(_squares(one - other))
    where = int(np.count_nonzero(apart.max(axis=-1) > (_EXACT if exact else _ROUGH)))
    return f"drawn again, other at {where} {'points' if exact else 'squares'}" if where else ""


def _squares(values: np.ndarray[Any, Any]) -> np.ndarray[Any, Any]:
    """Means over squares; what is left over at the edges goes into the last ones."""
    rows, columns = (np.arange(0, max(size - _SQUARE + 1, 1), _SQUARE) for size in values.shape[:2])
    sums = np.add.reduceat(np.add.reduceat(values, rows, axis=0), columns, axis=1)
    counts = np.outer(np.diff([*rows, values.shape[0]]), np.diff([*columns, values.shape[1]]))
    return np.asarray(sums / counts[..., np.newaxis])


def _plain(png: bytes) -> bool:
    """Whether it is a PNG of the plainest kind, to its last byte."""
    at = len(_SIGNATURE)
    while png.startswith(_SIGNATURE) and at + 12 <= len(png):
        length, kind = int.from_bytes(png[at : at + 4], "big"), png[at + 4 : at + 8]
        at += 12 + length
        if kind not in _CHUNKS:
            return False
        if kind == b"IEND":
            return at == len(png)
    return False
