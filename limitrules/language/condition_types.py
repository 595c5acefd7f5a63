"""The types of conditions, and of what is gathered from collections and lists."""

from __future__ import annotations

from collections.abc import Mapping

from limitrules.foundation.dimension import TIME
from limitrules.foundation.kinds import (
    Choice,
    Component,
    Components,
    Curve,
    Group,
    Quantity,
    Temperature,
    Truth,
    Type,
)
from limitrules.language import nodes as n
from limitrules.language.desk import DIFFERENCE, Desk, Rule, Scope, named
from limitrules.language.nodes import Node
from limitrules.language.value_types import is_option

# Words for durations and temperatures, and those for other quantities that say the same.
_DURATION_WORDS = {"longer than": "above", "shorter than": "below", "at most": "at or below", "at least": "at or above"}
_TEMPERATURE_WORDS = {"colder than": "below", "warmer than": "above"}
_INTO_THE_BRANCHES = "put into the branches of one `if`"


def _compare(desk: Desk, node: n.Compare, scope: Scope) -> Type:
    if _is_unquoted(desk, node, scope):
        return Truth()
    left, right = desk.type_of(node.left, scope), desk.type_of(node.right, scope)
    if left is None or right is None:
        return Truth()
    if not _comparable(desk, node, left, right, scope):
        return Truth()
    if not isinstance(left, Quantity | Temperature):
        if node.relation not in ("equals", "differs from"):
            desk.report("not-ordered", f"`{node.relation}` compares {left}, which has no order", node,
                        "`equals` or `differs from`")  # fmt: skip
    elif node.relation in _DURATION_WORDS and left != Quantity(TIME):
        desk.report("not-a-duration", f"`{node.relation}` compares durations; `{desk.excerpt(node.left)}` is "
                    f"{desk.described(node.left, left)}", node, f"`{_DURATION_WORDS[node.relation]}`")  # fmt: skip
    elif node.relation in _TEMPERATURE_WORDS and not isinstance(left, Temperature):
        desk.report(
            "not-a-temperature",
            f"`{node.relation}` compares temperatures; `{desk.excerpt(node.left)}` "
            f"is {desk.described(node.left, left)}",
            node,
            f"`{_TEMPERATURE_WORDS[node.relation]}`",
        )
    else:
        desk.shares_are_clear(node.left, node.right)
    return Truth()


def _is_unquoted(desk: Desk, node: n.Compare, scope: Scope) -> bool:
    """True, with a word on it, where a choice is compared with a word that lacks its quotes."""
    for choice, word in ((node.left, node.right), (node.right, node.left)):
        if not isinstance(word, n.Name) or word.name in scope.names or word.name in scope.collections():
            continue
        found = desk.type_of(choice, scope)
        if isinstance(found, Choice) and word.name in found.options:
            desk.report("unquoted-word", f"`{word.name}` is a word of the document, not a name", word,
                        f'double quotes: `"{word.name}"`')  # fmt: skip
        elif found is not None:
            desk.type_of(word, scope)
        return True
    return False


def _comparable(desk: Desk, node: n.Compare, left: Type, right: Type, scope: Scope) -> bool:
    for choice, other in ((left, node.right), (right, node.left)):
        if isinstance(choice, Choice) and isinstance(other, n.Word):
            return is_option(desk, other, choice)
    if isinstance(left, Component) and isinstance(right, Component):
        if left != right:
            desk.clash(node, node.left, left, node.right, right, "compared")
        return left == right
    for side, found in ((node.left, left), (node.right, right)):
        if not desk.is_value(side, found, scope):
            return False
    if left != right:
        desk.clash(node, node.left, left, node.right, right, "compared")
    return left == right


def _between(desk: Desk, node: n.Between, scope: Scope) -> Type:
    found = [desk.type_of(item, scope) for item in (node.value, node.low, node.high)]
    value, *bounds = found
    if value is None or None in bounds or not desk.is_number(node.value, value, scope, "compared"):
        return Truth()
    for bound, kind in zip((node.low, node.high), bounds, strict=True):
        assert kind is not None
        if not desk.is_number(bound, kind, scope, "compared"):
            return Truth()
        if value != kind:
            desk.clash(node, node.value, value, bound, kind, "compared")
            return Truth()
    desk.shares_are_clear(node.value, node.low, node.high)
    return Truth()


def _within(desk: Desk, node: n.Within, scope: Scope) -> Type:
    value, target = desk.type_of(node.value, scope), desk.type_of(node.target, scope)
    allowance = desk.type_of(node.allowance, scope)
    if value is None or target is None or allowance is None:
        return Truth()
    for side, found in ((node.value, value), (node.allowance, allowance), (node.target, target)):
        if not desk.is_number(side, found, scope, "compared"):
            return Truth()
    due = DIFFERENCE if isinstance(value, Temperature) else value
    if value != target:
        desk.clash(node, node.value, value, node.target, target, "compared")
    elif allowance != due:
        hint = ""
        if allowance == Quantity():
            hint = f"`within {desk.excerpt(node.allowance)} * {desk.excerpt(node.target)} of ...`"
        elif isinstance(allowance, Temperature) and isinstance(node.allowance, n.Literal):
            hint = f"`within {node.allowance.digits} K of ...`"
        desk.report("dimension-clash", f"the allowance `{desk.excerpt(node.allowance)}` is "
                    f"{desk.described(node.allowance, allowance)}", node.allowance, named(due), hint)  # fmt: skip
    else:
        desk.shares_are_clear(node.value, node.allowance, node.target)
    return Truth()


