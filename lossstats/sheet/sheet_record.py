"""Pieces of the result sheet that record how the result came about: settings, inputs, versions, reproduction."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping, Sequence
from shlex import quote
from typing import Any

from lossstats.sheet.sheet_page import paragraph, safe, table
from lossstats.trial_folder.settings import Column, Settings

CAUTIONS = (
    "Guards closed before the drive is started; drive locked out and at rest before hands go near a chain.",
    "No loose sleeves, gloves or hair near a moving drive; eye protection at the open bench.",
    "Chains and bearings can be hot after a run.",
    "Solvent, oven and ultrasonic bath by their data sheets, with ventilation and away from ignition.",
    "Local rules and licensed practice come first.",
)


def settings_tables(settings: Settings) -> str:
    """Show every key of trial.toml with its value.

    Parameters
    ----------
    settings : Settings
        As declared.

    Returns
    -------
    str
        HTML: one table a part of the file; what was left out there has its default.
    """
    parts = []
    for part in dataclasses.fields(settings):
        keys = getattr(settings, part.name)
        named = keys if isinstance(keys, Mapping) else {} if keys is None else {"": keys}
        for name, item in named.items():
            title = f"[{part.name}.{name}]" if name else f"[{part.name}]"
            rows = [(f.name, _declared(getattr(item, f.name))) for f in dataclasses.fields(item)]
            parts.append(table(title, ("key", "value"), rows, kind="small"))
    return f'<div class="keys">{"".join(parts)}</div>'


def _declared(value: Any) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, float):
        return f"{value:.10g}".replace("inf", "infinite")
    if isinstance(value, Column):
        return value.column if value.factor == 1 else f"{value.column} × {value.factor:.10g}"
    if dataclasses.is_dataclass(value):
        value = {f.name: getattr(value, f.name) for f in dataclasses.fields(value)}
    if isinstance(value, Mapping):
        return ", ".join(f"{name}: {_declared(item)}" for name, item in value.items()) or "none"
    if isinstance(value, Sequence) and not isinstance(value, str):
        return ", ".join(_declared(item) for item in value) or "none"
    return "not given" if value in (None, "") else str(value)


def inputs_table(inputs: Mapping[str, str]) -> str:
    """Show the input files with their SHA-256.

    Parameters
    ----------
    inputs : mapping of str to str
        File to SHA-256.

    Returns
    -------
    str
        HTML.
    """
    if not inputs:
        return paragraph("The trial was made in memory: there are no input files.")
    return table("SHA-256 of every input file", ("file", "SHA-256"), list(inputs.items()), kind="hash")


def versions_table(versions: Mapping[str, str]) -> str:
    """Show what the numbers were computed with.

    Parameters
    ----------
    versions : mapping of str to str
        Name to version.

    Returns
    -------
    str
        HTML.
    """
    return table("Computed with", ("name", "version"), list(versions.items()))


def how_to_reproduce(name: str) -> str:
    """Say how a reviewer recomputes the result.

    Parameters
    ----------
    name : str
        Name of the trial folder.

    Returns
    -------
    str
        HTML.
    """
    command = f"lossstats reproduce {quote(name) if name else 'FOLDER'}"
    return (
        paragraph(
            "Everything is recomputed from the raw files and compared with results/result.json, which holds every "
            "number unrounded; the first departure is named by its stage. In the folder above the trial:"
        )
        + f"<pre>{safe(command)}</pre>"
    )
