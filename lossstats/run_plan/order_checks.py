"""What an order of runs must keep, which keys of a plan contradict each other, and what an order leaves confounded."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import timedelta
from itertools import pairwise

from lossstats.records.rendering import counted
from lossstats.trial_folder.faults import Fault, quoted
from lossstats.trial_folder.plan_times import WEEK, OrderedRun, WorkingHours, change_takes_time, turns
from lossstats.trial_folder.settings import PlanKeys, Settings

FILE = "trial.toml"


@dataclass(frozen=True)
class Contradiction:
    """Keys of trial.toml that cannot all be kept.

    Attributes
    ----------
    path : tuple of str
        Table and key at which it is shown.
    found : str
        The keys and why they contradict.
    accepted : str
        What would be accepted.
    """

    path: tuple[str, str]
    found: str
    accepted: str

    def fault(self) -> Fault:
        """Show it as a fault of trial.toml.

        Returns
        -------
        Fault
            Without its line.
        """
        return Fault(FILE, None, f"key {'.'.join(self.path)}" if self.path[1] else None, self.found, self.accepted)


def changes_condition(settings: Settings) -> bool:
    """Say whether articles are measured in more than one condition.

    Parameters
    ----------
    settings : Settings
        What trial.toml says.

    Returns
    -------
    bool
        False for design independent, and for design several with blocks none.
    """
    return settings.comparison.design != "independent" and settings.comparison.blocks != "none"


def contradictions(settings: Settings) -> tuple[Contradiction, ...]:
    """List the keys that contradict each other, or without which nothing can be laid out.

    Parameters
    ----------
    settings : Settings
        With a table [plan].

    Returns
    -------
    tuple of Contradiction
        Empty if runs can be laid out; a mount that is longer than a bench day shows only then.
    """
    keys = settings.plan
    if keys is None:
        accepted = "a table [plan] with first_start, articles, one_way (trial_folder/settings.py tells all its keys)"
        return (Contradiction(("plan", ""), "no table [plan]", accepted),)
    found = [*_names(settings, keys), *_order(settings, keys), *_clock(keys)]
    return tuple(Contradiction(("plan", key), what, accepted) for key, what, accepted in found)


_Found = Iterator[tuple[str, str, str]]


def _names(settings: Settings, keys: PlanKeys) -> _Found:
    comparison, names = settings.comparison, keys.articles
    if not names:
        yield "articles", "no articles", "the names of the articles that are to be measured"
        return
    if len({name.casefold() for name in names}) < len(names):
        yield "articles", "names that differ in capitals only", "one spelling of each article"
    for name in (*names, *([keys.reference] if keys.reference else [])):
        if name != name.strip() or not name.isprintable():
            yield "articles", quoted(name), "names without blanks around them, in characters that can be printed"
    for key, table, some in (
        ("reversed_articles", "plan", keys.reversed_articles),
        ("before_articles", "plan", keys.before_articles),
        ("articles", "comparison", comparison.controls),
    ):
        strange = [name for name in some if name not in names]
        if strange:
            what = "controls in [comparison]" if table == "comparison" else key
            yield key, f"{what} with {', '.join(strange)}, not in articles", "names that articles holds too"
    if keys.reference in names:
        found = f"the reference {quoted(keys.reference or '')}, which articles holds too"
        yield "reference", found, "a reference article that is in no test run"
    yield from _counts(settings, keys)


def _counts(settings: Settings, keys: PlanKeys) -> _Found:
    comparison = settings.comparison
    treated = [name for name in keys.articles if name not in comparison.controls]
    conditions = len(comparison.all_conditions)
    fewest = {"single": 1, "controls": 1, "paired": 2, "crossover": 4, "independent": 2}.get(comparison.design, 2)
    if not changes_condition(settings) and comparison.design == "several":
        fewest = 2 * conditions
    if len(treated) < fewest or (comparison.design == "single" and len(keys.articles) != 1):
        found = f"{counted(len(treated), 'article')} with design = {quoted(comparison.design)}"
        yield "articles", found, "one article" if comparison.design == "single" else f"{fewest} articles or more"
        return
    planned, units = comparison.planned_units, len(treated)
    if comparison.design == "single":
        units = keys.mounts
    elif not changes_condition(settings):
        units = min(_group_sizes(settings, keys))
    if planned is not None and units != planned:
        what = "mounts" if comparison.design == "single" else "articles"
        found = f"{units} units a condition, which contradict planned_units = {planned} in [comparison]"
        yield "mounts" if what == "mounts" else "articles", found, f"{what} for {planned} units a condition"


def _group_sizes(settings: Settings, keys: PlanKeys) -> list[int]:
    articles, groups = len(keys.articles), len(settings.comparison.all_conditions)
    if keys.before_articles:
        return [len(keys.before_articles), articles - len(keys.before_articles)]
    return [articles // groups]


def _order(settings: Settings, keys: PlanKeys) -> _Found:
    design = settings.comparison.design
    both = changes_condition(settings)
    if both and keys.one_way is None and design != "crossover":
        accepted = "true where an article is dirty before it is cleaned and cannot be had the other way, else false"
        yield "one_way", f"no such key with design = {quoted(design)}", accepted
    if keys.one_way and design == "crossover":
        found = "one_way = true, which contradicts design = 'crossover': no article can go in the reverse order"
        yield "one_way", found, "one_way = false, or design = 'paired'"
    if keys.one_way is False and design == "controls":
        found = "one_way = false, which contradicts design = 'controls': an untouched article has no reverse order"
        yield "one_way", found, "one_way = true, or design = 'crossover' without controls"
    reverse = [name for name in keys.reversed_articles if name in keys.articles]
    if reverse and (keys.one_way or not both or design in ("single", "several")):
        reason = "one_way = true" if keys.one_way and both else f"design = {quoted(design)}"
        found = f"reversed_articles with {', '.join(reverse)}, which contradicts {reason}"
        yield "reversed_articles", found, "no reversed_articles, or a design in which either order can be had"
    elif design == "crossover" and reverse and not 2 <= len(reverse) <= len(keys.articles) - 2:
        found = f"{len(reverse)} reversed_articles of {len(keys.articles)}, which contradict design = 'crossover'"
        yield "reversed_articles", found, "at least two articles in each order"
    before = [name for name in keys.before_articles if name in keys.articles]
    if before and (design != "independent" or len(before) == len(keys.articles)):
        what = "all articles" if design == "independent" else f"design = {quoted(design)}"
        yield "before_articles", f"before_articles with {what}", "some of the articles, with design = 'independent'"
    yield from _waves(settings, keys)
    limits = {
        "reference_every": keys.reference_every if keys.reference else None,
        "zero_every": keys.zero_every,
        "most_runs_a_day": keys.most_runs_a_day,
    }
    for key, limit in limits.items():
        if limit is not None and keys.runs_per_mount > limit:
            found = (
                f"{key} = {limit}, which contradicts runs_per_mount = {keys.runs_per_mount}: nothing may be touched "
                "between the runs of a mount"
            )
            yield key, found, f"{key} >= {keys.runs_per_mount}, or fewer runs a mount"


def _waves(settings: Settings, keys: PlanKeys) -> _Found:
    if keys.waves is None:
        return
    treated = len(set(keys.articles) - set(settings.comparison.controls))
    if keys.waves > 1 and not changes_condition(settings):
        found = f"waves = {keys.waves}, which contradicts articles that are in one condition only"
        yield "waves", found, "waves = 1, or no such key"
    elif keys.waves > treated:
        found = f"waves = {keys.waves}, which contradicts {counted(treated, 'article')} to change condition"
        yield "waves", found, "at least one such article a wave"


def _clock(keys: PlanKeys) -> _Found:
    day_h = keys.working_to_h - keys.working_from_h
    if day_h <= 0:
        found = f"working_to_h = {keys.working_to_h:g}, which contradicts working_from_h = {keys.working_from_h:g}"
        yield "working_to_h", found, "an hour after the beginning of the bench day"
        return
    if not keys.working_days:
        yield "working_days", "no day of the week", f"some of {', '.join(WEEK)}"
        return
    if keys.wash_hours > day_h:
        found = f"wash_hours = {keys.wash_hours:g}, which contradicts a working day of {day_h:g} h"
        yield "wash_hours", found, "washing that ends on the day it begins; what needs nobody is drying"
    first = WorkingHours.of(keys).first_start
    begin, end = WorkingHours(first, keys).of_day(first)
    if WEEK[first.weekday()] not in keys.working_days:
        found = f"first_start on a {WEEK[first.weekday()]}, which contradicts working_days"
        yield "first_start", found, f"one of {', '.join(keys.working_days)}"
    if first >= end or begin > first:
        found = (
            f"first_start at {first:%H:%M}, which contradicts working_from_h = {keys.working_from_h:g} and "
            f"working_to_h = {keys.working_to_h:g}"
        )
        yield "first_start", found, "a time within the working hours"


def too_early(runs: Sequence[OrderedRun], settings: Settings) -> tuple[str, ...]:
    """Name the articles that were on the bench again before the hours of washing and drying were over.

    Parameters
    ----------
    runs : sequence of OrderedRun
        In bench order, planned or carried out.
    settings : Settings
        With a table [plan].

    Returns
    -------
    tuple of str
        Empty for an order that keeps the hours, and where articles go through the conditions one way only.
    """
    keys, comparison = settings.plan, settings.comparison
    if keys is None:
        return ()
    told = []
    order = {name: k for k, name in enumerate(comparison.all_conditions)}
    washing_h = keys.wash_hours + keys.dry_hours
    for one, other in turns(runs):
        back = order.get(other.condition, 0) < order.get(one.condition, 0)
        least_h = keys.back_hours if back and keys.back_hours is not None else washing_h
        gap_h = (other.start - one.end) / timedelta(hours=1)
        if keys.one_way and back:
            told.append(
                f"run {other.run}: {other.article} {other.condition} after it was {one.condition} (run {one.run}), "
                "which the plan says cannot be"
            )
        elif gap_h < least_h and other.article not in comparison.controls:
            told.append(
                f"run {other.run}: {other.article} {other.condition} {gap_h:.1f} h after run {one.run} "
                f"({one.condition}); the plan gives it {least_h:g} h"
            )
    return tuple(told)


def unbracketed(runs: Sequence[OrderedRun], settings: Settings) -> tuple[str, ...]:
    """Name the test runs that do not lie between two reference runs of their bench day.

    Parameters
    ----------
    runs : sequence of OrderedRun
        In bench order, planned or carried out.
    settings : Settings
        With a table [plan].

    Returns
    -------
    tuple of str
        Empty where the plan has no reference article.
    """
    if settings.plan is None or settings.plan.reference is None:
        return ()
    outside = []
    for day in dict.fromkeys(run.bench_day for run in runs):
        here = [run for run in runs if run.bench_day == day]
        references = [k for k, run in enumerate(here) if run.role == "reference"]
        first, last = (references[0], references[-1]) if references else (len(here), -1)
        outside += [run for k, run in enumerate(here) if run.role == "test" and not first < k < last]
    return tuple(f"run {run.run} ({run.bench_day}): not between two reference runs of its day" for run in outside)


def confounded(runs: Sequence[OrderedRun], settings: Settings) -> tuple[str, ...]:
    """Say what an order of runs cannot tell apart.

    Parameters
    ----------
    runs : sequence of OrderedRun
        In bench order.
    settings : Settings
        With a table [plan].

    Returns
    -------
    tuple of str
        Sentences, the gravest first.
    """
    keys, comparison = settings.plan, settings.comparison
    if keys is None:
        return ()
    # What an untouched article is called in the second part of the trial is no condition.
    tests = [run for run in runs if run.role == "test" and run.article not in comparison.controls]
    told = [*_by_time(tests, settings, keys), *_by_order(settings, keys)]
    if comparison.design == "single":
        told.append(f"one article: what holds for {keys.articles[0]} and what holds for such articles in general")
    if not changes_condition(settings) and keys.before_articles:
        told.append(
            "the articles came in their conditions and were not dealt by chance: what else differs between the groups "
            "and the treatment are not told apart by anything in this plan"
        )
    if keys.reference is not None:
        told.append(
            f"wear of the reference article {keys.reference} and drift of the bench: nothing here sees the one without "
            "the other"
        )
    return tuple(told)


def _by_time(tests: Sequence[OrderedRun], settings: Settings, keys: PlanKeys) -> Iterable[str]:
    # Conditions against bench drift within and between days.
    by = f"by the runs of {keys.reference} alone" if keys.reference else "by nothing in this plan"
    conditions = settings.comparison.all_conditions
    times = {name: [run.start for run in tests if run.condition == name] for name in conditions}
    for one, other in pairwise(conditions):
        if max(times[one]) < min(times[other]):
            yield (
                f"all {one} runs come before all {other} runs: bench drift and treatment are told apart {by}"
                + ("; the untouched controls show how well" if settings.comparison.controls else "")
                + _more_waves(settings, keys)
            )
            return
    days = list(dict.fromkeys(run.bench_day for run in tests))
    alone = [day for day in days if len({run.condition for run in tests if run.bench_day == day}) < len(conditions)]
    if alone:
        every = "both conditions" if len(conditions) == 2 else "every condition"
        yield (
            f"{len(alone)} of {len(days)} bench days ({', '.join(alone)}) do not hold {every}: drift from day to day "
            f"and treatment are told apart there {by}"
        )
    elif keys.reference is None:
        yield "drift within a bench day and treatment are told apart by the alternating order alone: no reference runs"


def _more_waves(settings: Settings, keys: PlanKeys) -> str:
    # The key that would bring the conditions side by side, where there is one.
    treated = len(set(keys.articles) - set(settings.comparison.controls))
    now = keys.waves or (2 if keys.one_way else 1)
    if not changes_condition(settings) or settings.comparison.design == "single" or now >= treated:
        return ""
    return f" (waves in [plan], here {now}: with more, the first articles change before the last ones begin)"


def _by_order(settings: Settings, keys: PlanKeys) -> Iterable[str]:
    if not changes_condition(settings) or settings.comparison.design == "single" or not keys.one_way:
        return
    conditions = settings.comparison.all_conditions
    done = "washed and dried" if change_takes_time(keys) else "changed"
    if settings.comparison.controls:
        yield (
            f"every article is {conditions[0]} first: what later bench days do by themselves is told apart by the "
            f"untouched controls; what else happens to an article that is {done} is not"
        )
    else:
        yield (
            f"every article is {conditions[0]} first: what time, handling and the first runs do to an article and "
            "the treatment are not told apart (untouched controls would show it)"
        )
