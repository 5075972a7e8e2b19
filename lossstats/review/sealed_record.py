"""The sealed record as a reviewer takes it from somebody else: read strictly, nothing in it passed over."""

from __future__ import annotations

import json
import re
import reprlib
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

from lossstats.conclusion.result import FORMAT, versions
from lossstats.review.record_differences import RECORD, Departure
from lossstats.trial_folder.faults import quoted

# As packages number themselves; a sentence is none.
_VERSION = re.compile(
    r"\d{1,6}(\.\d{1,6}){0,4}([._-]?(a|b|c|rc|alpha|beta|post|dev)\.?\d{0,8}){0,3}(\+[a-z0-9.]{0,12})?"
)
_LONGEST_NAME = 255  # of a folder, in bytes
_LONGEST_PATH = 1024
_MOST_DIGITS = 18
_SHOWN = ("inputs", "versions")  # the name is always quoted, and departs
_PRINTABLE = "characters that can be printed, on one line"
_SURROGATE = re.compile("[\ud800-\udfff]")
_SHORT = reprlib.Repr()
_SHORT.maxstring = _SHORT.maxother = 100


def read_sealed(path: Path) -> dict[str, Any]:
    """Read result.json.

    Parameters
    ----------
    path : Path
        The file.

    Returns
    -------
    dict
        Its content.

    Raises
    ------
    FileNotFoundError
        If there is none.
    ValueError
        If it is not JSON of the present format, a key stands twice (a reader sees the first, a program the last), or a
        text is none or cannot be printed where it is shown.
    """
    if not path.is_file():
        raise FileNotFoundError(
            f"{path}: found no sealed result; accepted: a folder that `lossstats analyse` has worked on"
        )
    try:
        sealed = json.loads(
            path.read_text(encoding="utf-8"),
            object_pairs_hook=_without_doubles,
            parse_constant=_no_number,
            parse_int=lambda digits: int(digits) if len(digits) <= _MOST_DIGITS else float(digits),
        )
    except _DoubleKeyError as error:
        raise ValueError(f"{path}: found {error}; accepted: every key once, as `lossstats analyse` wrote it") from None
    except (ValueError, RecursionError) as error:
        raise ValueError(
            f"{path}: found a file that is not JSON ({error}); accepted: the file that `lossstats analyse` wrote"
        ) from None
    if not isinstance(sealed, dict) or sealed.get("format") != FORMAT:
        found = sealed.get("format") if isinstance(sealed, dict) else type(sealed).__name__
        raise ValueError(
            f"{path}: found format {found!r}; accepted: format {FORMAT}. An older record is reproduced with the "
            "version of lossstats that it names under versions, or the trial is analysed anew with this one"
        )
    for key in ("inputs", "versions", "name"):
        value = sealed.get(key)
        texts = value.values() if isinstance(value, dict) and key != "name" else [value] if key == "name" else [None]
        if not all(isinstance(text, str) for text in texts):
            accepted = "as `lossstats analyse` wrote it"
            raise ValueError(f"{path}, {key}: found {_SHORT.repr(value)}; accepted: {accepted}")
    _check_texts(sealed, path)
    return sealed


def _check_texts(sealed: dict[str, Any], path: Path) -> None:
    try:
        odd = next(_odd_texts(sealed, ()), None)
    except RecursionError:
        odd = ("at some depth", "brackets too deep to be read", "a few levels of brackets")
    if odd is not None:
        place, found, accepted = odd
        raise ValueError(f"{path}, key {place}: found {found}; accepted: {accepted}")
    for name in sealed["inputs"]:
        if max(len(step.encode()) for step in name.split("/")) > _LONGEST_NAME or len(name) > _LONGEST_PATH:
            accepted = "names that a file can have"
            raise ValueError(
                f"{path}, key inputs: found {quoted(name)}, of {len(name)} characters; accepted: {accepted}"
            )


def _odd_texts(value: Any, path: tuple[str, ...]) -> Iterator[tuple[str, str, str]]:
    """Find keys, and values that are shown as they stand, that cannot be printed on one line, and text that is none."""
    place = " / ".join(path)
    if isinstance(value, dict):
        for key, item in value.items():
            if not key.isprintable():
                yield place or "at the top", f"the key {quoted(key)}", _PRINTABLE
            yield from _odd_texts(item, (*path, key))
    elif isinstance(value, list):
        for item in value:
            yield from _odd_texts(item, path)
    elif isinstance(value, str):
        if path[0] in _SHOWN and not value.isprintable():
            yield place, quoted(value), _PRINTABLE
        elif _SURROGATE.search(value):
            yield place, f"half a character in {quoted(value)}", "text in UTF-8"


class _DoubleKeyError(ValueError):
    pass


def _without_doubles(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    content = dict(pairs)
    if len(content) < len(pairs):
        names = [name for name, _ in pairs]
        double = next(name for name in names if names.count(name) > 1)
        raise _DoubleKeyError(f"the key {quoted(double)} twice")
    return content


def _no_number(word: str) -> None:
    raise ValueError(f"{word} is no number of JSON")


def odd_entries(sealed: Mapping[str, Any]) -> list[Departure]:
    """Find what is no name of a folder and no version in the entries that cannot be recomputed.

    Parameters
    ----------
    sealed : mapping
        Content of result.json.

    Returns
    -------
    list of Departure
        A name that no folder can have; versions of other things than Python and the libraries, or words in the place
        of a version.
    """
    departures = []
    name = sealed["name"]
    if len(name.encode("utf-8", "replace")) > _LONGEST_NAME or "/" in name or not (name.isprintable() or not name):
        departures.append(Departure(RECORD, "name", quoted(name), "no name that a folder can have"))
    known = versions()
    for key in dict.fromkeys([*sealed["versions"], *known]):
        stated = sealed["versions"].get(key)
        if stated is None:
            departures.append(Departure(RECORD, f"versions / {key}", "nothing", "a version is always stated"))
        elif key not in known:
            departures.append(Departure(RECORD, f"versions / {key}", quoted(stated), "nothing"))
        elif not _VERSION.fullmatch(stated):
            departures.append(Departure(RECORD, f"versions / {key}", quoted(stated), "no version"))
    return departures


def name_remark(sealed: str, folder: str) -> tuple[str, ...]:
    """Say that a record names another trial than its folder does.

    Parameters
    ----------
    sealed, folder : str
        Name in the record; name of the folder or bundle.

    Returns
    -------
    tuple of str
        One remark, or none: folders may be renamed, but the name stands on the sheet.
    """
    if sealed in (folder, ""):
        return ()
    return (f"sealed under the name {quoted(sealed)}, found under {quoted(folder)}; a name is no finding",)
