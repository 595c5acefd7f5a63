"""Reading a curve: `{points: [[0 %, 2.60 V], [4 %, 3.00 V]], tolerance: 5 mV}`."""

from __future__ import annotations

from fractions import Fraction
from itertools import pairwise
from typing import TYPE_CHECKING

from limitrules.foundation.kinds import Attribute
from limitrules.foundation.tree import Mapping, Node, Scalar, Sequence
from limitrules.foundation.units import Unit
from limitrules.model.quantity import QuantityError, Uncertain, parse_tolerance
from limitrules.model.reading import what
from limitrules.model.values import Table

if TYPE_CHECKING:
    from limitrules.model.value_reader import ValueReader


def read_curve(reader: ValueReader, attribute: Attribute, node: Node) -> Table | None:
    """The table, or None where the reading now holds what is wrong with it."""
    over, of = attribute.over_unit, attribute.unit
    example = f"{{points: [[0 {over.symbol}, 0 {of.symbol}], ...]}}" if over and of else ""
    if not isinstance(node, Mapping) or "points" not in node.entries:
        message = f"{what(node).capitalize()} stands where the points of `{attribute.path}` are due."
        reader.reading.say("not-a-curve", message, node, expected=example)
        return None
    points = node.entries["points"][1]
    if over is None or of is None or not isinstance(points, Sequence) or len(points.items) < 2:
        message = f"The curve `{attribute.path}` needs at least two points."
        reader.reading.say("not-a-curve", message, points, expected=example)
        return None
    before = len(reader.reading.found)
    pairs = [_point(reader, item, over, of) for item in points.items]
    tolerance = _tolerance(reader, node, of)
    if len(reader.reading.found) > before or tolerance is None:
        return None
    xs = tuple(pair[0].nominal for pair in pairs if pair)
    ys = tuple(pair[1].nominal for pair in pairs if pair)
    for index, (left, right) in enumerate(pairwise(xs)):
        if right <= left:
            message = "The points of a curve increase from left to right; this one does not lie after the one before."
            reader.reading.say("curve-not-increasing", message, points.items[index + 1])
            return None
    return Table(xs, ys, over, of, *tolerance)


def _point(reader: ValueReader, node: Node, over: Unit, of: Unit) -> tuple[Uncertain, Uncertain] | None:
    if not isinstance(node, Sequence) or len(node.items) != 2:
        expected = f"[0 {over.symbol}, 0 {of.symbol}]"
        reader.reading.say("not-a-point", "A point of a curve is a pair.", node, expected=expected)
        return None
    found = []
    for item, unit in zip(node.items, (over, of), strict=True):
        value = reader.number(item, unit, "a quantity")
        if value is not None and not value.is_exact:
            message = "A point has no tolerance or range of its own."
            reader.reading.say("point-not-exact", message, item, advice="give the curve as a whole a `tolerance`")
        found.append(value)
    x, y = found
    return (x, y) if x and y else None


def _tolerance(reader: ValueReader, node: Mapping, of: Unit) -> tuple[Fraction, bool] | None:
    entry = node.entries.get("tolerance")
    if entry is None:
        return Fraction(0), False
    if reader.reading.text(entry[1], "a tolerance") is None or not isinstance(entry[1], Scalar):
        return None
    try:
        return parse_tolerance(entry[1].text, of)
    except QuantityError as error:
        reader.say_quantity(error, entry[1])
        return None
