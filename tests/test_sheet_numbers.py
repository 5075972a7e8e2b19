"""Every number on the page held against result.json: the page is parsed, the record is read, nothing else is asked.

Evidence: the record is the reference; each cell of the tables of saving, budget, units, runs, choices, single units,
ranking and plan is compared, and a changed digit in any of them is found.
"""

import json
import re
from dataclasses import replace
from functools import cache

import drawn_results as drawn
import pytest
import read_sheet

from lossstats.conclusion.analysis import analyse
from lossstats.conclusion.looks import Look
from lossstats.conclusion.result import to_json
from lossstats.run_plan.plan_record import PlanRecord
from lossstats.sheet.sheet import make_page, page_without_pictures
from lossstats.simulator.examples import example_trial

agrees, agrees_p = read_sheet.agrees, read_sheet.agrees_p
NAMES = ["paired", "independent", "controls", "mounts", "known", "higher", "description", "several", "planned"]
PLAN = PlanRecord(
    "9f" * 32, 12, ("dusty and the first day",), ("run r03: planned, not made", "run r09: made, not planned")
)
LOOK = Look("ab" * 32, 7, "3, 3", "undecided")


@cache
def result(name):
    if name == "several":
        return analyse(example_trial("four_oils"))
    if name == "planned":
        return replace(drawn.with_a_run_left_out(), plan=PLAN, earlier_looks=(LOOK,))
    return analyse(drawn.result(name)._trial, choices=True)


@cache
def tables(name):
    return read_sheet.Sheet(page_without_pictures(result(name))).tables


@cache
def sealed(name):
    return json.loads(to_json(result(name)))


# What a cell must say: text as it stands, or one of these.


class Number:
    """A number rounded where it ends; a word where the record has none."""

    def __init__(self, value, absent="none", after=""):
        self.value, self.absent, self.after = value, absent, after

    def fits(self, cell):
        if self.value is None:
            return cell == self.absent
        return cell.endswith(self.after) and agrees(cell.removesuffix(self.after), self.value)


class Ends:
    """Both ends of an interval."""

    def __init__(self, low, high, absent="none"):
        self.ends, self.absent = (low, high), absent

    def fits(self, cell):
        if None in self.ends:
            return cell == self.absent
        return all(agrees(*pair) for pair in zip(cell.split(" to "), self.ends, strict=True))


class P:
    """A p value."""

    def __init__(self, value):
        self.value = value

    def fits(self, cell):
        return agrees_p(cell, self.value)


def fits(cell, wanted):
    return cell == wanted if isinstance(wanted, str) else wanted.fits(cell)


# Rows that the record asks for, table by table.


def saving_rows(r):
    c = r["comparison"]
    for what, seen in (("difference", "observed"), ("percent", "observed_percent")):
        e = c[what]
        if e is None:
            yield [Number(c[seen], after=" as read"), "none", "none", "none"]
        else:
            yield [
                Number(e["value"]),
                Ends(e["low"], e["high"]),
                Number(e["standard_uncertainty"]),
                Number(e["degrees_of_freedom"]),
            ]


def further_rows(r):
    c = r["comparison"]
    yield from ([Number(c["before_mean"])], [Number(c["after_mean"])])
    yield [f"{c['design']}, {' and '.join(map(str, c['n']))}"]
    yield from ([c["verdict"]["words"]], [c["verdict"]["why"]])
    exact = c["exact"] or {"p_value": None, "smallest_p": None}
    for cell in (
        Number(c["verdict"]["matters"]),
        P(c["p_value"]),
        P(c["p_equivalence"]),
        P(exact["p_value"]),
        P(exact["smallest_p"]),
    ):
        if cell.value is not None:
            yield [cell]
    if c["fieller_percent"] is not None:
        yield [Ends(*c["fieller_percent"])]
    if c["units_to_decide"] is not None:
        yield [str(c["units_to_decide"])]
    yield from ([why] for why in (c["why_no_interval"], c["why_no_percent"]) if why)


def budget_rows(r):
    b = r["budget"]
    per_cent = b["percent_standard_uncertainty"] is not None
    for s in b["sources"]:
        behind = [Number(s["percent_contribution"]), Number(100 * s["percent_share"])] if per_cent else []
        front = [s["kind"], Number(s["degrees_of_freedom"]), Number(s["contribution"]), Number(100 * s["share"])]
        yield [*front, *behind, s["stated"], s["counted"]]
    behind = [Number(b["percent_standard_uncertainty"]), "100.0"] if per_cent else []
    front = ["", Number(b["degrees_of_freedom"]), Number(b["standard_uncertainty"]), "100.0"]
    yield [*front, *behind, "root of the sum of squares", ""]


def unit_rows(r):
    keys = r["settings"]["comparison"]
    cells = {(u["group"], u["unit"], u["condition"]): u for u in r["units"]}
    for group, unit in dict.fromkeys((u["group"], u["unit"]) for u in r["units"]):
        row = []
        for condition in (keys["before"], keys["after"]):
            u = cells.get((group, unit, condition))
            row += [Number(u["value"]), f"{u['mounts']}, {u['runs']}"] if u else ["", ""]
        yield row


