"""The sealed plan. Evidence: the hash recomputed in the test from the file alone, as the docstring says it is taken."""

import hashlib
import json
import math
from dataclasses import fields, replace

import pytest
from planned import planned

from lossstats.run_plan.run_order import lay_out_runs
from lossstats.trial_folder.faults import TrialError
from lossstats.trial_folder.plan_file import FILE, json_values, plan_text, planned_settings, read_plan, seal_plan
from lossstats.trial_folder.settings import Column, InstrumentKeys, ScopeKeys, Settings


@pytest.fixture
def trial():
    return planned(one_way=True, wash_hours=2, dry_hours=14, comparison={"difference_that_matters": 0.25})


@pytest.fixture
def sealed(trial, tmp_path):
    plan = seal_plan(trial, lay_out_runs(trial))
    (tmp_path / FILE).write_text(plan_text(plan), encoding="utf-8")
    return plan, tmp_path


def edit(folder, change):
    content = json.loads((folder / FILE).read_text(encoding="utf-8"))
    change(content)
    (folder / FILE).write_text(json.dumps(content), encoding="utf-8")


def test_a_plan_is_read_as_it_was_sealed(trial, sealed):
    plan, folder = sealed
    again = read_plan(folder)
    assert again == plan
    assert again.question == "Does a wash pay?"
    assert again.difference_that_matters == 0.25
    assert again.design == "paired"
    assert again.runs == lay_out_runs(trial).runs
    assert again.confounded == lay_out_runs(trial).confounded


def test_the_hash_as_the_docstring_says(sealed):
    plan, folder = sealed
    content = json.loads((folder / FILE).read_text(encoding="utf-8"))
    parts, whole = content.pop("sha256_of_parts"), content.pop("sha256")

    def digest(value):
        text = json.dumps(value, sort_keys=True, separators=(",", ":"), ensure_ascii=False)
        return hashlib.sha256(text.encode()).hexdigest()

    assert whole == plan.sha256 == digest(content)
    assert parts == {name: digest(content[name]) for name in content if name != "format"}


def test_the_hash_does_not_hang_on_how_the_file_is_set_out(sealed):
    plan, folder = sealed
    edit(folder, lambda content: content.update(order=content.pop("order")))
    assert read_plan(folder) == plan


def test_every_table_is_part_of_the_plan(trial, sealed):
    """A factor in [log] moves every number, and the words of [scope] are the claim."""
    for other in (
        replace(trial, scope=ScopeKeys("another bench")),
        replace(trial, log=replace(trial.log, value=Column("loss_W", 1.5))),
        replace(trial, log=replace(trial.log, value=Column("loss_2_W"))),
        replace(trial, instrument=InstrumentKeys(gain=0.005)),
    ):
        assert seal_plan(other, lay_out_runs(other)).sha256 != sealed[0].sha256
    assert set(planned_settings(trial)) == {field.name for field in fields(Settings)}


EDITS = [
    (lambda c: c.update(question="Does it?"), "question"),
    (lambda c: c.update(difference_that_matters=0.1), "difference_that_matters"),
    (lambda c: c.update(design="crossover"), "design"),
    (lambda c: c["settings"]["instrument"].update(gain=0.1), "settings"),
    (lambda c: c["order"][3].update(article="K09"), "order"),
    (lambda c: c["order"].reverse(), "order"),
    (lambda c: c["confounded"].pop(), "confounded"),
    (lambda c: (c.pop("question"), c["order"].pop()), "question, order"),
]


@pytest.mark.parametrize(("change", "named"), EDITS, ids=range(len(EDITS)))
def test_an_edited_plan_is_found_and_the_part_named(sealed, change, named):
    edit(sealed[1], change)
    with pytest.raises(
        TrialError, match=rf"plan.json: found another {named} than was sealed \(SHA-256 [0-9a-f]{{12}}…"
    ):
        read_plan(sealed[1])


