"""What an experiment on repeatability and reproducibility shows: numbers, tables, words."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Literal

import numpy as np

from lossstats.components.component_result import Components, dof_words, sd_words
from lossstats.components.outlier_tests import OutlierTest
from lossstats.records.argument_checks import refuse
from lossstats.records.estimate import Interval
from lossstats.records.rendering import Record, decimals_for, shown

if TYPE_CHECKING:
    import pandas as pd

LIMIT_FACTOR = 2.8  # ISO 5725-6, 4.1.4 (from memory): 1.96 times root of 2


@dataclass(frozen=True)
class Laboratory(Record):
    """One laboratory, bench, day or operator.

    Attributes
    ----------
    name : str
        Its label.
    n : int
        Values.
    mean : float
        Of them.
    sd : float or None
        Of them; None for a single value.
    h : float or None
        Mandel's h: distance of its mean from the mean of the means, in their standard deviations. None for fewer than
        three laboratories or equal means.
    h_mark : str
        ``"**"`` beyond the 1 % line, ``"*"`` beyond the 5 % line.
    k : float or None
        Mandel's k: its standard deviation over s_r. None for a single value, or where no other has two.
    k_mark : str
        As for h.
    k_limits : tuple of float or None
        Lines of k at 5 % and 1 %, by its own number of values.
    """

    name: str
    n: int
    mean: float
    sd: float | None
    h: float | None
    h_mark: str
    k: float | None
    k_mark: str
    k_limits: tuple[float, ...] | None

    title = "Laboratory"

    def _rows(self) -> list[tuple[str, str]]:
        h = "no h" if self.h is None else f"h {shown(self.h, 2)}{self.h_mark}"
        k = "no k" if self.k is None else f"k {shown(self.k, 2)}{self.k_mark}"
        return [(self.name, f"{self.n} value{'s' * (self.n > 1)}, mean {self.mean:.6g}, {h}, {k}")]


@dataclass(frozen=True)
class Precision(Record):
    """Standard deviations with some laboratories left out, or none.

    Attributes
    ----------
    left_out : tuple of str
        Which.
    laboratories : int
        How many are left.
    general_mean : float
        Of all values left.
    s_r, s_L, s_R : float
        Repeatability, between laboratories, reproducibility.
    variance_between : float
        Estimate behind s_L, possibly below 0.
    mean_number : float
        Values a laboratory, as the standard averages them.
    """

    left_out: tuple[str, ...]
    laboratories: int
    general_mean: float
    s_r: float
    s_L: float
    s_R: float
    variance_between: float
    mean_number: float

    title = "Precision"

    def _rows(self) -> list[tuple[str, str]]:
        places = decimals_for(self.s_r)
        numbers = ", ".join(f"{name} {shown(getattr(self, name), places)}" for name in ("s_r", "s_L", "s_R"))
        name = f"without {', '.join(self.left_out)}" if self.left_out else "with all"
        return [(name, f"{numbers}, mean {shown(self.general_mean, places)}")]


@dataclass(frozen=True)
class Repeatability(Record):
    """Agreement within and between laboratories (ISO 5725-2).

    Attributes
    ----------
    by : str
        What the laboratories are: laboratory, bench, day, operator.
    s_r, s_L, s_R : float
        Standard deviations of repeatability, between laboratories, of reproducibility, in `unit`.
    general_mean : float
        Of all values.
    variance_between : float
        Estimate behind s_L, possibly below 0.
    degrees_of_freedom : tuple of float
        Between laboratories, within.
    mean_number : float
        Values a laboratory, as the standard averages them.
    laboratories : tuple of Laboratory
        Each with its h and k; as a table in `table`.
    h_limits : tuple of float or None
        Lines of h at 5 % and 1 %; None for fewer than three laboratories.
    tests : tuple of OutlierTest
        Cochran and Grubbs.
    alternatives : tuple of Precision
        With all, then without those that a test flags; as a table in `without`.
    unit : str
        Of all of them.
    seed : int or None
        Of the draws behind the intervals.
    notes : tuple of str
        What a reader must know.
    """

    by: str
    s_r: float
    s_L: float
    s_R: float
    general_mean: float
    variance_between: float
    degrees_of_freedom: tuple[float, float]
    mean_number: float
    laboratories: tuple[Laboratory, ...]
    h_limits: tuple[float, float] | None
    tests: tuple[OutlierTest, ...]
    alternatives: tuple[Precision, ...]
    unit: str
    seed: int | None
    notes: tuple[str, ...]
    _components: Components = field(repr=False, compare=False)

    title = "Repeatability and reproducibility"

    @property
    def repeatability_limit(self) -> float:
        """Difference of two values of one laboratory that is exceeded in 5 % of cases.

        Returns
        -------
        float
            2.8 s_r, in `unit`.
        """
        return LIMIT_FACTOR * self.s_r

    @property
    def reproducibility_limit(self) -> float:
        """Difference of two values of two laboratories that is exceeded in 5 % of cases.

        Returns
        -------
        float
            2.8 s_R, in `unit`.
        """
        return LIMIT_FACTOR * self.s_R

    def interval(self, name: Literal["s_r", "s_L", "s_R"], confidence: float = 0.95) -> Interval:
        """Interval of one of the standard deviations.

        Parameters
        ----------
        name : {"s_r", "s_L", "s_R"}
            Which.
        confidence : float, default 0.95
            Between 0 and 1.

        Returns
        -------
        Interval
            Low and high, in `unit`; generalised, see `Components.interval`.

        Raises
        ------
        ValueError
            If there is no such name, or the confidence is not between 0 and 1.
        """
        if name == "s_R":
            return self._components.total_interval(confidence)
        levels = dict(zip(("s_L", "s_r"), self._components.levels, strict=True))
        if name not in levels:
            refuse("name", name, '"s_r", "s_L" or "s_R"')
        return self._components.interval(levels[name], confidence)

    @property
    def table(self) -> pd.DataFrame:
        """Table of the laboratories.

        Returns
        -------
        pandas.DataFrame
            Index laboratory (or bench, day, operator); columns n, mean, sd, h, h_mark, k, k_mark, tests; nan where
            there is no such number.
        """
        import pandas as pd

        rows = [
            {
                self.by: lab.name,
                "n": lab.n,
                "mean": lab.mean,
                **{key: np.nan if (x := getattr(lab, key)) is None else x for key in ("sd", "h", "h_mark", "k")},
                "k_mark": lab.k_mark,
                "tests": "; ".join(f"{t.name} {t.mark}" for t in self.tests if t.mark and lab.name in t.suspects),
            }
            for lab in self.laboratories
        ]
        return pd.DataFrame(rows).set_index(self.by)

    @property
    def without(self) -> pd.DataFrame:
        """Table of what leaving out would change; nothing has been left out of the result.

        Returns
        -------
        pandas.DataFrame
            Index left_out ("nothing" first); columns laboratories, general_mean, s_r, s_L, s_R.
        """
        import pandas as pd

        names = ["laboratories", "general_mean", "s_r", "s_L", "s_R"]
        rows = [[", ".join(a.left_out) or "nothing", *(getattr(a, n) for n in names)] for a in self.alternatives]
        return pd.DataFrame(rows, columns=["left_out", *names]).set_index("left_out")

    def _rows(self) -> list[tuple[str, str]]:
        places = decimals_for(self.s_r)
        unit = f" {self.unit}" if self.unit else ""
        between, within = map(dof_words, self.degrees_of_freedom)
        rows = [
            (f"s_r, within a {self.by}", f"{self._with_interval('s_r')}; {within}"),
            (f"s_L, between {plural(self.by)}", f"{self._with_interval('s_L')}; {between}"),
            ("s_R, both together", self._with_interval("s_R")),
            ("general mean", f"{shown(self.general_mean, places)}{unit}"),
            (plural(self.by), f"{len(self.laboratories)}, {sum(lab.n for lab in self.laboratories)} values"),
        ]
        if self.h_limits:
            rows.append(("lines of h", f"5 % {self.h_limits[0]:.2f}, 1 % {self.h_limits[1]:.2f}"))
        rows += [row for lab in self.laboratories for row in lab._rows()]
        rows += [row for test in self.tests for row in test._rows()]
        if len(self.alternatives) > 1:
            rows += [row for alternative in self.alternatives for row in alternative._rows()]
            rows.append(("left out", "nobody; the rows above show what it would change"))
        return rows + [("note", note) for note in self.notes]

    def _with_interval(self, name: Literal["s_r", "s_L", "s_R"]) -> str:
        return sd_words(getattr(self, name), self.interval(name), self.unit)


def plural(word: str) -> str:
    """More than one of them.

    Parameters
    ----------
    word : str
        Name of a column.

    Returns
    -------
    str
        Its plural, by the rule.

    Examples
    --------
    >>> plural("laboratory"), plural("day"), plural("bench")
    ('laboratories', 'days', 'benches')
    """
    if word.endswith("y") and not word.endswith(("ay", "ey", "oy", "uy")):
        return f"{word[:-1]}ies"
    return f"{word}es" if word.endswith(("s", "x", "ch", "sh")) else f"{word}s"