def run_rows(r):
    for run in r["runs"]:
        what = " ".join(filter(None, (run["article"], run["condition"]))) or run["role"]
        what += f", mount {run['mount']}" if run["mount"] else ""
        yield [
            run["start"][:16].replace("T", " "),
            what,
            Number(run["level"]["value"]),
            Number(run["level"]["standard_uncertainty"]),
            run["settled"]["status"],
            Flags(run),
            Number(run["drift_removed"], ""),
            Number(run["corrected"], ""),
            "yes" if run["used"] else f"no: {run['why_not_used']}",
        ]


class Flags:
    """Counts of flags, and the level without the flagged samples."""

    def __init__(self, run):
        self.run = run

    def fits(self, cell):
        s, without = self.run["screening"], self.run["level_without_flagged"]
        words = [] if cell == "none" else cell.split("; ")
        if without is not None:
            assert agrees(words.pop().removeprefix("level without flagged "), without)
        counts = {
            "spike": len(s["spikes"]),
            "stuck": len(s["stuck"]),
            "clipped": len(s["clipped"]),
            "gap": len(s["gaps"]),
        }
        found = {word.replace("× ", "").split()[1]: int(word.split()[0]) for word in words}
        return found == {name: n for name, n in counts.items() if n} and not any(s["off_point"].values())


def choice_rows(r):
    s = r["sensitivity"]
    notes = list(dict.fromkeys(c["note"] for c in s["choices"] if c["note"]))
    for c in (s["planned"], *s["choices"]):
        verdict = ("changed: " if c["changed"] else "") + c["verdict"]
        verdict += f" (note {notes.index(c['note']) + 1})" if c["note"] and not c["headline"] else ""
        yield [
            Number(c["saving"]),
            Ends(c["low"], c["high"]),
            Number(c["percent"]),
            Ends(c["percent_low"], c["percent_high"]),
            verdict,
        ]


def left_out_rows(r):
    s = r["influence"]
    for c in (s["planned"], *s["rows"]):
        moved = Number(c["shift"]) if c["left_out"] else ""
        yield [
            Number(c["saving"]),
            moved,
            Ends(c["low"], c["high"]),
            Number(c["percent"]),
            Ends(c["percent_low"], c["percent_high"]),
            ("changed: " if c["changed"] else "") + c["verdict"],
        ]


def difference_rows(r):
    for pair in r["ranking"]["comparisons"]:
        yield [
            Number(pair["difference"]),
            Ends(pair["low"], pair["high"]),
            Number(pair["standard_uncertainty"]),
            Number(pair["degrees_of_freedom"]),
            P(pair["p_adjusted"]),
            pair["verdict"]["words"],
        ]


def ratio_rows(r):
    for ratio in r["ranking"]["control_ratios"]:
        yield [Number(ratio["percent"]), Ends(ratio["low"], ratio["high"])]


def ranked_unit_rows(r):
    conditions = r["settings"]["comparison"]["conditions"]
    cells = {(u["unit"], u["condition"]): u["value"] for u in r["units"]}
    for unit in dict.fromkeys(u["unit"] for u in r["units"]):
        yield [Number(cells[unit, condition]) for condition in conditions]
    yield [Number(r["ranking"]["means"][condition]) for condition in conditions]


def ranked_further_rows(r):
    k = r["ranking"]
    yield [", ".join(k["order"])]
    yield from ([", ".join(group)] for group in k["groups"])
    yield from ([P(k["overall"]["p_value"])], [k["overall"]["method"]])
    yield from ([Number(k["comparisons"][0]["verdict"]["matters"])], [k["method"]])


def plan_rows(r):
    yield from ([r["plan"]["sha256"]], [str(r["plan"]["planned_runs"])])


def look_rows(r):
    yield from ([str(look["runs"]), look["units"], look["verdict"]] for look in r["earlier_looks"])


RUNS = (
    "Runs in bench order; start in the bench's own time; u: standard uncertainty of the level; corrected: drift of the "
    "bench removed"
)
TWO = {
    "The saving and its interval": saving_rows,
    "What goes with it": further_rows,
    "Unit values": unit_rows,
    "One decision changed at a time away from the plan": choice_rows,
}
SEVERAL = {
    "Differences; their intervals hold together": difference_rows,
    "Levels in percent of the control; intervals hold together": ratio_rows,
    "What goes with them": ranked_further_rows,
    "Unit values": ranked_unit_rows,
}


def asked(name):
    r, wanted = sealed(name), {RUNS: run_rows, **(SEVERAL if name == "several" else TWO)}
    if not r["budget"]["why_none"]:
        wanted["Uncertainty budget of the saving"] = budget_rows
    if r["influence"] and r["influence"]["rows"]:
        wanted["The whole comparison without one unit"] = left_out_rows
    if name == "planned":
        del wanted["One decision changed at a time away from the plan"]
        wanted |= {"Sealed plan": plan_rows, "Earlier looks at other states of the data": look_rows}
    return wanted


