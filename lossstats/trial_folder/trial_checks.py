"""What the rows of a run sheet say together: names, order of the bench, mounts, and the design of the comparison."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import timedelta
from itertools import pairwise

from lossstats.records.rendering import counted
from lossstats.trial_folder.faults import Fault, FaultList, quoted
from lossstats.trial_folder.run_sheet import DROPPED, FILE, SheetRow, place
from lossstats.trial_folder.settings import ComparisonKeys

_MOST_OVERLAPS = 3


def check_rows(
    rows: Sequence[SheetRow], comparison: ComparisonKeys | None, lasts_s: Mapping[str, float]
) -> list[Fault]:
    """Hold the rows of a run sheet against each other and against the design.

    Parameters
    ----------
    rows : sequence of SheetRow
        In the order of the sheet.
    comparison : ComparisonKeys or None
        Conditions and design; None where trial.toml does not say.
    lasts_s : mapping of str to float
        Time of the last sample, in s, by sample file, where the file could be read.

    Returns
    -------
    list of Fault
        All that do not fit.
    """
    faults = FaultList(FILE)
    _check_repeats(rows, faults)
    # A dropped run that left no file was never on the bench.
    made = [row for row in rows if row.role != DROPPED or row.file]
    _check_order(made, lasts_s, faults)
    _check_mounts(made, faults)
    _check_roles(rows, faults)
    slips = _slips(rows)
    tests = [row for row in rows if row.role == "test" and row.article and row.article not in slips]
    if comparison is not None and rows:
        if tests:
            _check_design(tests, comparison, faults)
        else:
            faults.add("no test run", f"test runs in {_every(comparison.all_conditions)}")
    return faults.listed()


def _check_repeats(rows: Sequence[SheetRow], faults: FaultList) -> None:
    for column, name in (("run", "the run"), ("file", "the file")):
        first: dict[str, int] = {}
        for row in rows:
            entry = getattr(row, column)
            if entry in first and entry:
                found = f"{name} {quoted(entry)} a second time, first in line {first[entry]}"
                faults.add(found, f"every {column} once", line=row.line, column=place(column))
            first.setdefault(entry, row.line)


def _check_order(rows: Sequence[SheetRow], lasts_s: Mapping[str, float], faults: FaultList) -> None:
    # Starts must rise, and a run must have ended before the next begins.
    timed = [(row, row.start) for row in rows if row.start is not None]
    overlaps = []
    for (before, earlier), (row, start) in pairwise(timed):
        if start <= earlier:
            found = f"{start.isoformat()}, not after line {before.line} ({earlier.isoformat()})"
            faults.add(found, "runs in the order of the bench, starts that rise", line=row.line, column=place("start"))
        elif (end := earlier + timedelta(seconds=lasts_s.get(before.file, 0.0))) > start:
            found = f"{start.isoformat()}, while run {before.run} goes on until {end.isoformat(timespec='seconds')}"
            overlaps.append((row.line, found))
    accepted = "a start after the end of the run before"
    if len(overlaps) > _MOST_OVERLAPS:
        # More than a slip or two have one cause.
        first, told = overlaps[0]
        lines = ", ".join(str(line) for line, _ in overlaps[1:])
        accepted += "; so many overlaps may come of one wrong factor of time in [log] of trial.toml"
        overlaps = [(first, f"{told}; the like in {counted(len(overlaps) - 1, 'more row')} (lines {lines})")]
    for line, found in overlaps:
        faults.add(found, accepted, line=line, column=place("start"))


def _check_mounts(rows: Sequence[SheetRow], faults: FaultList) -> None:
    # One mount is one fitting: it cannot come back after another article or mount was on the bench.
    # Several runs of one mount, one after the other, are legitimate, and so is a zero run between them (it may be one
    # at no load).
    ended: dict[tuple[str, str, str], str] = {}
    current: tuple[str, str, str] | None = None
    for row in rows:
        if row.role == "zero" or not row.article or not row.mount:
            continue
        key = (row.article, row.condition, row.mount)
        if key != current and key in ended:
            found = f"mount {quoted(row.mount)} of {row.article} again, after {ended[key]} was on the bench"
            accepted = "a new mount for every fitting; several runs of one mount follow each other"
            faults.add(found, accepted, line=row.line, column=place("mount"))
        if current is not None and key != current:
            ended[current] = f"{row.article} (line {row.line})"
        current = key


def _check_roles(rows: Sequence[SheetRow], faults: FaultList) -> None:
    spelled: dict[str, SheetRow] = {}
    for row in rows:
        first = spelled.setdefault(row.article.casefold(), row)
        if first.article != row.article:
            found = f"the article {quoted(row.article)}, in line {first.line} {quoted(first.article)}"
            accepted = "one spelling of each article, capitals included"
            faults.add(found, accepted, line=row.line, column=place("article"))
    for article in _both(rows):
        # One cause, told once, at the role that fewer rows have.
        lines = {role: [row.line for row in rows if row.article == article and row.role == role] for role in _TESTED}
        fewer, other = sorted(_TESTED, key=lambda role: len(lines[role]))
        found = f"{quoted(article)} as {fewer} article, a {other} article in {_lines(lines[other])}"
        if len(lines[fewer]) > 1:
            found += f" (the same in {_lines(lines[fewer][1:])})"
        accepted = "a reference article that is in no test run"
        faults.add(found, accepted, line=lines[fewer][0], column=place("article"))


_TESTED = ("reference", "test")


def _both(rows: Sequence[SheetRow]) -> list[str]:
    # Articles that are test article and reference article at once.
    one, other = ({row.article for row in rows if row.role == role and row.article} for role in _TESTED)
    return sorted(one & other)


def _slips(rows: Sequence[SheetRow]) -> set[str]:
    # Reference articles that are called test articles by a slip: what the design lacks of them is no second fault.
    roles = [(row.article, row.role) for row in rows]
    return {name for name in _both(rows) if roles.count((name, "test")) <= roles.count((name, "reference"))}


def _lines(lines: Sequence[int]) -> str:
    return f"line{'s' * (len(lines) > 1)} {', '.join(map(str, lines))}"


def _check_design(tests: Sequence[SheetRow], comparison: ComparisonKeys, faults: FaultList) -> None:
    conditions = comparison.all_conditions
    articles: dict[str, set[str]] = {}
    for row in tests:
        articles.setdefault(row.article, set()).add(row.condition)
    _check_articles(articles, comparison, faults)
    if comparison.design == "independent" or comparison.blocks == "none":
        _check_independent(articles, comparison, faults)
        return
    for condition in conditions:
        lacking = [name for name, seen in articles.items() if condition not in seen]
        if lacking:
            found = f"no test run in condition {quoted(condition)} of {_few(lacking)}"
            accepted = (
                f"every article in {_every(conditions)}, as {_declared(comparison)} says; for an article that went out "
                "role dropped in all its rows, with the reason in remarks"
            )
            faults.add(found, accepted)
    if comparison.design == "crossover":
        _check_orders(tests, comparison, faults)


def _check_orders(tests: Sequence[SheetRow], comparison: ComparisonKeys, faults: FaultList) -> None:
    first: dict[str, str] = {}
    for row in tests:
        first.setdefault(row.article, row.condition)
    for condition in comparison.all_conditions:
        count = list(first.values()).count(condition)
        if count < 2:
            found = f"{counted(count, 'article')} measured {condition} first"
            faults.add(
                found, "at least two articles in each order, as design = 'crossover' says (or design = 'paired')"
            )


def _check_articles(articles: Mapping[str, set[str]], comparison: ComparisonKeys, faults: FaultList) -> None:
    for name in comparison.controls:
        if name not in articles:
            found = f"no test run of the control article {quoted(name)}"
            faults.add(found, f"controls in [comparison] among {_few(articles)}")
    if comparison.design == "single" and len(articles) != 1:
        faults.add(f"test runs of {_few(articles)}", "test runs of one article, as design = 'single' says")
    if comparison.design == "several" and len(articles) == 1:
        faults.add(f"test runs of {_few(articles)} only", "two articles or more: one article stands for itself")
    if comparison.design == "paired" and len(articles) == 1:
        faults.add(f"test runs of {_few(articles)} only", "two articles or more, or design = 'single' in trial.toml")
    if comparison.design == "controls" and not set(articles) - set(comparison.controls):
        faults.add("control articles only", "articles that were treated beside them")


def _check_independent(articles: Mapping[str, set[str]], comparison: ComparisonKeys, faults: FaultList) -> None:
    conditions, several = comparison.all_conditions, comparison.design == "several"
    both = [name for name, seen in articles.items() if len(seen & set(conditions)) > 1]
    if both:
        found = f"test runs in {'more than one condition' if several else 'both conditions'} of {_few(both)}"
        other = "blocks = 'article'" if several else "design = 'paired'"
        faults.add(found, f"every article in one condition, as {_declared(comparison)} says (or {other})")
    for condition in conditions:
        members = [name for name, seen in articles.items() if condition in seen]
        if not members:
            faults.add(f"no test run in condition {quoted(condition)}", f"test runs in {_every(conditions)}")
        elif several and len(members) == 1:
            found = f"test runs of {members[0]} only in condition {quoted(condition)}"
            faults.add(found, "two articles or more in every condition")


def _every(conditions: Sequence[str]) -> str:
    return "both conditions" if len(conditions) == 2 else "every condition"


def _declared(comparison: ComparisonKeys) -> str:
    return (
        f"blocks = {quoted(comparison.blocks or '')}" if comparison.blocks else f"design = {quoted(comparison.design)}"
    )


def _few(names: Mapping[str, object] | Sequence[str], most: int = 12) -> str:
    shown = list(names)
    more = f" and {len(shown) - most} more" if len(shown) > most else ""
    return ", ".join(shown[:most]) + more
