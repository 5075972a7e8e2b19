"""What a planned trial is refused for, and what must be said of it before the bench is booked."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

from lossstats.records.argument_checks import above_zero, refuse, whole_number
from lossstats.records.estimate import Term, check_confidence

if TYPE_CHECKING:
    from lossstats.planning.planned_design import PlannedDesign

COMPONENTS = ("article", "change", "mount", "run", "readings")
# Without this one the spread of the unit is not known; what else is missing counts as contained in it.
_NEEDED = {"independent": "article", "single": "mount"}


def as_term(value: Any) -> Term:
    """Take a standard deviation with or without its degrees of freedom.

    Parameters
    ----------
    value : float or (float, float)
        As the user gave it.

    Returns
    -------
    Term
        Infinite degrees of freedom where none were given.
    """
    return Term(*value) if isinstance(value, tuple | list) else Term(value)


def checked_spread(name: str, value: Any) -> Term:
    """Pass a standard deviation with or without its degrees of freedom.

    Parameters
    ----------
    name : str
        Of the argument.
    value : float or (float, float)
        As the user gave it.

    Returns
    -------
    Term
        The same.

    Raises
    ------
    ValueError
        If one of the two is out of range.
    """
    sd, dof = term = as_term(value)
    if not (sd >= 0 and math.isfinite(sd)):
        refuse(name, value, "a standard deviation of 0 or above")
    if not dof > 0:
        refuse(name, value, "degrees of freedom above 0 beside it, or inf")
    return term


def check_numbers(plan: PlannedDesign, designs: tuple[str, ...]) -> None:
    """Refuse an unknown design, and numbers out of range.

    Parameters
    ----------
    plan : PlannedDesign
        The plan.
    designs : tuple of str
        Names of the designs.

    Raises
    ------
    ValueError
        Names the argument, what was found and what would be accepted.
    """
    if plan.design not in designs:
        raise ValueError(f"design: found {plan.design!r}; accepted: {', '.join(map(repr, designs))}")
    check_confidence(plan.confidence)
    if plan.assurance is not None and not 0 < plan.assurance < 1:
        raise ValueError(f"assurance: found {plan.assurance!r}; accepted: between 0 and 1, or None for face value")
    single, several = plan.design == "single", plan.design == "several"
    least = {
        "articles": {"crossover": 4, "single": 1}.get(plan.design, 2),
        "mounts": 2 if single and plan.repeatability is None else 1,
        "runs": 1,
    }
    least |= {"conditions": 3 if several else 2, "references": 0}
    if plan.controls is not None:
        least["controls"] = 2
    for name, at_least in least.items():
        whole_number(name, getattr(plan, name), at_least)
    _check_fit(plan)


def _check_fit(plan: PlannedDesign) -> None:
    """Numbers that do not go with the design."""
    single, several = plan.design == "single", plan.design == "several"
    for name, most in (("articles", 1 if single else None), ("conditions", None if several else 2)):
        if most is not None and getattr(plan, name) > most:
            raise ValueError(f"{name}: found {getattr(plan, name)!r}; accepted: {most} for design {plan.design}")
    if plan.controls is not None and plan.design != "controls":
        raise ValueError(
            f"controls: found {plan.controls!r} in design {plan.design}; accepted: design 'controls', or None"
        )
    if plan.repeatability is not None and (not single or plan.components):
        found = f"{len(plan.components)} components" if single else f"design {plan.design}"
        raise ValueError(
            f"repeatability: found {plan.repeatability!r} with {found}; accepted: design 'single' and no components, "
            "as it takes their place, or None"
        )
    if plan.references == 1:
        raise ValueError("references: found 1; accepted: 0, or at least 2 a session, to interpolate between them")
    above_zero("run_length", plan.run_length)


def check_spreads(plan: PlannedDesign) -> None:
    """Refuse unknown or negative standard deviations, and the lack of one that the design needs.

    Parameters
    ----------
    plan : PlannedDesign
        The plan.

    Raises
    ------
    ValueError
        Names the argument, what was found and what would be accepted.
    """
    unknown = [name for name in plan.components if name not in COMPONENTS]
    if unknown:
        raise ValueError(f"components: found {unknown[0]!r}; accepted: {', '.join(COMPONENTS)}")
    groups = {f"components[{k!r}]": v for k, v in plan.components.items()}
    groups |= {f"shared[{k!r}]": v for k, v in plan.shared.items()} | {"reference_sd": plan.reference_sd}
    if plan.repeatability is not None:
        groups["repeatability"] = plan.repeatability
    for name, value in groups.items():
        checked_spread(name, value)
    if plan.references and not plan.reference_sd > 0:
        raise ValueError(
            f"reference_sd: found {plan.reference_sd!r} with {plan.references} references; accepted: the standard "
            "deviation of one reference run, above 0"
        )
    grouped = plan.design == "several" and not plan.blocks
    needed = "article" if grouped else _NEEDED.get(plan.design, "change")
    if needed not in plan.components and plan.repeatability is None:
        raise ValueError(
            f"components: found {', '.join(plan.components) or 'none'}; accepted: {needed!r} among them, which design "
            f"{plan.design} needs (0 if it is known to be none)"
        )


def cautions(plan: PlannedDesign) -> tuple[str, ...]:
    """What must be known of a plan before the bench is booked.

    Parameters
    ----------
    plan : PlannedDesign
        Checked.

    Returns
    -------
    tuple of str
        Sentences.
    """
    notes = []
    if plan.design == "single":
        notes.append("the unit is the mount: whatever is found holds for this article only")
    if plan.design == "several":
        grouped = "many-to-one intervals" if plan.against_control else "intervals by the studentised range"
        held = "Bonferroni intervals" if plan.blocks else grouped
        notes.append(f"{plan.comparisons} comparisons with {held}; power is that of each one of them")
    if not plan.verdict_possible:
        notes.append("two units give an interval, but too little for a verdict")
    p = plan.smallest_exact_p
    if p is not None and p > 1 - plan.confidence:
        notes.append(f"so few units cannot reach p = {1 - plan.confidence:.3g} in the exact test: at best {p:.3g}")
    if plan.inflation != 1:
        notes.append(
            f"standard deviations are estimates: planned with {plan.inflation:.3g} times theirs, so that "
            f"{100 * (plan.assurance or 0):g} % of such plans reach their power"
        )
    if plan.design not in ("crossover", "controls") and not plan.references and "drift" not in plan.shared:
        notes.append("no reference runs and no drift term: a drift of the bench between the conditions is not in it")
    return tuple(notes)
