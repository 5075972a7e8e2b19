"""One verdict: readings and ways of pairing are alternatives, checks are not."""

import pytest

from lossstats.audit.audit_check import Check
from lossstats.audit.audit_readings import Reading
from lossstats.audit.audit_verdict import overall_verdict
from lossstats.audit.quoted_samples import read_samples

GOOD, BAD, OPEN = "agrees", "cannot all be true", "cannot be told"


def reading(verdict, key="before"):
    return Reading(key, f"of the {key}" if key else "levels and saving", verdict, {}, {}, (), {}, (), {})


@pytest.mark.parametrize(
    ("readings", "common", "pairings", "verdict", "why"),
    [
        ([GOOD], [], [[]], GOOD, "of the before"),
        ([BAD, GOOD], [], [[]], GOOD, "of the before"),
        ([BAD, OPEN], [], [[]], OPEN, "of the before, by what is quoted"),
        ([BAD, BAD], [], [[]], BAD, "every reading of the percentage"),
        ([BAD], [], [[]], BAD, "of the before"),
        ([GOOD], [BAD], [[]], BAD, "common"),
        ([GOOD], [GOOD, OPEN], [[GOOD], [GOOD]], GOOD, "of the before"),
        ([GOOD], [], [[BAD], [GOOD]], GOOD, "of the before, if paired"),
        ([GOOD], [], [[BAD], [BAD]], BAD, "pairing 0"),
        ([GOOD], [], [[BAD]], BAD, "pairing 0"),
        ([], [GOOD], [[]], GOOD, "nothing quoted speaks against the rest"),
        ([], [OPEN], [[]], OPEN, "there is nothing that the figures could be held against"),
        ([], [], [[]], OPEN, "there is nothing that the figures could be held against"),
    ],
)
def test_together(readings, common, pairings, verdict, why):
    designs = [read_samples(n=4, paired=False), read_samples(n=4)][: len(pairings)]
    found = overall_verdict(
        tuple(reading(v) for v in readings),
        [Check("common", v, "") for v in common],
        [[Check(f"pairing {k}", v, "") for k, v in enumerate(p)] for p in pairings],
        designs,
    )
    assert found == (verdict, why)


def test_levels_without_a_percentage():
    assert overall_verdict((reading(BAD, ""),), [], [[]], [read_samples()]) == (BAD, "levels and saving")
