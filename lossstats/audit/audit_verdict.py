"""One verdict of readings and checks."""

from __future__ import annotations

from typing import Literal

from lossstats.audit.audit_check import Check
from lossstats.audit.audit_readings import Reading, Word
from lossstats.audit.quoted_samples import QuotedSamples

_CANNOT: Literal["cannot all be true"] = "cannot all be true"


def overall_verdict(
    readings: tuple[Reading, ...],
    common: list[Check],
    by_design: list[list[Check]],
    designs: list[QuotedSamples],
) -> tuple[Word, str]:
    """One verdict: the readings of the percentage are alternatives, the ways of pairing too, the checks are not.

    Parameters
    ----------
    readings : tuple of Reading
        One a reading of the percentage; one of them must be possible.
    common : list of Check
        None of them may fail.
    by_design : list of list of Check
        One list a way of pairing; in one of them none may fail.
    designs : list of QuotedSamples
        The ways of pairing.

    Returns
    -------
    tuple of str
        Verdict, and under which reading or by which check.
    """
    failed = [check.name for check in common if check.verdict == _CANNOT]
    broken = [[check.name for check in found if check.verdict == _CANNOT] for found in by_design]
    if all(broken):
        failed += [name for name in dict.fromkeys(broken[0]) if all(name in names for names in broken)] or broken[0]
    fitting = [reading.words for reading in readings if reading.verdict == "agrees"]
    open_to = [reading.words for reading in readings if reading.verdict == "cannot be told"]
    if readings and not fitting and not open_to:
        named = readings[0].words if readings[0].percent_of else "levels and saving"
        failed.insert(0, named if len(readings) == 1 else "every reading of the percentage")
    if failed:
        return _CANNOT, "; ".join(failed)
    only = [d.design for d, names in zip(designs, broken, strict=True) if not names] if any(broken) else []
    tail = f", {only[0]}" if only else ""
    if readings and not fitting:
        return "cannot be told", " or ".join(open_to) + ", by what is quoted" + tail
    if fitting:
        return "agrees", ", or ".join(_only_while(r) for r in readings if r.verdict == "agrees") + tail
    checks = [check for found in (common, *by_design) for check in found]
    if any(check.verdict == "agrees" for check in checks):
        return "agrees", "nothing quoted speaks against the rest" + tail
    return "cannot be told", "there is nothing that the figures could be held against" + tail


def _only_while(reading: Reading) -> str:
    return reading.words + (" (only while " + " and ".join(reading.only_while) + ")" if reading.only_while else "")
