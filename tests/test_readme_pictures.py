"""The pictures of README.md are made by the code and show what it draws today.

Compared coarsely, by blocks of eight pixels: bytes of a PNG and the edges of letters are a library's, what stands where
is not.
"""

from __future__ import annotations

import io
import re
from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from lossstats import analyse, read_trial
from lossstats.sheet.sheet import draw_pictures

ROOT = Path(__file__).parents[1]
LINKED = re.findall(r"!\[.+?\]\((.+?)\)", (ROOT / "README.md").read_text(encoding="utf-8"))
BLOCK, MOST = 8, 0.12


@cache
def drawn(folder: Path) -> dict[str, bytes]:
    return draw_pictures(analyse(folder))


def blocks(picture: Any) -> Any:
    """Mean grey of every block."""
    from matplotlib.image import imread

    grey = imread(picture, format="png")[..., :3].mean(axis=2)
    height, width = (size // BLOCK * BLOCK for size in grey.shape)
    return grey[:height, :width].reshape(height // BLOCK, BLOCK, width // BLOCK, BLOCK).mean(axis=(1, 3))


def differ(first: Any, second: Any) -> bool:
    one, other = blocks(first), blocks(second)
    return one.shape != other.shape or bool(np.abs(one - other).max() > MOST)


def test_there_are_pictures() -> None:
    assert LINKED


@pytest.mark.parametrize("path", LINKED)
def test_a_picture_is_what_the_code_draws(path: str) -> None:
    stored = ROOT / path
    again = drawn(stored.parents[1])[stored.stem]
    assert not differ(stored, io.BytesIO(again)), f"{path} is stale: run `lossstats analyse {stored.parents[1].name}`"


def test_a_small_change_is_seen() -> None:
    trial = read_trial(ROOT / "example_runs" / "flour_dust")
    comparison = replace(trial.settings.comparison, difference_that_matters=0.26)
    changed = replace(trial, settings=replace(trial.settings, comparison=comparison))
    now = drawn(ROOT / "example_runs" / "flour_dust")["saving"]
    assert differ(io.BytesIO(now), io.BytesIO(draw_pictures(analyse(changed))["saving"]))
