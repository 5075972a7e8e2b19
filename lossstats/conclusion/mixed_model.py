"""A linear mixed model on the levels of the runs, as a cross-check of the planned comparison and nothing more."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from lossstats.comparison.contrast import Array
from lossstats.records.rendering import Record, decimals_for, shown

if TYPE_CHECKING:
    import pandas as pd

    from lossstats.conclusion.result import Result

COLUMNS = ("article", "condition", "mount", "value")
FEWEST_ARTICLES = 3
SMALLEST_SHARE = 0.01  # variance of a component over that of the residual, below which it counts as at 0


@dataclass(frozen=True)
class MixedModelCheck(Record):
    """What a mixed model finds, where its fit can be trusted, beside the planned estimate.

    Attributes
    ----------
    interior : bool
        Whether the fit converged without a warning and no variance component is at 0.
    why_not : str
        Why there are no numbers.
    saving : float or None
        Fixed effect: before minus after (after minus before where higher is better).
    standard_error : float or None
        Of it; from the scatter of the runs alone.
    sds : dict of str to float
        Standard deviation by component: ``article``, ``change of an article``, ``mount``, ``residual``, those that the
        runs can tell apart.
    planned_saving, planned_scatter : float or None
        The planned estimate and its standard uncertainty from the scatter between units; None for a bare table.
    runs, articles : int
        How many went in.
    unit : str
        Of the saving.
    sentence : str
        The same in words.
    """

    interior: bool
    why_not: str
    saving: float | None
    standard_error: float | None
    sds: dict[str, float]
    planned_saving: float | None
    planned_scatter: float | None
    runs: int
    articles: int
    unit: str
    sentence: str

    title = "Cross-check by a mixed model"

    def _rows(self) -> list[tuple[str, str]]:
        rows = [("in words", self.sentence), ("runs, articles", f"{self.runs}, {self.articles}")]
        return rows + [(f"sd, {name}", f"{sd:.3g} {self.unit}") for name, sd in self.sds.items()]


@dataclass(frozen=True)
class _Model:
    """What is fitted: fixed effects by column, the one wanted, random effects by name."""

    table: pd.DataFrame  # article, cell, mount_id, value
    fixed: dict[str, Array]
    wanted: str
    random: dict[str, str]  # component to the column that tells its levels apart, the article first
    residual: str


def mixed_model_check(
    result_or_table: Result | pd.DataFrame,
    *,
    before: str | None = None,
    after: str | None = None,
) -> MixedModelCheck:
    """Fit a linear mixed model to the levels of the runs and lay it beside the planned comparison.

    Parameters
    ----------
    result_or_table : Result or pandas.DataFrame
        A finished result, whose corrected levels of the used test runs are taken; or a table with a row a run and the
        columns ``article``, ``condition``, ``mount`` and ``value``.
    before, after : str, optional
        Conditions of a table; left out where it has two: in the order of first appearance. All conditions of the table
        are fitted.

    Returns
    -------
    MixedModelCheck
        Numbers only for a fit inside the parameter space; else the reason.

    Raises
    ------
    ValueError
        If a column or condition is missing, a value is not finite, or the result compares several conditions.

    Notes
    -----
    Restricted maximum likelihood by statsmodels ``MixedLM``: condition fixed; article, change of an article from
    condition to condition, and mount random, each where the runs can tell it from what lies below. The values are
    divided by the scatter of the runs before the fit, since the warnings of the library look at absolute variances. On
    the boundary its components are off by up to 0.07 W in a trial of chains, sometimes although it says that it has
    converged; so there no number is given. For balanced data with all components above 0 the fixed effect is the mean
    of the paired differences and its standard error that of the paired t. No p and no interval: its z is not for few
    articles.
    """
    if hasattr(result_or_table, "columns"):
        table, keys = _checked_table(result_or_table, before, after)
        model = _model(table, keys, ())
        return _checked(model, 1.0, (None, None), "")
    result = result_or_table
    c, settings = result.compared, result.settings
    planned = (
        (None, None)
        if c.difference is None
        else (c.difference.value, c.difference._spread.scatter.standard_uncertainty)
    )
    sign, unit = (1.0 if settings.trial.better == "lower" else -1.0), settings.trial.unit
    if c.design not in {"paired", "independent", "controls"}:
        why = "one article has no scatter between articles" if c.design == "single" else f"no such model of {c.design}"
        return _without(why, planned, 0, 0, unit)
    controls = settings.comparison.controls if c.design == "controls" else ()
    return _checked(
        _model(_runs_table(result), (settings.comparison.before, settings.comparison.after), controls),
        sign,
        planned,
        unit,
    )


def _runs_table(result: Result) -> pd.DataFrame:
    import pandas as pd

    members = {u.unit for u in result.units}  # without articles that lost a condition
    rows = [
        (run.article, run.condition, run.mount, run.corrected)
        for run in result.runs
        if run.role == "test" and run.used and run.article in members
    ]
    return pd.DataFrame(rows, columns=list(COLUMNS))


def _checked_table(table: Any, before: str | None, after: str | None) -> tuple[pd.DataFrame, tuple[str, str]]:
    missing = [name for name in COLUMNS if name not in table.columns]
    if missing:
        raise ValueError(
            f"table: found no column {missing[0]!r}; accepted: a row a run with the columns {', '.join(COLUMNS)}"
        )
    found = table[list(COLUMNS)].reset_index(drop=True)
    values = found["value"].to_numpy(dtype=float)
    if not np.isfinite(values).all():
        row = int(np.argmin(np.isfinite(values)))
        raise ValueError(f"table, row {row + 1}, value: found {values[row]}; accepted: finite numbers")
    names = list(dict.fromkeys(found["condition"].tolist()))
    if before is None and after is None and len(names) == 2:
        before, after = names
    if before is None or after is None or before == after or not {before, after} <= set(names):
        raise ValueError(f"before, after: found {before!r}, {after!r}; accepted: two of {', '.join(map(repr, names))}")
    return found, (before, after)


def _model(table: pd.DataFrame, keys: tuple[str, str], controls: Sequence[str]) -> _Model:
    """Which effects the runs can tell apart; the lowest one is the residual."""
    table = table.assign(
        cell=[f"{a}\n{c}" for a, c in zip(table["article"], table["condition"], strict=True)],
        mount_id=[f"{a}\n{c}\n{m}" for a, c, m in table[["article", "condition", "mount"]].itertuples(index=False)],
    )
    others = [name for name in dict.fromkeys(table["condition"].tolist()) if name != keys[0]]
    fixed: dict[str, Array] = {"level": np.ones(len(table))}
    condition = table["condition"].to_numpy()
    fixed |= {f"condition {name}": np.asarray(condition == name, dtype=float) for name in others}
    wanted = f"condition {keys[1]}"
    if controls:
        treated = np.asarray(~table["article"].isin(controls), dtype=float)
        fixed |= {"treated": treated, "treatment": treated * fixed[wanted]}
        wanted = "treatment"
    random, residual = _told_apart(table)
    return _Model(table, fixed, wanted, random, residual)


def _told_apart(table: pd.DataFrame) -> tuple[dict[str, str], str]:
    """Random effects from the article down; those with as many levels as the next one below are one with it."""
    counts = {name: table[name].nunique() for name in ("article", "cell", "mount_id")}
    chain = [("article", "article"), ("change of an article", "cell"), ("mount", "mount_id")]
    if counts["cell"] == counts["article"]:  # no article in two conditions, so none that changes
        del chain[1]
    below = [*(counts[column] for _, column in chain[1:]), len(table)]
    random: dict[str, str] = {}
    names: list[str] = []
    for (name, column), more in zip(chain, below, strict=True):
        names.append(name)
        if more > counts[column]:
            random[", ".join(names)] = column
            names = []
    return random, ", ".join([*names, "run"])


def _checked(model: _Model, sign: float, planned: tuple[float | None, float | None], unit: str) -> MixedModelCheck:
    runs, articles = len(model.table), model.table["article"].nunique()
    why = ""
    if articles < FEWEST_ARTICLES:
        why = f"found {articles} article(s); at least {FEWEST_ARTICLES} are needed"
    elif not model.random:
        why = "one run an article: nothing tells the article from its run"
    scale = _residual_sd(model) if not why else 1.0
    if scale == 0:
        why = "the runs do not scatter"
    if why:
        return _without(why, planned, runs, articles, unit)
    fit = _fit(model, scale)
    if isinstance(fit, str):
        return _without(fit, planned, runs, articles, unit)
    saving, error, sds = -sign * fit[0], fit[1], fit[2]
    return MixedModelCheck(
        interior=True, why_not="", saving=saving, standard_error=error, sds=sds, planned_saving=planned[0],
        planned_scatter=planned[1], runs=runs, articles=articles, unit=unit,
        sentence=_sentence(saving, error, planned, unit),
    )  # fmt: skip


def _residual_sd(model: _Model) -> float:
    """Scatter of the runs about the lowest random effect; a yardstick only."""
    lowest = list(model.random.values())[-1]
    levels = model.table[lowest].to_numpy()
    dummies = (levels[:, None] == np.unique(levels)).astype(float)
    design = np.hstack([dummies, *(column[:, None] for column in model.fixed.values())])
    y = model.table["value"].to_numpy(dtype=float)
    y = y - y.mean()
    coefficients, _, rank, _ = np.linalg.lstsq(design, y, rcond=None)
    left = float(np.sum((y - design @ coefficients) ** 2))
    dof = len(y) - int(rank)
    if dof < 1 or left <= 1e-20 * float(y @ y):
        return 0.0
    return math.sqrt(left / dof)


def _fit(model: _Model, scale: float) -> tuple[float, float, dict[str, float]] | str:
    """Fixed effect, standard error, standard deviations; or why there are none."""
    import warnings

    import pandas as pd
    from statsmodels.regression.mixed_linear_model import MixedLM

    y = model.table["value"].to_numpy(dtype=float)
    data = pd.DataFrame({f"x{k}": column for k, column in enumerate(model.fixed.values())})
    data = data.assign(
        y=(y - y.mean()) / scale, **{name: model.table[name] for name in ("article", "cell", "mount_id")}
    )
    top, *below = model.random
    formulas = {f"part{k}": f"0 + C({model.random[name]})" for k, name in enumerate(below)}
    try:
        # Any warning at all disqualifies: the fit is on the boundary, or its search has failed somewhere.
        with warnings.catch_warnings():
            warnings.simplefilter("error")
            fixed = " + ".join(f"x{k}" for k in range(len(model.fixed)))
            fit = MixedLM.from_formula(
                f"y ~ 0 + {fixed}", data, groups="article", re_formula="1", vc_formula=formulas or None
            ).fit(reml=True)
            parts = {top: float(fit.cov_re.iloc[0, 0])}
            parts |= dict(zip(below, (float(v) for v in fit.vcomp), strict=True))
            parts[model.residual] = float(fit.scale)
            column = f"x{list(model.fixed).index(model.wanted)}"
            value, error = float(fit.fe_params[column]), float(fit.bse_fe[column])
    except (Warning, ValueError, ArithmeticError, np.linalg.LinAlgError) as failure:
        return f"the fit is on the boundary or did not converge ({_first_line(failure)})"
    low = [name for name, variance in parts.items() if not variance >= SMALLEST_SHARE * parts[model.residual]]
    if low or not (fit.converged and math.isfinite(error) and error > 0):
        return f"the fit is on the boundary: {', '.join(low) or 'it did not converge'} not told from 0"
    return value * scale, error * scale, {name: math.sqrt(variance) * scale for name, variance in parts.items()}


def _first_line(failure: BaseException) -> str:
    text = (str(failure) or type(failure).__name__).splitlines()[0]
    return text if len(text) <= 60 else f"{text[:59]}…"


def _without(
    why: str, planned: tuple[float | None, float | None], runs: int, articles: int, unit: str
) -> MixedModelCheck:
    sentence = f"No cross-check by a mixed model: {why}. The planned comparison does not need it."
    return MixedModelCheck(
        interior=False, why_not=why, saving=None, standard_error=None, sds={}, planned_saving=planned[0],
        planned_scatter=planned[1], runs=runs, articles=articles, unit=unit, sentence=sentence,
    )  # fmt: skip


def _sentence(saving: float, error: float, planned: tuple[float | None, float | None], unit: str) -> str:
    places = decimals_for(error)
    after = f" {unit}" if unit else ""
    value = f"{shown(saving, places)}{after}"
    text = f"A mixed model of the runs gives a saving of {value} (standard error {error:.2g}{after})"
    if planned[0] is not None and planned[1] is not None:
        text += (
            f", the planned comparison {shown(planned[0], places)}{after} ({planned[1]:.2g}{after} from scatter): "
            f"{abs(saving - planned[0]) / error:.1g} standard errors apart"
        )
    return (
        text + ". It knows the scatter of the runs alone, neither gain nor shared drift, and is a check, not a claim."
    )
