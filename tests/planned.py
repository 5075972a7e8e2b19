"""Settings with a plan, for the tests of planning; invented names."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from lossstats.trial_folder.settings import ComparisonKeys, PlanKeys, Settings, TrialKeys

MONDAY = "2031-03-03T08:00:00+01:00"


def planned(
    design: str = "paired",
    articles: str | tuple[str, ...] = "K01 K02 K03 K04 K05 K06",
    *,
    controls: str = "",
    conditions: str = "dusty cleaned",
    by: str | None = None,
    comparison: dict[str, Any] | None = None,
    **keys: Any,
) -> Settings:
    """Settings of a trial with a table [plan]; keys of the plan by name."""
    compared_names = tuple(conditions.split())
    names = tuple(articles.split()) if isinstance(articles, str) else articles
    if design == "several":
        compared = ComparisonKeys("", "", "several", conditions=compared_names, blocks=by)
    else:
        unit = "mount" if design == "single" else "article"
        compared = ComparisonKeys(*compared_names, design, unit_of_replication=unit, controls=tuple(controls.split()))
    plan = PlanKeys(**{"first_start": MONDAY, "articles": names, "reference": "REF", **keys})
    question = TrialKeys("Does a wash pay?", note="Invented.")
    return Settings(question, replace(compared, **(comparison or {})), plan=plan)


def words(order: Any) -> str:
    """An order in short: R reference, Z zero, | a new day, else article, first letter of the condition, mount."""
    parts, day = [], None
    for run in order.runs:
        if day not in (None, run.bench_day):
            parts.append("|")
        day = run.bench_day
        short = {"reference": "R", "zero": "Z"}
        parts.append(short.get(run.role, f"{run.article}{run.condition[:1]}{run.mount}"))
    return " ".join(parts)
