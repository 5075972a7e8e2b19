"""The plan of a trial as numbers: articles, mounts, runs, the spread of each, and what the difference will vary by."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Any, Literal, get_args

from lossstats.planning.interval_power import (
    FINE_NODES,
    Factor,
    HalfWidths,
    family_factor,
    half_widths,
    quick_student_factor,
    student_factor,
)
from lossstats.planning.planned_checks import cautions, check_numbers, check_spreads
from lossstats.planning.planned_spread import face_values, known_term, planned_spreads, shared_terms, units_of_groups
from lossstats.records.estimate import Term, combine
from lossstats.records.rendering import Record, shown_dof

Design = Literal["paired", "crossover", "independent", "controls", "single", "several"]


@dataclass(frozen=True)
class PlannedDesign(Record):
    """A trial before the bench is booked.

    Attributes
    ----------
    design : {"paired", "crossover", "independent", "controls", "single", "several"}
        As in trial.toml.
    articles : int
        In each condition; crossover: in both orders together; controls: treated ones; single: 1.
    components : mapping of str to float or (float, float)
        Standard deviation by source, in `unit`, or with its degrees of freedom where it is an estimate: ``article``
        (between articles), ``change`` (of the true change of an article between two conditions), ``mount`` (refit),
        ``run`` (repeat without refit), ``readings`` (part of a run that falls as runs get longer). A source that is
        left out counts as contained in the others.
    mounts : int
        Of each article in each condition.
    runs : int
        Of each mount.
    run_length : float
        Length of a run over that of the runs from which ``readings`` comes.
    controls : int or None
        Untouched articles (design controls); None: as many as treated ones.
    conditions : int
        Three or more for design several, else 2.
    against_control : bool
        Design several: each condition against one control, not all pairs.
    blocks : bool
        Design several: every article in every condition.
    references : int
        Reference runs of each session, spread evenly over it, where each condition has a session of its own.
    reference_sd : float
        Standard deviation of one reference run, refit included.
    shared : mapping of str to float or (float, float)
        Errors that scatter cannot show, as in `lossstats.compare_pairs`: ``gain`` (relative), ``rezero``
        (of one zero), ``drift`` (of the difference), any other name (of the difference), each with degrees of freedom
        if it has any.
    confidence : float
        Of the interval; of all intervals together for design several.
    assurance : float or None
        Chance that the plan reaches its power although standard deviations are estimates; None takes them at face
        value.
    unit : str
        Unit of the measurand.
    repeatability : float, (float, float) or None
        Standard deviation of the level of one mount, known from elsewhere (design single); it takes the place of
        `components` and of the scatter between mounts, so that one mount of each condition is enough.

    Raises
    ------
    ValueError
        Names the argument, what was found and what would be accepted.

    Notes
    -----
    Variance of one pair's difference: change² + 2 (mount² / m + run² / (m r)); of one article in one of two
    independent groups: article² + change² / 2 + mount² / m + run² / (m r). The shared errors are added once and do
    not fall with the number of articles.

    Examples
    --------
    >>> plan = PlannedDesign("paired", 6, {"change": 0.1, "mount": 0.1, "run": 0.05}, mounts=2)
    >>> round(plan.sd, 4), plan.degrees_of_freedom, plan.smallest_exact_p
    (0.15, 5.0, 0.03125)
    """

    design: Design
    articles: int
    components: Mapping[str, Any]
    mounts: int = 1
    runs: int = 1
    run_length: float = 1.0
    controls: int | None = None
    conditions: int = 2
    against_control: bool = False
    blocks: bool = True
    references: int = 0
    reference_sd: float = 0.0
    shared: Mapping[str, Any] = field(default_factory=dict)
    confidence: float = 0.95
    assurance: float | None = 0.8
    unit: str = "W"
    repeatability: Any = None

    title = "Planned trial"

    def __post_init__(self) -> None:
        check_numbers(self, get_args(Design))
        check_spreads(self)
        if min(sd.standard_uncertainty for sd, _ in face_values(self)) == 0:
            raise ValueError(
                f"components: found a spread of 0 for the units of design {self.design}; accepted: at least one "
                "standard deviation above 0 among those that reach its difference"
            )

    @property
    def units(self) -> tuple[int, ...]:
        """Number of units of replication of each group of the comparison.

        Returns
        -------
        tuple of int
            Pairs; or units a group.
        """
        return units_of_groups(self)

    @property
    def comparisons(self) -> int:
        """Number of comparisons whose intervals are to hold together.

        Returns
        -------
        int
            1 but for design several.
        """
        k = self.conditions
        return k - 1 if self.against_control else k * (k - 1) // 2

    @property
    def sd(self) -> float:
        """Standard deviation of a unit: of one pair's difference, or of one unit of a group.

        Returns
        -------
        float
            As planned with: at face value times `inflation`.
        """
        return face_values(self)[0][0].standard_uncertainty * self.inflation

    @property
    def inflation(self) -> float:
        """Factor on the standard deviation that estimates call for.

        Returns
        -------
        float
            Of the first group: root of ν over the chi-square quantile of 1 - assurance; less where fewer mounts or
            runs have a lower limit, which then holds for this plan as well; 1 for standard deviations taken as known.
        """
        return planned_spreads(self)[0][0] / face_values(self)[0][0].standard_uncertainty

    @property
    def scatter(self) -> tuple[Term, ...]:
        """What each group of units contributes to the uncertainty of the difference.

        Returns
        -------
        tuple of Term
            Standard uncertainty and degrees of freedom, one a group; none with a known repeatability.
        """
        if self.repeatability is not None:
            return ()
        share = 0.5 if self.design == "crossover" else 1.0  # the difference is the mean of the two order means
        return tuple(Term(share * sd / math.sqrt(n), n - 1) for sd, n in planned_spreads(self))

    @property
    def degrees_of_freedom(self) -> float:
        """Expected effective degrees of freedom of the scatter.

        Returns
        -------
        float
            Pairs less one, or by Welch and Satterthwaite.
        """
        return combine([*self.scatter, known_term(self)]).degrees_of_freedom

    def shared_terms(self, difference: float = 0.0) -> dict[str, Term]:
        """Give the errors that do not fall with the number of articles, by what they do to the difference.

        Parameters
        ----------
        difference : float, default 0
            True difference, of which a gain error takes its share.

        Returns
        -------
        dict of str to Term
            Those above 0.
        """
        return shared_terms(self, difference)

    def standard_uncertainty(self, difference: float = 0.0) -> float:
        """Give the combined standard uncertainty expected of the difference.

        Parameters
        ----------
        difference : float, default 0
            True difference.

        Returns
        -------
        float
            In `unit`.
        """
        return combine([*self.scatter, known_term(self), *self.shared_terms(difference).values()]).standard_uncertainty

    def interval_widths(self, difference: float = 0.0, *, fine: bool = False) -> HalfWidths:
        """Give the half-widths that the interval of the trial may have, with their chances.

        Parameters
        ----------
        difference : float, default 0
            True difference.
        fine : bool, default False
            With more nodes.

        Returns
        -------
        HalfWidths
            For one comparison.
        """
        scatter = self.scatter
        shared = combine([known_term(self), *self.shared_terms(difference).values()])
        if not scatter:
            return half_widths((), shared, self._factor())
        least = min(term.degrees_of_freedom for term in scatter)
        if not fine:
            return half_widths(scatter, shared, self._factor(), nodes=81 if len(scatter) == 2 and least == 1 else None)
        quick = self.design != "several" and len(scatter) == 2  # nodes by the ten thousand
        factor = quick_student_factor(self.confidence, least) if quick else self._factor()
        return half_widths(scatter, shared, factor, nodes=FINE_NODES[len(scatter)])

    def widths_of_shared(self, difference: float = 0.0) -> HalfWidths | None:
        """Give the half-width that any number of articles would leave.

        Parameters
        ----------
        difference : float, default 0
            True difference.

        Returns
        -------
        HalfWidths or None
            From shared errors alone; None where there are none.
        """
        shared = combine(list(self.shared_terms(difference).values()))
        return half_widths((), shared, self._factor()) if shared.standard_uncertainty > 0 else None

    def of_size(self, units: int) -> PlannedDesign:
        """The same plan with another number of units.

        Parameters
        ----------
        units : int
            Articles; mounts for design single.

        Returns
        -------
        PlannedDesign
            All else the same.
        """
        return replace(self, mounts=units) if self.design == "single" else replace(self, articles=units)

    @property
    def size(self) -> int:
        """Number that `of_size` sets.

        Returns
        -------
        int
            Articles; mounts for design single.
        """
        return self.mounts if self.design == "single" else self.articles

    @property
    def smallest_exact_p(self) -> float | None:
        """Smallest two-sided p that the exact test can reach with these units.

        Returns
        -------
        float or None
            2 / 2^n for pairs; for groups 2 or, where they are unequal, 1 over the number of allocations. None for
            design several and for a known repeatability, which have no exact test.
        """
        if self.design == "several" or self.repeatability is not None:
            return None
        if len(self.units) == 1:
            return 2.0 ** (1 - self.units[0])
        n1, n2 = self.units
        return (2 if n1 == n2 else 1) / math.comb(n1 + n2, n1)

    @property
    def notes(self) -> tuple[str, ...]:
        """What must be known before the bench is booked.

        Returns
        -------
        tuple of str
            Sentences.
        """
        return cautions(self)

    @property
    def verdict_possible(self) -> bool:
        """Whether the finished trial would give a verdict.

        Returns
        -------
        bool
            Three units of each group, or a known repeatability.
        """
        return min(self.units) > 2 or self.repeatability is not None

    def _factor(self) -> Factor:
        if self.design != "several":
            return student_factor(self.confidence)
        family = "blocks" if self.blocks else "control" if self.against_control else "pairs"
        return family_factor(family, self.conditions, self.comparisons, self.articles - 1, self.confidence)

    def _rows(self) -> list[tuple[str, str]]:
        of = {"paired": "pairs", "single": "mounts a condition", "controls": "treated and untouched articles"}
        counts = " and ".join(str(n) for n in self.units)
        rows = [
            ("design", self.design),
            (of.get(self.design, "articles of each group"), counts),
            ("mounts, runs a mount", f"{self.mounts}, {self.runs}"),
            ("sd of a unit", f"{self.sd:.3g} {self.unit}"),
            ("degrees of freedom", shown_dof(self.degrees_of_freedom)),
            ("standard uncertainty of the difference", f"{self.standard_uncertainty():.3g} {self.unit}"),
        ]
        rows += [(f"shared: {name}", f"{u:.3g} {self.unit}") for name, (u, _) in self.shared_terms().items()]
        if self.smallest_exact_p is not None:
            rows.append(("smallest exact p", f"{self.smallest_exact_p:.2g}"))
        return rows + [("note", note) for note in self.notes]
