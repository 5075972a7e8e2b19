"""Looks and unfinished plans: counted from the record, told in the notes."""

from dataclasses import replace

import pytest

from lossstats.conclusion.analysis import analyse
from lossstats.conclusion.looks import FILE, Look, digest_of, earlier_looks, look_notes, looks_text
from lossstats.review.reproduction import reproduce
from lossstats.simulator.simulate import Display, Noise, Readings, declare, lay_out, simulate_trial
from lossstats.trial_folder.trial import write_trial

READINGS = Readings(samples=30, interval_s=20.0, noise=Noise(correlated_sd=0.003, phi=0.2), display=Display(step=0.001))


@pytest.fixture(scope="module")
def trial():
    plan = replace(lay_out("paired", articles=4), readings=READINGS)
    settings = declare(plan)
    keys = replace(settings.comparison, planned_units=6)
    return simulate_trial(replace(plan, settings=replace(settings, comparison=keys)), rng=3)[0]


def only(trial, articles):
    """The same trial as it stood when only some articles had been measured."""
    return replace(trial, runs=tuple(r for r in trial.runs if r.role != "test" or r.article in articles))


def test_each_new_state_of_the_files_is_a_look_and_a_repeat_is_none(trial, tmp_path):
    write_trial(only(trial, {"K01", "K02", "K03"}), tmp_path / "early")
    first = analyse(tmp_path / "early")
    first.save(tmp_path / "early")
    again = analyse(tmp_path / "early")
    assert again.earlier_looks == ()
    write_trial(trial, tmp_path / "late")
    (tmp_path / "late" / "results").mkdir()
    kept = (tmp_path / "early" / "results" / FILE).read_text(encoding="utf-8")
    (tmp_path / "late" / "results" / FILE).write_text(kept, encoding="utf-8")
    second = analyse(tmp_path / "late")
    assert [look.units for look in second.earlier_looks] == ["3"]
    assert any(note.startswith("look 2 at this trial, earlier ones: 3 units") for note in second.statement.notes)
    second.save(tmp_path / "late")
    assert len((tmp_path / "late" / "results" / FILE).read_text(encoding="utf-8").splitlines()) == 3
    assert reproduce(tmp_path / "late").agrees


def test_a_save_that_was_killed_loses_no_look(trial, tmp_path):
    """Between its two moves a save has put the earlier results aside and the new ones not yet in their place."""
    write_trial(only(trial, {"K01", "K02", "K03"}), tmp_path / "trial")
    analyse(tmp_path / "trial").save(tmp_path / "trial")
    (tmp_path / "trial" / "results").rename(tmp_path / "trial" / ".results-old-0ef23ab9")
    write_trial(trial, tmp_path / "more")
    for name in ("run_sheet.csv", "samples"):
        (tmp_path / "trial" / name).rename(tmp_path / f"old_{name}")
        (tmp_path / "more" / name).rename(tmp_path / "trial" / name)
    found = analyse(tmp_path / "trial")
    assert len(found.earlier_looks) == 1
    assert any(note.startswith("look 2 at this trial") for note in found.notes)


def test_another_rule_on_the_same_units_is_no_growing_sample(trial, tmp_path):
    write_trial(trial, tmp_path / "trial")
    analyse(tmp_path / "trial").save(tmp_path / "trial")
    keys = replace(trial.settings.comparison, confidence=0.9)
    changed = replace(trial, settings=replace(trial.settings, comparison=keys))
    write_trial(changed, tmp_path / "changed")
    (tmp_path / "trial" / "trial.toml").write_bytes((tmp_path / "changed" / "trial.toml").read_bytes())
    (note,) = (n for n in analyse(tmp_path / "trial").notes if n.startswith("look 2"))
    assert "the units are as many: a rule, a setting or a reading is another one" in note
    assert "17 %" not in note


def test_a_plan_not_carried_out_says_so(trial):
    assert any("analysed early: 4 of the 6 units a condition" in note for note in analyse(trial).notes)
    assert look_notes((), [6], 6) == ()


def test_a_broken_record_is_named(tmp_path):
    (tmp_path / FILE).write_text(looks_text([Look("a" * 64, 12, "3", "saves")]) + "half a line\n", encoding="utf-8")
    with pytest.raises(
        ValueError, match=r"looks.csv, line 3: found 'half a line'; accepted: inputs,runs,units,verdict"
    ):
        earlier_looks(tmp_path, {"trial.toml": "b"})


def test_digest_hangs_on_every_name_and_hash():
    one = digest_of({"a": "1", "b": "2"})
    assert one == digest_of({"b": "2", "a": "1"})
    assert len({one, digest_of({"a": "2", "b": "1"}), digest_of({"a": "1"}), digest_of({})}) == 4


def test_a_corrected_note_is_no_growing_sample():
    """Same units as at the earlier look: named, without the warning against looking after every added unit."""
    earlier = [Look("a" * 64, 12, "6", "saves")]
    (same,) = look_notes(earlier, [6], None)
    (more,) = look_notes(earlier, [7], None)
    assert "the units are as many" in same and "17 %" not in same
    assert "17 %" in more
