"""From a ground truth to a verdict over the tolerances, with the worst headroom and its place."""

from __future__ import annotations

import math
from collections.abc import Mapping
from enum import Enum
from fractions import Fraction

from attrs import frozen

from limitrules.language import ground as g
from limitrules.language.bounds import Infimum, infimum, supremum
from limitrules.language.exactly import Bound, Box, number_over, point, truth_over


class Outcome(Enum):
    """What is claimed of a condition over a box of tolerances and whatever is missing."""

    ALWAYS = "always"
    SOMETIMES = "sometimes"
    NEVER = "never"
    UNKNOWN = "unknown"


@frozen
class Decision:
    """An outcome, the lowest signed distance found with its place, and whether that is proven tight."""

    outcome: Outcome
    worst: Infimum


def decide(term: g.Logical, box: Box, nominal: Mapping[int, Fraction]) -> Decision:
    """Decide a condition for every point of a box.

    The condition is turned into one number that is positive where it holds and negative where it does not; its
    lowest and highest value decide. Where something missing keeps both open, single points still show whether the
    condition can fail whatever the missing value is.
    """
    plain = g.without_contrary(term)
    distance = as_distance(plain, nominal)
    lowest = infimum(distance, box)
    if _holds_from(plain, lowest.value):
        return Decision(Outcome.ALWAYS, lowest)
    highest = supremum(distance, box)
    if _fails_up_to(plain, highest.value):
        return Decision(Outcome.NEVER, lowest)
    fails = _fails_somewhere(plain, lowest, highest, nominal)
    if g.gaps_of(plain) or _is_undefined(lowest, highest):
        return Decision(Outcome.SOMETIMES if fails else Outcome.UNKNOWN, lowest)
    return Decision(Outcome.SOMETIMES, lowest)


def _fails_somewhere(plain: g.Logical, lowest: Infimum, highest: Infimum, nominal: Mapping[int, Fraction]) -> bool:
    """True where a tried point fails for certain, whatever is missing."""
    places = (lowest.place, highest.place, {index: nominal[index] for index in lowest.place})
    return any(truth_over(plain, point(place)) is False for place in places)


def _is_undefined(lowest: Infimum, highest: Infimum) -> bool:
    return math.isinf(lowest.value) or math.isinf(highest.value)


def _holds_from(plain: g.Logical, lowest: Bound) -> bool:
    """True where a lowest distance proves the condition; zero is enough only if no comparison is strict."""
    return lowest > 0 or (lowest == 0 and not any(item.strict for item in _comparisons(plain)))


def _fails_up_to(plain: g.Logical, highest: Bound) -> bool:
    return highest < 0 or (highest == 0 and all(item.strict for item in _comparisons(plain)))


def _comparisons(plain: g.Logical) -> list[g.Holds]:
    return [item for item in plain.walk() if isinstance(item, g.Holds)]


def as_distance(plain: g.Logical, nominal: Mapping[int, Fraction]) -> g.Numeric:
    """A number with the sign of the condition.

    A lone comparison keeps its own headroom. Where several are joined, each is measured as a share of its nominal
    limit, so that amperes and volts can be ranked; a positive factor changes no sign.
    """
    if isinstance(plain, g.Holds):
        return plain.headroom
    return _ranked(plain, nominal)


def _ranked(plain: g.Logical, nominal: Mapping[int, Fraction]) -> g.Numeric:
    if isinstance(plain, g.All | g.Any):
        parts = tuple(g.Part(_ranked(part, nominal)) for part in plain.parts)
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
    if math.isinf(low) or math.isinf(high):
        return Fraction(1)
    size = abs(Fraction(low) + Fraction(high)) / 2
    return size or Fraction(1)
