"""From a ground truth to a verdict over the tolerances, with the worst headroom and its place."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from enum import Enum
from fractions import Fraction
from typing import NamedTuple

from limitrules.language import ground as g
from limitrules.language.bounds import BUDGET, SHOWN_BUDGET, Extremes
from limitrules.language.exactly import Box, is_unbounded, number_over, point, truth_over
from limitrules.language.infimum import Infimum
from limitrules.language.pairs import ANYTHING, Floats, pair_of


class Outcome(Enum):
    """What is claimed of a condition over a box of tolerances and whatever is missing."""

    ALWAYS = "always"
    SOMETIMES = "sometimes"
    NEVER = "never"
    UNKNOWN = "unknown"


class Decision(NamedTuple):
    """An outcome, the lowest signed distance found with its place, and whether that is proven tight."""

    outcome: Outcome
    worst: Infimum


def decide(term: g.Logical, box: Box, nominal: Mapping[int, Fraction]) -> Decision:
    """Decide a condition for every point of a box."""
    return Decider(term, nominal).decide(box, nominal)


class Decider:
    """A condition, prepared once to be decided over many boxes.

    It is turned into one number that is positive where it holds and negative where it does not; the lowest and
    highest value of that number decide. Where something missing keeps both open, single points still show whether
    the condition can fail whatever the missing value is. ``nominal`` gives the weights of joined comparisons.
    """

    def __init__(self, term: g.Logical, nominal: Mapping[int, Fraction]) -> None:
        self.plain = g.without_contrary(term)
        self.extremes = Extremes(as_distance(self.plain, nominal))
        self.tape = self.extremes.tape
        self._parts: list[Decider] | None = None
        self.is_weighted = not isinstance(self.plain, g.Holds)
        comparisons = list(_joined(self.plain))
        self.any_strict = any(item.strict for item in comparisons)
        self.all_strict = all(item.strict for item in comparisons)
        facts = g.facts_of(self.plain)
        self.has_gaps = bool(facts.gaps)
        self.ranged = facts.ranged

    def worst(self, box: Box, floats: Floats | None = None) -> Infimum:
        """The lowest distance, to be shown where the outcome is known already; it may be a bound that is not tight."""
        return self.extremes.lowest(box, SHOWN_BUDGET, floats)

    def decide(
        self, box: Box, nominal: Mapping[int, Fraction], floats: Floats | None = None, budget: int = BUDGET
    ) -> Decision:
        """The outcome for every point of a box, which ``floats`` gives in floats where they are known."""
        place = {index: low for index, (low, high) in box.items() if low is high or low == high}
        if len(place) == len(box) and (at_once := self._at_point(place)) is not None:
            return at_once
        if self.has_gaps and self._is_open_everywhere(box, nominal):
            return Decision(Outcome.UNKNOWN, Infimum(-math.inf, math.inf, dict(nominal), False))
        lowest = self.extremes.lowest(box, budget, floats)
        # Zero is enough only if no comparison is strict, and too little only if all are.
        if lowest.value > 0 or (lowest.value == 0 and self._holds_at_zero(lowest, box, nominal)):
            return Decision(Outcome.ALWAYS, lowest)
        alone = self._one_is_enough(lowest, box, nominal, budget)
        if alone is not None:
            return Decision(Outcome.ALWAYS, alone)
        at_nominal = self._truth({i: nominal[i] for i in lowest.place}, box)
        if not self.ranged and lowest.reached < 0 and at_nominal:
            return Decision(Outcome.SOMETIMES, lowest)
        # What does not fail at the nominal values does not fail everywhere.
        can_fail = bool(self.ranged) or at_nominal is False
        highest = self.extremes.highest(box, budget if can_fail else 0, floats, 0.0)
        if highest.value < 0 or (highest.value == 0 and can_fail and self._fails_at_zero(highest, box, nominal)):
            return Decision(Outcome.NEVER, lowest)
        undefined = is_unbounded(lowest.value, highest.value)
        if (self.has_gaps or undefined) and not self._fails_somewhere(lowest, highest, box, nominal):
            return Decision(Outcome.UNKNOWN, lowest)
        return Decision(Outcome.SOMETIMES, lowest)

    def _one_is_enough(
        self, lowest: Infimum, box: Box, nominal: Mapping[int, Fraction], budget: int
    ) -> Infimum | None:  # fmt: skip
        """Of alternatives, one that holds everywhere by itself: a bound where the search over all of them gave none."""
        if not isinstance(self.plain, g.Any) or lowest.reached < 0 or lowest.tight:
            return None
        for part in self.plain.parts:
            found = Extremes(_ranked(part, nominal)).lowest(box, budget)
            if found.value > 0:
                return lowest._replace(value=found.value)
        return None

    def _at_point(self, place: dict[int, Fraction]) -> Decision | None:
        """The decision where nothing has a tolerance, by one exact pass; None where that does not come to a value."""
        value = self.tape.exact(place)[-1]
        if value is None:
            return None
        over, parts = value
        worst = Fraction(over, parts)
        lowest = Infimum(worst, worst, place, True)
        if over:
            return Decision(Outcome.ALWAYS if over > 0 else Outcome.NEVER, lowest)
        # Joined comparisons may tie in one that is strict or in one that is not.
        holds = not self.any_strict if self.any_strict == self.all_strict else truth_over(self.plain, point(place))
        return Decision(Outcome.ALWAYS if holds else Outcome.NEVER, lowest) if holds is not None else None

    def _is_open_everywhere(self, box: Box, nominal: Mapping[int, Fraction]) -> bool:
        """True where something missing leaves no bound even at a point, and no branch or member could take it out."""
        tape = self.tape
        if tape.guarded or not any(isinstance(term, g.Gap) for term in tape.terms):
            return False
        known = {index: (value, value) for index, value in nominal.items() if index not in self.ranged}
        values = tape.forward({index: pair_of(*known.get(index, box[index])) for index in tape.indices})
        # What has no value just here may have one elsewhere.
        undefined = [
            below for term, below, value in zip(tape.terms, tape.below, values, strict=True)
            if isinstance(term, g.Divide | g.Apply | g.Lookup) and value == ANYTHING
        ]  # fmt: skip
        if any(all(values[at] != ANYTHING for at in below) for below in undefined):
            return False
        return values[-1] == ANYTHING

    def _holds_at_zero(self, lowest: Infimum, box: Box, nominal: Mapping[int, Fraction]) -> bool:
        """True where a distance that falls to zero is enough; joined conditions may tie in one that is not strict."""
        if lowest.is_open:
            return True
        if not self.any_strict or not isinstance(self.plain, g.All | g.Any):
            return not self.any_strict
        if not self.ranged and not self._truth(lowest.place, box):
            return False
        enough = all if isinstance(self.plain, g.All) else any
        return enough(found is Outcome.ALWAYS for found in self._outcomes(box, nominal))

    def _fails_at_zero(self, highest: Infimum, box: Box, nominal: Mapping[int, Fraction]) -> bool:
        if highest.is_open:
            return True
        if self.all_strict or not isinstance(self.plain, g.All | g.Any):
            return self.all_strict
        enough = any if isinstance(self.plain, g.All) else all
        return enough(found is Outcome.NEVER for found in self._outcomes(box, nominal))

    def _outcomes(self, box: Box, nominal: Mapping[int, Fraction]) -> Iterator[Outcome]:
        assert isinstance(self.plain, g.All | g.Any)
        if self._parts is None:
            self._parts = [Decider(part, nominal) for part in self.plain.parts]
        for part in self._parts:
            yield part.decide(box, nominal, None, SHOWN_BUDGET).outcome

    def _fails_somewhere(self, lowest: Infimum, highest: Infimum, box: Box, nominal: Mapping[int, Fraction]) -> bool:
        """True where a tried point fails for certain, whatever is missing."""
        places = (lowest.place, highest.place, {index: nominal[index] for index in lowest.place})
        return any(self._truth(place, box) is False for place in places)

    def _truth(self, place: Mapping[int, Fraction], box: Box) -> bool | None:
        """True or False where the condition is so at a point, whatever is missing within its range."""
        there = {**point(place), **{index: box[index] for index in self.ranged}}
        low, high = self.tape.forward({index: pair_of(*there[index]) for index in self.tape.indices})[-1]
        return low > 0 if low > 0 or high < 0 else truth_over(self.plain, there)


def _joined(plain: g.Logical) -> Iterator[g.Holds]:
    """The comparisons that are joined, without those that only choose a branch or a member."""
    if isinstance(plain, g.Holds):
        yield plain
    elif isinstance(plain, g.All | g.Any):
        for part in plain.parts:
            yield from _joined(part)


def as_distance(plain: g.Logical, nominal: Mapping[int, Fraction]) -> g.Numeric:
    """A number with the sign of the condition.

    A lone comparison keeps its own headroom. Where several are joined, each is measured as a share of its nominal
    limit, so that amperes and volts can be ranked; a positive factor changes no sign.
    """
    return plain.headroom if isinstance(plain, g.Holds) else _ranked(plain, nominal)


def _ranked(plain: g.Logical, nominal: Mapping[int, Fraction]) -> g.Numeric:
    if isinstance(plain, g.All | g.Any):
        if len(plain.parts) == 1:
            return _ranked(plain.parts[0], nominal)
        parts = tuple([g.Part(_ranked(part, nominal)) for part in plain.parts])
        return g.Least(parts) if isinstance(plain, g.All) else g.Greatest(parts)
    if isinstance(plain, g.Holds):
        scale = scale_of(plain, nominal)
        return plain.headroom if scale == 1 else g.Multiply(g.Constant(1 / scale), plain.headroom)
    assert isinstance(plain, g.Fixed)
    if plain.value is None:
        return g.Gap(plain.path)
    return g.Constant(Fraction(1 if plain.value else -1))


def scale_of(comparison: g.Holds, nominal: Mapping[int, Fraction]) -> Fraction:
    """The size of the nominal limit, or 1 where it is zero or has no value."""
    if comparison.limit is None:
        return Fraction(1)
    low, high = number_over(comparison.limit, point({i: nominal[i] for i in g.inputs_of(comparison.limit)}))
    if is_unbounded(low, high):
        return Fraction(1)
    size = abs(Fraction(low) + Fraction(high)) / 2
    return size or Fraction(1)
