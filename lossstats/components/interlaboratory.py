"""Repeatability and reproducibility by ISO 5725-2: s_r, s_L, s_R, and which laboratory, bench or operator differs."""

from __future__ import annotations

import math
from collections.abc import Collection
from typing import Any

import numpy as np

from lossstats.components.anova import one_way_anova
from lossstats.components.component_result import Components, dof_words
from lossstats.components.components import DEFAULT_SEED, variance_components
from lossstats.components.grubbs_pairs import grubbs_pair_test
from lossstats.components.nested_table import Array, read_nested_table
from lossstats.components.outlier_tests import (
    OUTLIER,
    STRAGGLER,
    OutlierTest,
    cochran_test,
    grubbs_test,
    mandel_h_limit,
    mandel_k_limit,
)
from lossstats.components.precision_result import Laboratory, Precision, Repeatability, plural

FEW_LABORATORIES, FEW_DOF = 8, 10


def repeatability(
    table: Any,
    *,
    by: str = "laboratory",
    value: str = "value",
    unit: str = "",
    rng: np.random.Generator | int = DEFAULT_SEED,
) -> Repeatability:
    """Tell how well values agree within a laboratory and between laboratories, and who stands out.

    Parameters
    ----------
    table : pandas.DataFrame or mapping of str to sequence
        One row a value: the same article, or articles as good as the same, measured in every laboratory.
    by : str, default "laboratory"
        Column that names the laboratories; as well benches, days or operators.
    value : str, default "value"
        Column of the values.
    unit : str, optional
        Unit of the values, for the words.
    rng : Generator or int, default 1
        Generator or seed of the draws behind the intervals.

    Returns
    -------
    Repeatability
        Standard deviations, h and k of every laboratory, tests. Nobody is left out; `without` shows what leaving out
        would change.

    Raises
    ------
    TypeError
        If the table is no table of columns.
    ValueError
        If a column is missing, a label empty, a value not finite; if there is one laboratory only, or one value each;
        or if the values within the laboratories do not differ at all.

    Notes
    -----
    ISO 5725-2:1994, 7.3 and 7.4 (from memory, recomputed): s_r is pooled; s_L**2 = (s_d**2 - s_r**2) / n with the mean
    square between laboratories s_d**2 and n = (N - sum n_i**2 / N) / (p - 1); s_R**2 = s_r**2 + s_L**2, an s_L**2 below
    0 taken as 0. The standard's tables are replaced by the distributions that they tabulate, for unequal numbers too;
    h is then about the plain mean of the laboratory means. Two means together are tested where the one is no outlier
    by itself (7.3.4), since one far mean makes any neighbour look like its partner.

    Examples
    --------
    >>> table = {"bench": ["A", "A", "B", "B", "C", "C"], "value": [6.1, 6.2, 6.5, 6.6, 6.2, 6.2]}
    >>> found = repeatability(table, by="bench", unit="W")
    >>> round(found.s_r, 3), round(found.s_R, 3)
    (0.058, 0.222)
    """
    components = variance_components(table, [by], value=value, unit=unit, rng=rng)
    nested = read_nested_table(table, [by], value=value)
    groups = {name: nested.values[nested.codes[0] == k] for k, name in enumerate(nested.names[0])}
    whole = _precision(groups, ())
    tests, missing = _tests(groups, by, alike=_alike(groups, whole.s_r))
    suspects = _suspects(tests)
    return Repeatability(
        by=by,
        s_r=whole.s_r,
        s_L=whole.s_L,
        s_R=whole.s_R,
        general_mean=whole.general_mean,
        variance_between=whole.variance_between,
        degrees_of_freedom=(len(groups) - 1.0, float(len(nested.values) - len(groups))),
        mean_number=whole.mean_number,
        laboratories=_laboratories(groups, whole.s_r),
        h_limits=None if len(groups) < 3 else (mandel_h_limit(len(groups), 0.05), mandel_h_limit(len(groups), 0.01)),
        tests=tests,
        alternatives=(whole, *_alternatives(groups, suspects)),
        unit=unit,
        seed=components.seed,
        notes=(*_notes(groups, whole, by, components), *missing, *_lost(groups, suspects, by)),
        _components=components,
    )


def _precision(groups: dict[str, Array], left_out: tuple[str, ...]) -> Precision:
    kept = [values for name, values in groups.items() if name not in left_out]
    analysis = one_way_anova(kept)
    between, within = analysis.mean_squares
    n = np.array([len(values) for values in kept], dtype=float)
    mean_number = float((n.sum() - np.sum(n**2) / n.sum()) / (len(n) - 1))
    variance_between = (between - within) / mean_number
    s_r, s_l = math.sqrt(within), math.sqrt(max(variance_between, 0.0))
    general_mean = float(np.concatenate(kept).mean())
    return Precision(left_out, len(kept), general_mean, s_r, s_l, math.hypot(s_r, s_l), variance_between, mean_number)


