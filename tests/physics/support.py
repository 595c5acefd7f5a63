"""What a function of physics is held to, whichever it is: its promises, its range, many digits, the check language."""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Mapping
from fractions import Fraction
from random import Random

import mpmath
import pytest

from limitrules.engine.survey import Survey
from limitrules.foundation.source import Source
from limitrules.language.functions import Bounds, Function, refute
from limitrules.physics import FUNCTIONS as PHYSICS
from limitrules.rules.rulepack import check_drafts, parse_draft
from tests.rules.support import document, rule, system

Ranges = list[tuple[float, float]]
Samples = Mapping[str, tuple[Ranges, Ranges]]
"""For each function the ranges from which its arguments are drawn: widely, and near what is built."""
DIGIT = mpmath.mpf(10) ** -34


def value_at(function: Function, values: list[float]) -> Bounds | None:
    assert function.point is not None
    try:
        return function.point(*values)
    except ValueError:
        return None


def check_promises(function: Function, wide: Ranges, narrow: Ranges) -> None:
    names = [item.name for item in function.arguments]
    for seed, ranges in enumerate((wide, narrow), start=1):
        assert refute(function, dict(zip(names, ranges, strict=True)), tries=1000, seed=seed) is None


def drawn_box(ranges: Ranges, data: Random) -> Ranges:
    box = []
    for low, high in ranges:
        ends = sorted((data.uniform(low, high), data.uniform(low, high)))
        box.append((ends[0], ends[0] + (ends[1] - ends[0]) * data.choice([0.0, 0.01, 1.0])))
    return box


def check_box(function: Function, box: Ranges, data: Random) -> None:
    """No value and no slope between two points of the box lies outside their enclosures."""
    low, high = function.interval(*box)
    steep = function.slopes_over(*box)
    for _ in range(8):
        here = [data.uniform(*pair) for pair in box]
        first = value_at(function, here)
        if first is None:
            assert (low, high) == (-math.inf, math.inf)
            continue
        assert low <= first[1]
        assert first[0] <= high
        for position, pair in enumerate(box):
            there = [*here[:position], data.uniform(*pair), *here[position + 1 :]]
            second = value_at(function, there)
            run = there[position] - here[position]
            if run == 0.0 or second is None or math.inf in (*first, *second):
                continue
            rises = sorted(((second[1] - first[0]) / run, (second[0] - first[1]) / run))
            assert steep[position][0] <= rises[1]
            assert rises[0] <= steep[position][1]


def check_corners(function: Function, narrow: Ranges) -> None:
    """Where a function goes one way or the other, its enclosure is that of its corners."""
    box = [(low, low + 0.02 * (high - low)) for low, high in narrow]
    corners = [value_at(function, list(corner)) for corner in itertools.product(*box)]
    low, high = function.interval(*box)
    assert low == pytest.approx(min(pair[0] for pair in corners if pair), rel=1e-12)
    assert high == pytest.approx(max(pair[1] for pair in corners if pair), rel=1e-12)


def check_range(function: Function, narrow: Ranges) -> None:
    inside = [low for low, _ in narrow]
    assert function.at(*map(Fraction, inside)) is not None
    for position, item in enumerate(function.arguments):
        for beyond in (math.nextafter(item.low, -math.inf), math.nextafter(item.high, math.inf)):
            values = [*inside[:position], beyond, *inside[position + 1 :]]
            assert function.at(*map(Fraction, values)) is None
            assert function.interval(*((value, value) for value in values)) == (-math.inf, math.inf)


def check_digits(function: Function, digits: Callable[..., mpmath.mpf], ranges: Ranges, data: Random) -> None:
    """One drawn point: the float enclosure holds the value of many digits and is narrow; the exact one agrees."""
    values = [data.uniform(*pair) for pair in ranges]
    found = value_at(function, values)
    if found is None:
        return
    with mpmath.workdps(40):
        true = digits(*map(mpmath.mpf, values))
        room = abs(true) * DIGIT if mpmath.isfinite(true) else 0
        assert found[0] <= true + room
        assert true - room <= found[1]
        if function.exact is not None:
            low, high = (as_digits(end) for end in function.exact(*map(Fraction, values)))
            assert low <= true + room
            assert true - room <= high
            assert high == math.inf or high - low <= mpmath.mpf(10) ** -30 * max(1, abs(high))
    if math.isfinite(found[1]):
        assert found[1] - found[0] <= 1e-10 * found[1] + 1e-250


def as_digits(value: Fraction | float) -> mpmath.mpf:
    return mpmath.mpf(value.numerator) / value.denominator if isinstance(value, Fraction) else mpmath.mpf(value)


def verdict(
    functions: tuple[Function, ...], condition: str, body: str = "site: {location: Lakeside}", about: str = "the site"
) -> str:
    """The verdict of a rule, over a system that has nothing but a place where none is given."""
    text = document("rules:\n") + rule(about, condition)
    registry = PHYSICS.extended(item for item in functions if item.name not in PHYSICS)
    packs = check_drafts([parse_draft(Source("rulepack1.yaml", text))], registry)
    (finding,) = Survey(system(body), packs).result().findings
    return finding.verdict.value


def check_worked(functions: tuple[Function, ...], expression: str, figure: str, tolerance: str) -> None:
    """Compared both ways at a distance of the tolerance, so that a wrong figure cannot pass."""
    assert verdict(functions, f"({expression}) within {tolerance} of {figure}") == "met"
    assert verdict(functions, f"({expression}) above {figure} + 3 * {tolerance}") == "breached"
    assert verdict(functions, f"({expression}) below {figure} - 3 * {tolerance}") == "breached"
