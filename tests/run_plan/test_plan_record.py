"""What a result says of the plan behind it."""

from dataclasses import replace

from lossstats.conclusion.analysis import analyse
from lossstats.run_plan.plan_record import PlanRecord, plan_record
from lossstats.simulator.examples import example_trial


def test_no_plan_no_record_and_the_scope_says_so():
    trial = example_trial("one_chain")
    assert plan_record(trial) is None
    told = "Plan: none sealed; rules may have been set after the readings were seen."
    assert analyse(trial).statement.scope[-1] == told


def test_notes_name_each_departure_or_say_that_there_is_none():
    record = PlanRecord("ab" * 32, 12, ("all dirty runs come first",), ())
    assert record.notes == (f"carried out as the sealed plan says (12 runs, SHA-256 {'ab' * 6}…)",)
    assert "departure       none" in str(record)
    departed = replace(record, departures=("run r03: left out", "run r05: another article"))
    assert departed.notes == tuple(f"departs from the sealed plan: {d}" for d in departed.departures)
