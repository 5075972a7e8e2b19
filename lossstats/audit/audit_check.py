"""One check of a quoted figure: what was held against what, the verdict, and what would have to be true."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from lossstats.records.rendering import Record

CheckWord = Literal["agrees", "cannot all be true", "cannot be told", "above", "not above"]


@dataclass(frozen=True)
class Check(Record):
    """One check of the figures quoted beside the levels.

    Attributes
    ----------
    name : str
        What was held against what.
    verdict : {"agrees", "cannot all be true", "cannot be told", "above", "not above"}
        The last two where a size is asked for, not agreement.
    words : str
        Numbers, and what would have to be true.
    """

    name: str
    verdict: CheckWord
    words: str

    title = "Check"

    def _rows(self) -> list[tuple[str, str]]:
        return [(self.name, f"{self.verdict}; {self.words}")]
