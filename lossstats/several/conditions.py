"""Unit values of several conditions, checked: the same articles in every condition, or other ones in each."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lossstats.records.units import unit_values

Array = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Conditions:
    """Unit values by condition.

    Attributes
    ----------
    values : dict of str to ndarray, shape (units,)
        In the order given.
    blocks : bool
        Whether the units are the same articles, in the same order, in every condition.
    """

    values: dict[str, Array]
    blocks: bool

    @property
    def names(self) -> tuple[str, ...]:
        """Name the conditions.

        Returns
        -------
        tuple of str
            In the order given.
        """
        return tuple(self.values)

    @property
    def n(self) -> dict[str, int]:
        """Count the units of each condition.

        Returns
        -------
        dict of str to int
            In the order given.
        """
        return {name: len(values) for name, values in self.values.items()}

    def slices(self) -> dict[str, slice]:
        """Find the cells of each condition, all conditions in one row.

        Returns
        -------
        dict of str to slice
            In the order given.
        """
        ends = np.cumsum(list(self.n.values()))
        return {name: slice(end - n, end) for (name, n), end in zip(self.n.items(), ends.tolist(), strict=True)}


def check_conditions(conditions: Any, blocks: Any) -> Conditions:
    """Check the unit values of several conditions and put blocks in one order.

    Parameters
    ----------
    conditions : mapping {name: values}
        Values: mapping {article: value}, pandas.Series or sequence of float, one value a unit.
    blocks : bool, sequence of str or None
        True: the same articles in every condition, as their names say, or in the same order where they have none.
        False: other articles in each. None: as the names of the articles say; without names, other articles.
        A sequence names the articles of unnamed values, in order.

    Returns
    -------
    Conditions
        Checked values.

    Raises
    ------
    TypeError
        If it is no mapping, or runs or samples are passed as units.
    ValueError
        If there are fewer than three conditions, fewer than two units in one, values that are not finite, or articles
        in some conditions only.
    """
    if not isinstance(conditions, Mapping):
        raise TypeError(
            f"conditions: found {type(conditions).__name__}; accepted: a mapping {{condition: unit values}}"
        )
    if len(conditions) < 3:
        raise ValueError(
            f"conditions: found {len(conditions)}; accepted: three or more; for two use compare_pairs or compare_groups"
        )
    values = {str(name): unit_values(str(name), given) for name, given in conditions.items()}
    articles = {str(name): _articles(given) for name, given in conditions.items()}
    if blocks is None or isinstance(blocks, bool):
        blocked = _same_articles(articles, wanted=blocks)
    else:
        blocked, articles = True, _named(values, articles, blocks)
    if not blocked:
        return Conditions(values, blocks=False)
    _check_lengths(values)
    order = next(iter(articles.values()))
    if order:
        values = {name: values[name][[articles[name].index(article) for article in order]] for name in values}
    return Conditions(values, blocks=True)


def _articles(given: Any) -> list[str]:
    if isinstance(given, Mapping):
        return [str(name) for name in given]
    # A Series without an index of its own counts 0, 1, 2: no names of articles.
    index = getattr(given, "index", None) if hasattr(given, "to_numpy") else None
    return [] if index is None or type(index).__name__ == "RangeIndex" else [str(name) for name in index]


def _same_articles(articles: Mapping[str, Sequence[str]], *, wanted: bool | None) -> bool:
    """Whether the conditions are blocks of the same articles; anything in between is refused."""
    sets = [set(names) for names in articles.values()]
    if not all(sets):
        if wanted and any(sets):
            lacking = next(name for name, names in articles.items() if not names)
            raise ValueError(f"{lacking}: found values without names of articles; accepted: names in all conditions")
        return bool(wanted)
    every, some = set.intersection(*sets), set.union(*sets)
    shared = sorted(name for name in some if sum(name in names for names in sets) > 1)
    if every == some and wanted is not False:
        return True
    if wanted:
        raise ValueError(
            f"blocks: found {sorted(some - every)[0]} in some conditions only; accepted: every article in every "
            "condition"
        )
    if shared:
        raise ValueError(
            f"blocks: found {shared[0]} in more than one condition; accepted: every article in every condition, or "
            "other articles in each"
        )
    return False


def _named(
    values: Mapping[str, Array], articles: Mapping[str, Sequence[str]], blocks: Sequence[Any]
) -> dict[str, list[str]]:
    names = [str(name) for name in blocks]
    if len(set(names)) < len(names):
        raise ValueError("blocks: found an article twice; accepted: every article once")
    for condition, found in values.items():
        if articles[condition]:
            raise ValueError(
                f"blocks: found names of articles in {condition} as well; accepted: True, or unnamed values"
            )
        if len(found) != len(names):
            raise ValueError(
                f"blocks: found {len(names)} articles and {len(found)} values of {condition}; accepted: as many"
            )
    return dict.fromkeys(values, names)


def _check_lengths(values: Mapping[str, Array]) -> None:
    lengths = {len(found) for found in values.values()}
    if len(lengths) > 1:
        found = ", ".join(f"{name} {len(v)}" for name, v in values.items())
        raise ValueError(
            f"blocks: found {found} values; accepted: as many in every condition, the same articles in order"
        )
