"""What is known of the lowest value of a term over a box."""

from __future__ import annotations

from collections.abc import Mapping
from fractions import Fraction
from typing import NamedTuple

from limitrules.foundation.exact import float_below
from limitrules.language.exactly import Bound, is_unbounded
from limitrules.language.tape import Tape

RELATIVE = 5e-7
ABSOLUTE = 1e-12


class Infimum(NamedTuple):
    """The lowest value of a term over a box.

    ``value`` is a lower bound (minus infinity: none is known) and ``place`` a point of the box, by input, at which
    the term takes ``reached``. ``tight`` where the term comes as near to ``value`` as one likes, within the tolerance
    of the search; ``is_open`` where it is proven to come near and never to take it. ``is_exact`` where ``reached`` is
    the exact value at ``place`` and no enclosure of it.
    """

    value: Bound
    reached: Bound
    place: Mapping[int, Fraction]
    tight: bool
    is_open: bool = False
    is_exact: bool = True


def infimum_at(tape: Tape, place: Mapping[int, Fraction], sign: int) -> Infimum:
    """A single point as the infimum of the term times ``sign``: exact, or enclosed where the value is irrational."""
    low, high = tape.enclosure(place)
    if low == high and not is_unbounded(low):
        return Infimum(low * sign, low * sign, place, True)
    if sign < 0:
        low, high = -high, -low
    return Infimum(low, high, place, low == high or is_close(low, high), is_exact=low == high)


def is_close(low: Bound, high: Bound, grain: float = 0.0) -> bool:
    """True where two bounds agree within the tolerance of the search, or within ``grain``."""
    if is_unbounded(low, high):
        return False
    one, other = _nearly(low), _nearly(high)
    return other - one <= max(RELATIVE * max(abs(one), abs(other)), grain)


def _nearly(value: Bound) -> float:
    return value if isinstance(value, float) else float_below(value)
