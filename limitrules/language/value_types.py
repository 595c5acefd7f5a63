"""The types of values: literals, names, attributes, arithmetic, functions, curves."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import attrs

from limitrules.foundation.diagnostics import listing, nearest
from limitrules.foundation.dimension import NUMBER
from limitrules.foundation.kinds import (
    Choice,
    Component,
    Components,
    Curve,
    Group,
    Kind,
    Quantity,
    Temperature,
    Text,
    Truth,
    Type,
)
from limitrules.foundation.units import UNITS
from limitrules.language import nodes as n
from limitrules.language.desk import DIFFERENCE, Desk, Rule, Scope, named, near_name
from limitrules.language.functions import Argument, Function, Mistyped
from limitrules.language.nodes import Node

_ANSWERS = {"true": "yes", "false": "no", "on": "yes", "off": "no"}


def _literal(desk: Desk, node: n.Literal, scope: Scope) -> Type:
    if node.unit.symbol != "1":
        desk.units[node] = node.unit
    return Temperature() if node.unit.is_temperature else Quantity(node.unit.dimension)


def _name(desk: Desk, node: n.Name, scope: Scope) -> Type | None:
    if node.name in scope.broken:
        return None
    collections = scope.collections()
    found = scope.names.get(node.name) or collections.get(node.name)
    if found is None:
        names = [*scope.names, *collections]
        desk.report("unknown-name", f"`{node.name}` is not a name that is known here", node, listing(names, 14),
                    _meant(node, scope, names))  # fmt: skip
    elif node.name in scope.units:
        desk.units[node] = scope.units[node.name]
    return found


def _meant(node: n.Name, scope: Scope, names: list[str]) -> str:
    """What was probably meant by a name that is not known."""
    for name, kind in scope.names.items():
        if isinstance(kind, Component) and kind.kind == node.name:
            return f"`{name}`, the {kind.kind} of this rule"
    if node.name.lower() in _ANSWERS:
        return f"`{_ANSWERS[node.name.lower()]}`"
    if node.name in UNITS:
        return "no blanks inside a unit: `45 A/s`"
    near = near_name(node.name, names)
    return f"`{near}`" if near else ""


def _member(desk: Desk, node: n.Member, scope: Scope) -> Type | None:
    base = desk.type_of(node.base, scope)
    if base is None:
        return None
    if isinstance(base, Component | Group):
        kind = scope.kinds[base.kind]
        prefix = base.path if isinstance(base, Group) else ""
        found = kind.member(prefix, node.name)
        if found is None:
            _unknown_attribute(desk, node, kind, prefix)
            return None
        attribute = kind.attributes.get(f"{prefix}.{node.name}" if prefix else node.name)
        if attribute is not None and attribute.unit is not None and attribute.unit.symbol != "1":
            desk.units[node] = attribute.unit
        return found
    advice = ""
    if isinstance(base, Components):
        name = desk.excerpt(node.base)
        advice = f"`every x in {name}: ... x.{node.name} ...`, or `lowest of x.{node.name} over x in {name}`"
    desk.report("no-attributes", f"`{desk.excerpt(node.base)}` is {desk.described(node.base, base)}; it has no "
                f"`{node.name}`", node, "a component before the dot", advice)  # fmt: skip
    return None


def _unknown_attribute(desk: Desk, node: n.Member, kind: Kind, prefix: str) -> None:
    below = kind.names_below(prefix)
    near = near_name(node.name, below)
    if not near:
        paths = [path for path in kind.attributes if path.startswith(prefix)]
        near = nearest(f"{prefix}.{node.name}" if prefix else node.name, paths)
    where = f"`{prefix}` of a {kind.name}" if prefix else f"a {kind.name}"
    place = attrs.evolve(node, start=node.end - len(node.name))
    desk.report("unknown-attribute", f"{where} has no attribute `{node.name}`", place, listing(below, 14),
                f"`{near}`" if near else "")  # fmt: skip


def _negative(desk: Desk, node: n.Negative, scope: Scope) -> Type | None:
    found = desk.type_of(node.value, scope)
    if found is None or not desk.is_number(node.value, found, scope, "turned round"):
        return None
    if isinstance(found, Temperature):
        desk.report("absolute-temperature", f"`-` stands before an absolute temperature, `{desk.excerpt(node.value)}`",
                    node, "a temperature difference in K", "subtract a reference first: `-(t - 0 degC)`")  # fmt: skip
        return None
    desk.unit_from(node, found, node.value)
    return found


def _arithmetic(desk: Desk, node: n.Arithmetic, scope: Scope) -> Type | None:
    left, right = desk.type_of(node.left, scope), desk.type_of(node.right, scope)
    if left is None or right is None:
        return None
    for side, found in ((node.left, left), (node.right, right)):
        if not desk.is_number(side, found, scope, "computed with"):
            return None
    if node.operator in "+-":
        result = _sum(desk, node, left, right)
        if result is not None:
            desk.unit_from(node, result, node.left, node.right)
        return result
    if isinstance(left, Quantity) and isinstance(right, Quantity):
        return _product(desk, node, left, right)
    desk.report("absolute-temperature", f"an absolute temperature cannot take part in `{node.operator}`", node,
                "a temperature difference in K", "subtract a reference first: `t - 0 degC`")  # fmt: skip
    return None


def _product(desk: Desk, node: n.Arithmetic, left: Quantity, right: Quantity) -> Type:
    by = node.operator == "*"
    result = Quantity(left.dimension * right.dimension if by else left.dimension / right.dimension)
    for side, kind in ((node.left, left), (node.right, right)):
        if kind == result and side in desk.units and (by or side is node.left):
            desk.units[node] = desk.units[side]
            break
    return result


def _sum(desk: Desk, node: n.Arithmetic, left: Type, right: Type) -> Type | None:
    if isinstance(left, Temperature) and isinstance(right, Temperature):
        if node.operator == "-":
            return DIFFERENCE
        desk.report("absolute-temperature", "two absolute temperatures cannot be added", node,
                    "a temperature difference in K on one side")  # fmt: skip
        return None
    if isinstance(left, Temperature) and right == DIFFERENCE:
        return left
    if isinstance(right, Temperature) and left == DIFFERENCE and node.operator == "+":
        return right
    if left == right:
        return left if desk.shares_are_clear(node.left, node.right) else None
    if right == Quantity(NUMBER) and not (isinstance(node.right, n.Literal) and node.right.unit.symbol == "1"):
        word = "plus" if node.operator == "+" else "less"
        desk.report(
            "dimension-clash",
            f"`{node.operator} {desk.excerpt(node.right)}` does not say of what",
            node,
            f"`{desk.excerpt(node.left)} {word} {desk.excerpt(node.right)}`, which takes a share of it",
        )
        return None
    desk.clash(node, node.left, left, node.right, right, "added" if node.operator == "+" else "subtracted")
    return None


def _margin(desk: Desk, node: n.Margin, scope: Scope) -> Type | None:
    base, amount = desk.type_of(node.base, scope), desk.type_of(node.amount, scope)
    if base is None or amount is None:
        return None
    deed = f"joined by `{node.word}`"
    if not (desk.is_number(node.base, base, scope, deed) and desk.is_number(node.amount, amount, scope, deed)):
        return None
    if not isinstance(base, Quantity | Temperature) or not isinstance(amount, Quantity):
        desk.clash(node, node.base, base, node.amount, amount, deed)
        return None
    desk.unit_from(node, base, node.base)
    if base in (Quantity(), Temperature()) and amount.dimension == NUMBER:
        what = "a share itself" if base == Quantity() else "an absolute temperature"
        word = "-" if node.word == "less" else "+"
        desk.report("share-of-share", f"`{desk.excerpt(node.base)}` is {what}, so `{node.word}` a share of it "
                    "can be read two ways", node, "a clear amount",
                    f"`{word}` for points or degrees, `*` for a share")  # fmt: skip
        return None
    if amount.dimension == NUMBER:
        amount_of = node.amount
        if (isinstance(amount_of, n.Literal) and amount_of.unit.symbol == "1") or (
            isinstance(amount_of, n.Name) and amount_of.name in scope.bare
        ):
            desk.report("bare-share", f"`{node.word} {desk.excerpt(amount_of)}` does not say of what", amount_of,
                        "a share such as `25 %` or an amount with its unit")  # fmt: skip
            return None
        return base
    if amount == base or (isinstance(base, Temperature) and amount == DIFFERENCE):
        return base
    desk.clash(node, node.base, base, node.amount, amount, deed)
    return None


def _assume(desk: Desk, node: n.Assume, scope: Scope) -> Type | None:
    value, default = desk.type_of(node.value, scope), desk.type_of(node.default, scope)
    if value is None or default is None:
        return None
    if isinstance(value, Components | Curve | Group):
        desk.is_value(node.value, value, scope)
        return None
    if isinstance(value, Choice) and isinstance(node.default, n.Word):
        return value if is_option(desk, node.default, value) else None
    if value != default:
        desk.clash(node, node.value, value, node.default, default, "exchanged")
        return None
    if not desk.shares_are_clear(node.value, node.default):
        return None
    desk.unit_from(node, value, node.value, node.default)
    return value


def is_option(desk: Desk, word: n.Word, choice: Choice) -> bool:
    """True where a quoted word is one that the choice has; says so where it is none."""
    if word.text in choice.options:
        return True
    near = near_name(word.text, choice.options)
    desk.report("unknown-choice", f'"{word.text}" is not one of the words it can be', word,
                listing(choice.options, 14), f'"{near}"' if near else "")  # fmt: skip
    return False


def _call(desk: Desk, node: n.Call, scope: Scope) -> Type | None:
    plain = [argument for argument in node.arguments if not isinstance(argument, n.Each)]
    groups = [argument for argument in node.arguments if isinstance(argument, n.Each)]
    types = [desk.type_of(argument, scope) for argument in plain]
    if node.function not in scope.functions:
        near = near_name(node.function, scope.functions.by_name)
        desk.report("unknown-function", f"`{node.function}` is not a function that is known here", node,
                    listing(sorted(scope.functions.by_name), 14), f"`{near}`" if near else "")  # fmt: skip
        return None
    function = scope.functions[node.function]
    count, due = len(types), len(function.arguments)
    if bool(groups) != bool(function.members) or any(len(g.values) != len(function.members) for g in groups):
        given = "members" if groups else "no members"
        desk.report("argument-count", f"`{node.function}` is given {given}", node, f"`{function.signature}`")
        return None
    if count != due and not (function.variadic and count > due):
        given = "1 value" if count == 1 else f"{count} values"
        desk.report("argument-count", f"`{node.function}` is given {given}", node, f"`{function.signature}`")
        return None
    known = [item for item in types if item is not None]
    if len(known) < count or not _arguments_fit(desk, function, plain, known, scope):
        return None
    for group in groups:
        if desk.type_of(group, scope) is None:
            return None
        inner = [desk.types[value] for value in group.values]
        if not _types_fit(desk, function, function.members, group.values, inner):
            return None
        known += inner
    try:
        result = function.result(tuple(known))
    except Mistyped as error:
        places = [*plain, *(value for group in groups for value in group.values)]
        found = [desk.described(place, item) for place, item in zip(places, known, strict=True)]
        desk.report("argument-type", f"`{node.function}` is given {_joined(found)}", node, str(error))
        return None
    desk.unit_from(node, result, *node.arguments)
    return result


def _arguments_fit(
    desk: Desk, function: Function, places: Sequence[Node], known: Sequence[Type], scope: Scope
) -> bool:  # fmt: skip
    for place, given in zip(places, known, strict=True):
        if not desk.is_number(place, given, scope, "given to a function"):
            return False
    return _types_fit(desk, function, function.arguments, places, known)


def _types_fit(
    desk: Desk, function: Function, arguments: Sequence[Argument], places: Sequence[Node], known: Sequence[Type]
) -> bool:  # fmt: skip
    for argument, given, place in zip(arguments, known, places, strict=False):
        if argument.type is not None and argument.type != given:
            desk.report("argument-type", f"`{desk.excerpt(place)}` is {desk.described(place, given)}", place,
                        f"{named(argument.type)} for `{argument.name}` of `{function.signature}`")  # fmt: skip
            return False
    return True


def _joined(texts: list[str]) -> str:
    return texts[0] if len(texts) == 1 else ", ".join(texts[:-1]) + " and " + texts[-1]


def _read_at(desk: Desk, node: n.ReadAt, scope: Scope) -> Type | None:
    curve, point = desk.type_of(node.curve, scope), desk.type_of(node.point, scope)
    if curve is None or point is None:
        return None
    if not isinstance(curve, Curve):
        desk.report("not-a-curve", f"`{desk.excerpt(node.curve)}` is {desk.described(node.curve, curve)}; it cannot be "
                    "read at a point", node, "a curve before `at`")  # fmt: skip
        return None
    if curve.over != point:
        desk.report("dimension-clash", f"`{desk.excerpt(node.point)}` is {desk.described(node.point, point)}; the "
                    f"curve runs over {named(curve.over)}", node.point, named(curve.over))  # fmt: skip
        return None
    return curve.of


VALUES: Mapping[type[Node], Rule] = {
    n.Literal: _literal,
    n.YesNo: lambda desk, node, scope: Truth(),
    n.Word: lambda desk, node, scope: Text(),
    n.Name: _name,
    n.Member: _member,
    n.Negative: _negative,
    n.Arithmetic: _arithmetic,
    n.Margin: _margin,
    n.Assume: _assume,
    n.Call: _call,
    n.ReadAt: _read_at,
}
