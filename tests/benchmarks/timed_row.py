"""One line of the table of speeds."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any


@dataclass(frozen=True)
class TimedRow:
    """A call of ours, the same by a peer (None: a plain time), what holds them equal, and how often both are timed."""

    name: str
    peer_name: str
    ours: Callable[[], Any]
    peer: Callable[[], Any] | None
    agree: Callable[[], bool]
    target: str
    pairs: int = 7