def labels(name, caption):
    """First column where the record gives it."""
    r = sealed(name)
    if caption == RUNS:
        return [run["run"] for run in r["runs"]]
    if caption == "Uncertainty budget of the saving":
        return [*(s["source"] for s in r["budget"]["sources"]), "combined"]
    if caption == "One decision changed at a time away from the plan":
        return ["planned", *(c["choice"] for c in r["sensitivity"]["choices"])]
    if caption == "The whole comparison without one unit":
        out = r["influence"]["rows"]
        return ["none", *(c["left_out"] + (" (untouched)" if c["group"] == "control" else "") for c in out)]
    if caption == "Differences; their intervals hold together":
        return [f"{pair['second']} against {pair['first']}" for pair in r["ranking"]["comparisons"]]
    return None


def wrong_cells(name, caption, rows):
    """Places of the cells that do not say what the record says."""
    first = labels(name, caption)
    wanted = list(asked(name)[caption](sealed(name)))
    assert len(rows) == len(wanted) and (first is None or [row[0] for row in rows] == first)
    wrong = []
    for i, (row, cells) in enumerate(zip(rows, wanted, strict=True)):
        wrong += [(i, j) for j, (cell, want) in enumerate(zip(row[1:], cells, strict=True), 1) if not fits(cell, want)]
    return wrong


CASES = [(name, caption) for name in NAMES for caption in asked(name)]


@pytest.mark.parametrize(("name", "caption"), CASES)
def test_every_cell_is_what_the_record_says(name, caption):
    assert wrong_cells(name, caption, tables(name)[caption][1:]) == []


@pytest.mark.parametrize(("name", "caption"), [case for case in CASES if case[0] in {"paired", "several", "planned"}])
def test_one_changed_digit_in_any_cell_is_found(name, caption):
    rows = tables(name)[caption][1:]
    digits = [
        (i, j, m.start())
        for i, row in enumerate(rows)
        for j, cell in enumerate(row)
        if j
        for m in re.finditer(r"\d", cell)
    ]
    assert digits
    for i, j, at in digits:
        cell = rows[i][j]
        changed = [list(row) for row in rows]
        changed[i][j] = cell[:at] + str((int(cell[at]) + 3) % 10) + cell[at + 1 :]
        try:
            found = wrong_cells(name, caption, changed)
        except (AssertionError, ValueError):
            continue
        assert (i, j) in found, f"{cell!r} as {changed[i][j]!r} passes"


@pytest.mark.parametrize("name", NAMES)
def test_words_of_statement_choices_and_units_are_those_of_the_record(name):
    r, words = sealed(name), "".join(read_sheet.Sheet(page_without_pictures(result(name))).words)
    told = [line for part in ("sentences", "scope", "not_claimed") for line in r["statement"][part]]
    for part in ("sensitivity", "influence"):
        told += r[part]["sentences"] if r[part] else []
        told += [item["reason"] for item in (r[part] or {}).get("not_applied", [])]
        told += [item["reason"] for item in (r[part] or {}).get("not_left_out", [])]
    told += [c["note"] for c in r["sensitivity"]["choices"]] if r["sensitivity"] else []
    assert [line for line in told if line not in words] == []


HOSTILE = "</td><script>alert(\"1\")</script><img src=x onerror='a'> & \u202e9.99 W\u202c \u200f"


def test_hostile_names_stay_text_wherever_they_come_in():
    found = result("paired")
    trial = found._trial
    runs = tuple(
        replace(
            run, article=f"{run.article} {HOSTILE}" if run.article else "", remarks=HOSTILE, file=f"samples/{HOSTILE}"
        )
        for run in trial.runs
    )
    s = trial.settings
    keys = {"question": HOSTILE, "note": HOSTILE, "measurand": HOSTILE, "unit": "W<b>"}
    settings = replace(
        s,
        trial=replace(s.trial, **keys),
        scope=replace(s.scope, articles=HOSTILE, bench=HOSTILE),
    )
    odd = analyse(replace(trial, runs=runs, settings=settings), choices=True)
    plan = replace(PLAN, departures=(f"run {HOSTILE}: made, not planned",), confounded=(HOSTILE,))
    odd = replace(odd, name=HOSTILE, inputs={f"samples/{HOSTILE}": "00"}, plan=plan)
    page = make_page(odd, dict.fromkeys(("saving", "budget", "pairs", "levels", "runs"), b""))
    read = read_sheet.Sheet(page)
    plain = read_sheet.Sheet(page_without_pictures(found))
    assert set(read.tags) <= {*plain.tags, "h3"}
    assert {key for _, key, _ in read.attributes} == {key for _, key, _ in plain.attributes}
    assert read.tags.count("img") == plain.tags.count("img")
    assert not re.search("[\u200e\u200f\u202a-\u202e\u2066-\u2069]", page)
    shown = HOSTILE.replace("\u202e", "[U+202E]").replace("\u202c", "[U+202C]").replace("\u200f", "[U+200F]")
    assert "".join(read.words).count(shown) > len(runs)
    assert [row[1] for row in read.tables["Remarks of the run sheet"][1:]] == [shown]
    assert read.headings[0] == shown
    assert f"samples/{shown}" in dict(read.tables["SHA-256 of every input file"][1:])