def _state(desk: Desk, node: n.State, scope: Scope) -> Type:
    found = desk.type_of(node.value, scope)
    if found is None:
        return Truth()
    if not isinstance(node.value, n.Member | n.Name):
        desk.report("not-a-path", f"`{desk.excerpt(node.value)}` is computed; only a value of the document can be "
                    f"{node.word}", node.value, "a path such as `p.charge.ceiling`")  # fmt: skip
    elif node.word not in ("stated", "missing", "unknown") and isinstance(found, Component | Components | Group):
        desk.report("not-a-value", f"`{desk.excerpt(node.value)}` is {found}; only a value has an origin",
                    node.value, "a path to a single value")  # fmt: skip
    return Truth()


def _belongs(desk: Desk, node: n.Belongs, scope: Scope) -> Type:
    item, collection = desk.type_of(node.item, scope), desk.type_of(node.collection, scope)
    if item is None or collection is None:
        return Truth()
    if not (isinstance(item, Component) and isinstance(collection, Components)):
        desk.report("not-a-collection", f"`in` joins {desk.described(node.item, item)} with "
                    f"{desk.described(node.collection, collection)}", node,
                    "a component, and a collection such as `c.feeds`")  # fmt: skip
    elif item.kind != collection.kind:
        desk.report("kind-clash", f"`{desk.excerpt(node.item)}` is {item}; the collection holds "
                    f"{scope.kinds[collection.kind].plural}", node, f"a {collection.kind}")  # fmt: skip
    return Truth()


def _opposite(desk: Desk, node: n.Opposite, scope: Scope) -> Type:
    desk.condition(node.value, scope)
    return Truth()


def _joined(desk: Desk, node: n.AllOf | n.AnyOf, scope: Scope) -> Type:
    for part in node.parts:
        desk.condition(part, scope)
    return Truth()


def _choose(desk: Desk, node: n.Choose, scope: Scope) -> Type | None:
    desk.condition(node.condition, scope)
    then, other = desk.type_of(node.then, scope), desk.type_of(node.other, scope)
    if then is None or other is None:
        return None
    for side, found in ((node.then, then), (node.other, other)):
        if isinstance(found, Components | Curve | Group):
            desk.is_value(side, found, scope)
            return None
    if then != other:
        desk.clash(node, node.then, then, node.other, other, _INTO_THE_BRANCHES)
        return None
    if not desk.shares_are_clear(node.then, node.other):
        return None
    desk.unit_from(node, then, node.then, node.other)
    return then


def _members(desk: Desk, node: n.Quantified | n.Aggregate | n.Each, scope: Scope) -> Scope | None:
    found = desk.type_of(node.collection, scope)
    if found is None:
        return None
    if not isinstance(found, Components):
        what = desk.described(node.collection, found)
        desk.report("not-a-collection", f"`{desk.excerpt(node.collection)}` is {what}", node.collection,
                    "a collection such as `packs` or `c.feeds`")  # fmt: skip
        return None
    if scope.is_taken(node.name):
        desk.report("name-taken", f"`{node.name}` has a meaning already", node, "a new name for the members")
        return None
    inner = scope.binding(**{node.name: Component(found.kind)})
    if node.where is not None:
        desk.condition(node.where, inner)
    return inner


def _quantified(desk: Desk, node: n.Quantified, scope: Scope) -> Type:
    inner = _members(desk, node, scope)
    if inner is not None:
        desk.condition(node.body, inner)
    return Truth()


def _aggregate(desk: Desk, node: n.Aggregate, scope: Scope) -> Type | None:
    inner = _members(desk, node, scope)
    if inner is None:
        return None
    body = desk.type_of(node.body, inner)
    if body is None:
        return None
    if node.word == "count":
        if not isinstance(body, Truth | Component):
            desk.report("not-countable", f"`count of` is given {desk.described(node.body, body)}", node.body,
                        "the member itself or a condition on it")  # fmt: skip
            return None
        return Quantity()
    if not _is_gathered(desk, node.word, node.body, body, inner):
        return None
    desk.unit_from(node, body, node.body)
    return body


def _each(desk: Desk, node: n.Each, scope: Scope) -> Type | None:
    inner = _members(desk, node, scope)
    if inner is None:
        return None
    found = [desk.type_of(value, inner) for value in node.values]
    for value, kind in zip(node.values, found, strict=True):
        if kind is None or not desk.is_number(value, kind, inner, "given to a function"):
            return None
    return desk.types[node.collection]


def _listed(desk: Desk, node: n.Listed, scope: Scope) -> Type | None:
    types = [desk.type_of(member, scope) for member in node.members]
    first = types[0]
    for member, found in zip(node.members, types, strict=True):
        if first is None or found is None or not _is_gathered(desk, node.word, member, found, scope):
            return None
        if found != first:
            desk.clash(node, node.members[0], first, member, found, f"put into one `{node.word} of`")
            return None
    if first is None or not desk.shares_are_clear(*node.members):
        return None
    desk.unit_from(node, first, *node.members)
    return first


def _is_gathered(desk: Desk, word: str, node: Node, found: Type, scope: Scope) -> bool:
    if not desk.is_number(node, found, scope, f"put into `{word} of`"):
        return False
    if isinstance(found, Temperature) and word == "total":
        desk.report("absolute-temperature", f"`{desk.excerpt(node)}` is an absolute temperature, which has no total",
                    node, "`lowest of`, `highest of`, or a temperature difference")  # fmt: skip
        return False
    return True


CONDITIONS: Mapping[type[Node], Rule] = {
    n.Compare: _compare,
    n.Between: _between,
    n.Within: _within,
    n.State: _state,
    n.Belongs: _belongs,
    n.Opposite: _opposite,
    n.AllOf: _joined,
    n.AnyOf: _joined,
    n.Choose: _choose,
    n.Quantified: _quantified,
    n.Aggregate: _aggregate,
    n.Each: _each,
    n.Listed: _listed,
}
