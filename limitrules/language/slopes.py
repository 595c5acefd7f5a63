"""Which way each input moves a term over a box, gathered backward along its tape.

Signs alone decide for most rules and cost little; where an input pulls both ways, intervals enclose its slope
(reverse accumulation; Griewank and Walther, Evaluating Derivatives, 2008, chapter 3).
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Mapping
from typing import Any

from limitrules.foundation.exact import float_above, float_below, floats_around
from limitrules.language import ground as g
from limitrules.language.pairs import Pair, absolute, times
from limitrules.language.tape import Tape

MIXED = 2
"""The sign of an influence that may go either way; 1 and -1 are rising and falling, 0 is none."""
_INF = math.inf
_ANY_SLOPE: Pair = (-_INF, _INF)
_ONE: Pair = (1.0, 1.0)
_LESS: Pair = (-1.0, -1.0)
_NOTHING: Pair = (0.0, 0.0)
_SOME: Pair = (0.0, 1.0)
_step = math.nextafter


def pulls(tape: Tape, values: list[Pair]) -> list[int]:
    """For each term of a tape the sign of its influence on the whole over the box that ``values`` belong to.

    What is constant over the box pulls nothing, nor does what is only below it.
    """
    pull = [0] * len(values)
    pull[-1] = 1
    terms, below = tape.terms, tape.below
    for place in range(len(values) - 1, -1, -1):
        own = pull[place]
        if not own or not below[place]:
            continue
        term = terms[place]
        for at, weight in zip(below[place], _WEIGHTS[type(term)](term, below[place], values, tape), strict=True):
            low, high = weight
            if low == high == 0.0 or values[at][0] == values[at][1]:
                continue
            sign = MIXED if own == MIXED or low < 0.0 < high else own if low >= 0.0 else -own
            before = pull[at]
            pull[at] = sign if before in (0, sign) else MIXED
    return pull


def signs(tape: Tape, pull: list[int]) -> dict[int, int]:
    """For each input the sign of its influence, from those of the terms."""
    found = dict.fromkeys(tape.indices, 0)
    for place, index in tape.inputs:
        own, before = pull[place], found[index]
        if own:
            found[index] = own if before in (0, own) else MIXED
    for index in tape.guarded:
        found[index] = MIXED
    return found


def slopes(tape: Tape, values: list[Pair]) -> dict[int, Pair]:
    """Enclosures of the slope of the whole term in each input that is not exact.

    An input that decides which member or branch takes part may make the term jump, so its slope is open.
    """
    pull: list[Pair] = [_NOTHING] * len(values)
    pull[-1] = _ONE
    found = dict.fromkeys(tape.indices, _NOTHING)
    for place in range(len(values) - 1, -1, -1):
        own = pull[place]
        if own == _NOTHING:
            continue
        term, below = tape.terms[place], tape.below[place]
        if isinstance(term, g.Input):
            found[term.index] = _plus(found[term.index], own)
            continue
        for at, weight in zip(below, _WEIGHTS[type(term)](term, below, values, tape), strict=True):
            if values[at][0] != values[at][1]:
                pull[at] = _plus(pull[at], _by(own, weight))
    for index in tape.guarded:
        found[index] = _ANY_SLOPE
    return found


def _plus(one: Pair, other: Pair) -> Pair:
    if one == _NOTHING:
        return other
    return _sum(one[0], other[0], -_INF), _sum(one[1], other[1], _INF)


def _sum(one: float, other: float, towards: float) -> float:
    """Rounded outwards where it is not exact, so that what cancels leaves nothing."""
    total = one + other
    if total - one == other and total - other == one:
        return total
    return _step(total, towards) if total == total else towards


def _by(one: Pair, other: Pair) -> Pair:
    if one == _ONE:
        return other
    a, b = one
    c, d = other
    corners = (times(a, c), times(a, d), times(b, c), times(b, d))
    low, high = min(corners), max(corners)
    # Zero stays zero: a slope that is known to have one sign keeps it.
    return (low if low == 0.0 else _step(low, -_INF)), (high if high == 0.0 else _step(high, _INF))


# For each kind of term: the slope of the term in each of its operands, enclosed over the box.

_Weights = tuple[Pair, ...] | list[Pair]
Below = tuple[int, ...]
_Rule = Callable[[Any, Below, list[Pair], Tape], _Weights]


def _multiply(term: g.Multiply, below: Below, values: list[Pair], tape: Tape) -> _Weights:
    return values[below[1]], values[below[0]]


def _divide(term: g.Divide, below: Below, values: list[Pair], tape: Tape) -> _Weights:
    left, right = values[below[0]], values[below[1]]
    if right[0] <= 0.0 <= right[1]:
        return _ANY_SLOPE, _ANY_SLOPE
    low, high = sorted((1 / right[0], 1 / right[1]))
    over = (_step(low, -_INF), _step(high, _INF))
    return over, _by((-left[1], -left[0]), _square(over))


def _square(pair: Pair) -> Pair:
    corners = (pair[0] * pair[0], pair[1] * pair[1])
    return max(0.0, _step(min(corners), -_INF)), _step(max(corners), _INF)


def _sign_of(pair: Pair) -> Pair:
    return _ONE if pair[0] >= 0.0 else _LESS if pair[1] <= 0.0 else (-1.0, 1.0)


def _margin(term: g.Margin, below: Below, values: list[Pair], tape: Tape) -> _Weights:
    base, (low, high) = values[below[0]], values[below[1]]
    size = absolute(base)
    if base[0] < 0.0:
        low, high = (-high, -low) if base[1] <= 0.0 else (min(low, -high), max(high, -low))
    # A share of no less than -1 never turns its base round, whatever is lost to rounding.
    least, most = _step(1.0 + low, -_INF), _step(1.0 + high, _INF)
    return (max(0.0, least) if low >= -1.0 else least, min(0.0, most) if high <= -1.0 else most), size


def _total(term: g.Total, below: Below, values: list[Pair], tape: Tape) -> _Weights:
    return [_ONE if part.guard is None else _SOME for part in term.parts]


def _extreme(sign: int) -> _Rule:
    def weights(term: g.Gathered, below: Below, values: list[Pair], tape: Tape) -> _Weights:
        rims = [values[at] if sign > 0 else (-values[at][1], -values[at][0]) for at in below]
        sure = [rim[1] for rim, part in zip(rims, term.parts, strict=True) if part.guard is None]
        edge = min(sure, default=_INF)
        able = [rim[0] <= edge for rim in rims]
        chosen = _ONE if sum(able) == 1 and len(sure) == len(rims) else _SOME
        return [chosen if may else _NOTHING for may in able]

    return weights


def _apply(term: g.Apply, below: Below, values: list[Pair], tape: Tape) -> _Weights:
    return term.function.slopes_over(*[values[at] for at in below])


def _lookup(term: g.Lookup, below: Below, values: list[Pair], tape: Tape) -> _Weights:
    low, high = values[below[0]]
    if id(term) not in tape.rises:
        tape.rises[id(term)] = _rises(term)
    segments = tape.rises[id(term)]
    if not segments or low < segments[0][0] or high > segments[-1][1]:
        return (_ANY_SLOPE,)
    found = [rise for start, end, rise in segments if low <= end and start <= high]
    return ((min(rise[0] for rise in found), max(rise[1] for rise in found)),)


def _rises(term: g.Lookup) -> list[tuple[float, float, Pair]]:
    """Between which floats each segment of a table lies, seen from inside at its ends, and the slope it has there."""
    found = []
    for (x0, y0), (x1, y1) in itertools.pairwise(term.points):
        found.append((float_above(x0), float_below(x1), floats_around((y1 - y0) / (x1 - x0))))
    return found


_WEIGHTS: Mapping[type[g.Ground], _Rule] = {
    g.Constant: lambda term, below, values, tape: (),
    g.Gap: lambda term, below, values, tape: (),
    g.Negate: lambda term, below, values, tape: (_LESS,),
    g.Absolute: lambda term, below, values, tape: (_sign_of(values[below[0]]),),
    g.Add: lambda term, below, values, tape: (_ONE, _ONE),
    g.Subtract: lambda term, below, values, tape: (_ONE, _LESS),
    g.Multiply: _multiply,
    g.Divide: _divide,
    g.Margin: _margin,
    g.Total: _total,
    g.Least: _extreme(1),
    g.Greatest: _extreme(-1),
    g.Apply: _apply,
    g.Lookup: _lookup,
    g.Select: lambda term, below, values, tape: (_SOME, _SOME),
}


def is_multilinear(tape: Tape, values: list[Pair], indices: list[int]) -> bool:
    """True where the term is of degree at most one in each of these inputs over the box of ``values``."""
    wanted = frozenset(indices)
    degrees: list[dict[int, int] | None] = []
    for term, below in zip(tape.terms, tape.below, strict=True):
        degrees.append(_degree(term, below, degrees, values, wanted))
    whole = degrees[-1]
    return whole is not None and all(count <= 1 for count in whole.values())


def _degree(
    term: g.Numeric, below: Below, known: list[dict[int, int] | None], values: list[Pair], wanted: frozenset[int]
) -> dict[int, int] | None:
    """The degree in each wanted input; None where the term is no polynomial in them."""
    if isinstance(term, g.Input):
        return {term.index: 1} if term.index in wanted else {}
    parts = [known[at] for at in below]
    if not any(part is None or part for part in parts) and not _has_guard(term):
        return {}
    if isinstance(term, g.Add | g.Subtract | g.Negate | g.Total) and not _has_guard(term):
        return _joined(parts, max)
    if isinstance(term, g.Multiply):
        return _joined(parts, int.__add__)
    if isinstance(term, g.Absolute | g.Margin) and _sign_of(values[below[0]]) != (-1.0, 1.0):
        # With a base of one sign both are polynomials: the base, or the base and its product with the share.
        return _joined(parts, int.__add__)
    if isinstance(term, g.Divide) and not parts[1] and parts[1] is not None:
        return parts[0]
    return None


def _has_guard(term: g.Numeric) -> bool:
    if isinstance(term, g.Select):
        return True
    return isinstance(term, g.Gathered) and any(part.guard is not None for part in term.parts)


def _joined(parts: list[dict[int, int] | None], join: Callable[[int, int], int]) -> dict[int, int] | None:
    result: dict[int, int] = {}
    for part in parts:
        if part is None:
            return None
        for index, count in part.items():
            result[index] = join(result[index], count) if index in result else count
    return result