def test_an_edit_with_its_part_hash_edited_too_is_found(sealed):
    edit(sealed[1], lambda content: content["sha256_of_parts"].update(question="0" * 64))
    assert read_plan(sealed[1]) == sealed[0]  # the hash of the whole holds
    edit(sealed[1], lambda content: content.update(sha256="0" * 64))
    with pytest.raises(TrialError, match="found another question than was sealed"):
        read_plan(sealed[1])
    edit(sealed[1], lambda content: content.update(extra=1, sha256="0" * 64))
    with pytest.raises(TrialError, match=r"accepted: the file as .lossstats plan. wrote it"):
        read_plan(sealed[1])


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("", "found no JSON"),
        ("[1]", "key format: found a list; accepted: format 1"),
        ('{"format": 2}', "key format: found 2; accepted: format 1"),
        ('{"format": 1}', "key sha256: found no hash"),
        ("[" * 5000, "found no JSON"),
    ],
)
def test_another_file_is_refused(tmp_path, text, told):
    (tmp_path / FILE).write_text(text, encoding="utf-8")
    with pytest.raises(TrialError, match=f"plan.json.*{told}"):
        read_plan(tmp_path)


def test_a_sealed_file_without_its_parts_is_refused(tmp_path):
    text = json.dumps({"format": 1}, separators=(",", ":"))
    content = {"format": 1, "sha256_of_parts": {}, "sha256": hashlib.sha256(text.encode()).hexdigest()}
    (tmp_path / FILE).write_text(json.dumps(content), encoding="utf-8")
    with pytest.raises(
        TrialError, match="key order: found no such part, or another kind of value in order; accepted: a list of runs"
    ):
        read_plan(tmp_path)


def reseal(folder, change):
    """Somebody seals another thing with a hash that fits."""
    content = json.loads((folder / FILE).read_text(encoding="utf-8"))
    parts, _ = content.pop("sha256_of_parts"), content.pop("sha256")
    change(content)
    text = json.dumps(content, sort_keys=True, separators=(",", ":"), ensure_ascii=False)
    content.update(sha256_of_parts=parts, sha256=hashlib.sha256(text.encode()).hexdigest())
    (folder / FILE).write_text(json.dumps(content), encoding="utf-8")


RESEALED = [
    (lambda c: c.update(question=3), "key question: .*accepted: text"),
    (lambda c: c.update(difference_that_matters="much"), "key difference_that_matters: .*accepted: a number or null"),
    (lambda c: c.update(settings=[]), "key settings: .*accepted: tables with their keys"),
    (lambda c: c["settings"].update(plan=None), r"key settings.plan: found .*accepted: a table with first_start"),
    (lambda c: c["settings"]["plan"].update(wash_hours="long"), "key settings.plan.wash_hours: found the text 'long'"),
    (lambda c: c["settings"]["plan"].pop("first_start"), "key settings.plan.first_start: found no such key"),
    (lambda c: c.update(order=[]), "key order: found no run"),
    (lambda c: c.update(confounded=[1]), "key order: found no run, or no text"),
    (lambda c: c["order"][1].update(article=5), "key order, entry 2: found an entry that is no run"),
    (lambda c: c["order"][1].update(role="tests"), "key order, entry 2"),
    (lambda c: c["order"][2].update(start="2031-03-03"), "key order, entry 3"),
    (lambda c: c["order"][0].pop("mount"), "key order, entry 1"),
    (lambda c: c["order"].insert(0, "r01"), "key order, entry 1"),
]


@pytest.mark.parametrize(("change", "told"), RESEALED, ids=range(len(RESEALED)))
def test_what_is_no_plan_is_refused_although_its_hash_fits(sealed, change, told):
    reseal(sealed[1], change)
    with pytest.raises(TrialError, match=f"plan.json, {told}"):
        read_plan(sealed[1])


def test_a_key_of_another_version_is_passed_over(sealed):
    reseal(sealed[1], lambda content: content["settings"]["plan"].update(later=1))
    assert read_plan(sealed[1]).keys == sealed[0].keys


def test_no_plan_and_a_link_to_one(sealed, tmp_path):
    (tmp_path / "other").mkdir()
    assert read_plan(tmp_path / "other") is None
    (tmp_path / "other" / FILE).symlink_to(sealed[1] / FILE)
    with pytest.raises(TrialError, match="plan.json: found a symbolic link"):
        read_plan(tmp_path / "other")


def test_infinity_is_text():
    assert json_values({"a": [math.inf, 1.0, None]}) == {"a": ["inf", 1.0, None]}


def test_three_renderings(sealed):
    plan, _ = sealed
    assert plan.sha256 in str(plan)
    assert "0.25" in plan._repr_html_()
    assert plan.to_dict()["runs"][0]["run"] == "r01"
    assert "none was fixed" in str(replace(plan, difference_that_matters=None))