def _laboratories(groups: dict[str, Array], s_r: float) -> tuple[Laboratory, ...]:
    means = np.array([values.mean() for values in groups.values()])
    deviations = means - means.mean()
    sd, alike = float(np.std(means, ddof=1)), _alike(groups, s_r)
    dof_of_all = float(sum(len(values) - 1 for values in groups.values()))
    found = []
    for (name, values), deviation in zip(groups.items(), deviations, strict=True):
        dof = len(values) - 1.0
        h = float(deviation) / sd if len(groups) >= 3 and not alike else None
        s = float(values.std(ddof=1)) if dof else None
        shared = s is not None and dof < dof_of_all
        k = s / s_r if shared and s is not None else None
        limits = tuple(mandel_k_limit(dof, dof_of_all, a) for a in (STRAGGLER, OUTLIER)) if shared else None
        h_mark = _mark(abs(h), [mandel_h_limit(len(groups), a) for a in (STRAGGLER, OUTLIER)]) if h is not None else ""
        k_mark = _mark(k, limits) if k is not None and limits is not None else ""
        found.append(Laboratory(name, len(values), float(values.mean()), s, h, h_mark, k, k_mark, limits))
    return tuple(found)


def _mark(found: float, limits: Any) -> str:
    return "**" if found > limits[1] else "*" if found > limits[0] else ""


def _alike(groups: dict[str, Array], s_r: float) -> bool:
    """Whether the means differ by no more than rounding in their computation."""
    return bool(np.ptp([values.mean() for values in groups.values()]) <= 1e-9 * s_r)


def _tests(groups: dict[str, Array], by: str, *, alike: bool) -> tuple[tuple[OutlierTest, ...], list[str]]:
    """Every test that the numbers allow, and why the others are missing."""
    several = {name: values for name, values in groups.items() if len(values) > 1}
    tests, missing = [], []
    if len(several) >= 2:
        sds = np.array([values.std(ddof=1) for values in several.values()])
        tests.append(cochran_test(sds, np.array([len(v) - 1.0 for v in several.values()]), list(several)))
    else:
        missing.append(f"no test of Cochran: one {by} only has two values or more")
    means, names = np.array([values.mean() for values in groups.values()]), list(groups)
    if alike:
        return tuple(tests), [*missing, f"no h and no test of Grubbs: the means of the {plural(by)} are all the same"]
    for high in (True, False) if len(means) >= 3 else ():
        tests.append(grubbs_test(means, names, high=high))
        if tests[-1].mark == "**":
            missing.append(f"{tests[-1].suspects[0]} stands out alone: no test of two means together on that side")
        elif len(means) >= 4:
            tests.append(grubbs_pair_test(means, names, high=high))
    if len(means) < 3:
        missing.append(f"no h and no test of Grubbs: {len(means)} {plural(by)}, three are the fewest")
    if len(means) == 3:
        missing.append(f"no test of Grubbs of two means together: {len(means)} {plural(by)}, four are the fewest")
    return tuple(tests), missing


def _suspects(tests: Collection[OutlierTest]) -> dict[str, tuple[str, ...]]:
    """Laboratories flagged by each mark, in the order of the tests."""
    outliers = dict.fromkeys(name for test in tests if test.mark == "**" for name in test.suspects)
    flagged = dict.fromkeys(name for test in tests if test.mark for name in test.suspects)
    return {"**": tuple(outliers), "*": tuple(flagged)}


def _alternatives(groups: dict[str, Array], suspects: dict[str, tuple[str, ...]]) -> list[Precision]:
    """The same without each laboratory that is flagged, without all outliers, without all flagged."""
    sets = dict.fromkeys([*((name,) for name in suspects["*"]), suspects["**"], suspects["*"]])
    return [_precision(groups, chosen) for chosen in sets if chosen and _enough(groups, chosen)]


def _enough(groups: dict[str, Array], left_out: tuple[str, ...]) -> bool:
    sizes = [len(values) for name, values in groups.items() if name not in left_out]
    return len(sizes) >= 2 and max(sizes) >= 2


def _lost(groups: dict[str, Array], suspects: dict[str, tuple[str, ...]], by: str) -> list[str]:
    lost = [chosen for chosen in (suspects["*"],) if chosen and not _enough(groups, chosen)]
    return [f"without {', '.join(chosen)} too few {plural(by)} are left to say anything" for chosen in lost]


def _notes(groups: dict[str, Array], whole: Precision, by: str, components: Components) -> list[str]:
    p, n = len(groups), sum(len(values) for values in groups.values())
    notes = []
    if p < FEW_LABORATORIES:
        notes.append(
            f"{p} {plural(by)} are few for s_L and s_R ({dof_words(p - 1)}); ISO 5725-1, 6.3 works with 8 to 15 (from "
            "memory)"
        )
    if n - p < FEW_DOF:
        notes.append(f"s_r rests on {dof_words(n - p)}: few values a {by}")
    single = [name for name, values in groups.items() if len(values) == 1]
    if single:
        notes.append(f"one value only: {', '.join(single)}; counts for s_L, tells nothing of s_r, has no k")
    if whole.variance_between < 0:
        notes.append(f"the variance between {plural(by)} comes out below 0 ({whole.variance_between:.2g}); taken as 0")
    if len({len(values) for values in groups.values()}) > 1:
        notes.append(
            f"unequal numbers: s_L with the mean number {whole.mean_number:.3g} of the standard; its interval rests on "
            "plain means"
        )
    if components.seed is None:
        notes.append("intervals drawn from the caller's generator; give an integer to have them again")
    notes.append(f"of {plural(by)} that are all alike one in twenty lies beyond a 5 % line of h, and of k")
    return notes
