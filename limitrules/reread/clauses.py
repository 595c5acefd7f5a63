"""The clauses of a rule evaluated anew over a box: what each phrase means, written down a second time."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from fractions import Fraction
from typing import Any

from attrs import define, field

from limitrules.foundation.dimension import NUMBER, Dimension
from limitrules.foundation.kinds import Component, Components
from limitrules.language import nodes as n
from limitrules.model.quantity import Uncertain
from limitrules.model.system import System
from limitrules.model.values import ComponentRecord, Table, Unknown, Value
from limitrules.reread.ranges import (
    INF,
    NO,
    ONE,
    OPEN,
    YES,
    ZERO,
    Range,
    Refused,
    arithmetic,
    contrary,
    current_at_power,
    gathered,
    joined,
    margin,
    positive,
    reading,
    root,
    size,
)

Box = Mapping[str, tuple[Fraction, Fraction]]
Names = Mapping[str, ComponentRecord]


@define
class Reading:
    """A rule on one set of subjects over a box; a variable that is not in the box is as the document says.

    ``named`` are definitions and parameters. Evaluating notes in ``seen`` the variables with their ranges in the
    document, and in ``lost`` the paths that are missing.
    """

    system: System
    named: Mapping[str, n.Node]
    subjects: Names
    box: Box = field(factory=dict)
    seen: dict[str, tuple[Fraction, Fraction]] = field(factory=dict, init=False)
    lost: set[str] = field(factory=set, init=False)
    made: dict[str, Any] = field(factory=dict, init=False)

    def value(self, node: n.Node, names: Names) -> Any:
        """What a node stands for: a range, a component, several, a word or a table."""
        if type(node) not in _MEANINGS:
            raise Refused(f"this checker does not know the phrase {type(node).__name__}")
        return _MEANINGS[type(node)](self, node, names)

    def several(self, nodes: Iterable[n.Node], names: Names) -> list[Any]:
        return [self.value(node, names) for node in nodes]

    def name(self, name: str, names: Names) -> Any:
        if name in names:
            return names[name]
        if name in self.named:
            if name not in self.made:
                self.made[name] = self.value(self.named[name], self.subjects)
            return self.made[name]
        kind = self.system.vocabulary.by_plural[name]
        records = list(self.system.components[kind.name].values())
        return records if not kind.single else records[0] if records else self.missing(name)

    def missing(self, path: str, unit: Dimension | None = None) -> Range:
        self.lost.add(path)
        return Range(-INF, INF, unit)

    def variable(self, path: str, low: Fraction, high: Fraction, unit: Dimension | None = NUMBER) -> Range:
        self.seen[path] = (low, high)
        return Range(*self.box.get(path, (low, high)), unit)

    def place(self, node: n.Node, names: Names) -> tuple[Any, str] | None:
        """The component and attribute that a path names; a range instead of the component where it is missing."""
        if isinstance(node, n.Name) and node.name in self.named:
            return self.place(self.named[node.name], self.subjects)
        if not isinstance(node, n.Member):
            return None
        base = self.place(node.base, names)
        if base and not isinstance(base[0], Range) and base[1] in base[0].kind.groups:
            return base[0], f"{base[1]}.{node.name}"
        return (self.attribute(*base) if base else self.value(node.base, names)), node.name

    def path(self, *candidates: n.Node, names: Names) -> str:
        """The path that the first of the nodes names; only a path tells which errors are one and the same."""
        place = next(filter(None, (self.place(node, names) for node in candidates)), None)
        if place is None or isinstance(place[0], Range):
            raise Refused("this checker cannot tell which error stands here")
        return f"{place[0].path}.{place[1]}"

    def attribute(self, record: Any, name: str) -> Any:
        if isinstance(record, Range):
            return OPEN
        declared, path = record.kind.attributes[name], f"{record.path}.{name}"
        if declared.derived and (silent := self.system.not_saying(declared)):
            return self.missing(f"{silent[0]}.{declared.inverse}")
        if isinstance(declared.type, Component | Components):
            related, is_one = self.system.related(record, declared), isinstance(declared.type, Component)
            if related is None or (is_one and not related):
                return self.missing(path)
            return related[0] if is_one else list(related)
        value, unit = record.values.get(name), declared.unit.dimension if declared.unit else None
        content = value.content if value else Unknown()
        if isinstance(content, Unknown):
            found = self.missing(path, unit)
            return Range(content.within.low, content.within.high, unit) if content.within else found
        if isinstance(content, Uncertain):
            return self.number(path, value, content, unit)
        if isinstance(content, bool):
            return YES if content else NO
        return content if isinstance(content, Table) else str(content)

    def number(self, path: str, value: Value, content: Uncertain, unit: Dimension | None) -> Range:
        """A stated number; all that one sensor or one datum tells moves together."""
        shared = f"sensor {value.sensor}" if value.sensor else f"datum {getattr(value, 'datum', '')}"
        if content.is_exact or shared == "datum ":
            return self.variable(path, content.low, content.high, unit)
        error, middle = self.variable(shared, Fraction(-1), Fraction(1)), content.nominal
        low, high = (middle + e * (content.high - middle if e > 0 else middle - content.low) for e in error[:2])
        return Range(low, high, unit)

    def margin(self, node: n.Margin, names: Names) -> Range:
        base, amount = self.value(node.base, names), self.value(node.amount, names)
        if node.word == "plus or minus":
            source = node.amount.value if isinstance(node.amount, n.Assume) else node.amount
            path = self.path(source, node.base, names=names)
            amount = arithmetic("*", amount, self.variable(f"{path} (error)", Fraction(-1), Fraction(1)))
        elif node.word == "less":
            amount = arithmetic("-", ZERO, amount)
        return margin(base, amount) if amount.unit == NUMBER != base.unit else arithmetic("+", base, amount)

    def assume(self, node: n.Assume, names: Names) -> Any:
        source = node.value.curve if isinstance(node.value, n.ReadAt) else node.value
        place = self.place(source, names)
        found = self.attribute(*place) if place else None
        if isinstance(found, Range) and found.low == -INF:
            return self.value(node.default, names)
        if place and source is node.value:
            return found
        apart = Reading(self.system, self.named, self.subjects, self.box)
        apart.value(node.value, names)
        if apart.lost:
            raise Refused("this checker cannot tell whether what stands before `otherwise` is missing as a whole")
        return self.value(node.value, names)

    def call(self, function: str, values: list[Range]) -> Range:
        if function in ("min", "max"):
            return joined("lowest" if function == "min" else "highest", *values)
        if function in ("abs", "sqrt"):
            return size(values[0]) if function == "abs" else root(values[0])
        if function == "current_at_power":
            return current_at_power(*values)
        raise Refused(f"this checker does not know {function}")

    def read_at(self, node: n.ReadAt, names: Names) -> Range:
        curve, at = self.value(node.curve, names), self.value(node.point, names)
        if not isinstance(curve, Table):
            return OPEN
        found, spread = reading(curve, at), curve.tolerance
        if not spread:
            return found
        error = self.variable(f"{self.path(node.curve, names=names)}.tolerance", -spread, spread)
        return margin(found, error) if curve.relative else arithmetic("+", found, error)

    def between(self, node: n.Between, names: Names) -> Range:
        value, low, high = self.several((node.value, node.low, node.high), names)
        return joined("lowest", positive(arithmetic("-", value, low)), positive(arithmetic("-", high, value)))

    def belongs(self, node: n.Belongs, names: Names) -> Range:
        item, collection = self.several((node.item, node.collection), names)
        if isinstance(item, Range) or isinstance(collection, Range):
            return OPEN
        return YES if item.path in [record.path for record in collection] else NO

    def choose(self, node: n.Choose, names: Names) -> Any:
        test = self.value(node.condition, names)
        if test.low >= 1 or test.high <= 0:
            return self.value(node.then if test.low >= 1 else node.other, names)
        then, other = self.several((node.then, node.other), names)
        if not (isinstance(then, Range) and isinstance(other, Range)):
            raise Refused("this checker cannot choose between components or words by figures")
        return Range(min(then.low, other.low), max(then.high, other.high), then.unit or other.unit)

    def distance(self, node: n.Node, names: Names) -> tuple[Range, bool]:
        """How far a comparison is from its limit, and whether zero is enough; 1 or -1 for what is no number."""
        if isinstance(node, n.Within):
            value, target, most = (self.value(item, names) for item in (node.value, node.target, node.allowance))
            return arithmetic("-", most, size(arithmetic("-", value, target))), True
        assert isinstance(node, n.Compare)
        left, right, sign = self.value(node.left, names), self.value(node.right, names), n.COMPARISONS[node.relation]
        if isinstance(left, Range) and isinstance(right, Range):
            gap = arithmetic("-", right, left)
            if sign in ("=", "!="):
                return (size(gap), False) if sign == "!=" else (arithmetic("-", ZERO, size(gap)), True)
            return (gap if "<" in sign else arithmetic("-", left, right)), "=" in sign
        if isinstance(left, Range) or isinstance(right, Range):
            return OPEN, True
        is_same = getattr(left, "path", left) == getattr(right, "path", right)
        return (Range(1, 1) if is_same == (sign == "=") else Range(-1, -1)), True

    def state(self, node: n.State, names: Names) -> Range:
        place = self.place(node.value, names)
        record, name = place or (self.value(node.value, names), "")
        if isinstance(record, Range) or place is None:
            return YES if (node.word == "missing") == isinstance(record, Range) and node.word != "unknown" else NO
        declared, values = record.kind.attributes.get(name), record.values
        paths = [path for path in record.kind.attributes if path == name or path.startswith(f"{name}.")]
        if node.word == "unknown":
            return YES if any(path in values and values[path].is_unknown for path in paths) else NO
        is_open = declared and declared.derived and not self.system.related(record, declared)
        if is_open and declared and (silent := self.system.not_saying(declared)):
            return self.missing(f"{silent[0]}.{declared.inverse}")
        is_stated = any(self.is_stated(record, path) for path in paths)
        if node.word in ("stated", "missing"):
            return YES if is_stated == (node.word == "stated") else NO
        return YES if is_stated and name in values and values[name].origin == node.word else NO

    def is_stated(self, record: ComponentRecord, path: str) -> bool:
        declared, value = record.kind.attributes[path], record.values.get(path)
        if declared.derived or declared.part:
            return bool(self.system.related(record, declared)) if declared.derived else path in record.parts
        is_none = value is not None and value.content == () and isinstance(declared.type, Component)
        return value is not None and not value.is_unknown and not is_none

    def members(self, node: n.Quantified | n.Aggregate, names: Names) -> Range:
        several = self.value(node.collection, names)
        if isinstance(several, Range):
            return OPEN
        inner = [{**names, node.name: record} for record in several]
        guards = [YES if node.where is None else self.value(node.where, item) for item in inner]
        parts = [
            (self.value(node.body, item), guard) for item, guard in zip(inner, guards, strict=True) if guard.high > 0
        ]
        if not any(guard.low >= 1 for _, guard in parts):
            place = self.place(node.collection, names)
            self.lost.add(f"{place[0].path}.{place[1]}" if place else getattr(node.collection, "name", ""))
        if isinstance(node, n.Aggregate):
            counts = [
                (Range(max(0, a.low), min(1, a.high), NUMBER) if isinstance(a, Range) else ONE, guard)
                for a, guard in parts
            ]
            return gathered(node.word, counts if node.word == "count" else parts)
        if node.word == "some":
            return joined("highest", NO, *(joined("lowest", *part) for part in parts))
        # `every` and `no` over nothing would hold without anything having been looked at.
        taken = joined("highest", OPEN, *(guard for _, guard in parts))
        sign = (lambda a: a) if node.word == "every" else contrary
        return joined("lowest", taken, *(joined("highest", contrary(guard), sign(body)) for body, guard in parts))


# What each kind of node stands for.
_MEANINGS: Mapping[type[n.Node], Callable[[Reading, Any, Names], Any]] = {
    n.Literal: lambda r, node, names: Range(node.value, node.value, node.unit.dimension),
    n.YesNo: lambda r, node, names: YES if node.value else NO,
    n.Word: lambda r, node, names: node.text,
    n.Name: lambda r, node, names: r.name(node.name, names),
    n.Member: lambda r, node, names: r.attribute(*(r.place(node, names) or (OPEN, ""))),
    n.Negative: lambda r, node, names: arithmetic("-", ZERO, r.value(node.value, names)),
    n.Arithmetic: lambda r, node, names: arithmetic(node.operator, *r.several((node.left, node.right), names)),
    n.Margin: Reading.margin,
    n.Assume: Reading.assume,
    n.Call: lambda r, node, names: r.call(node.function, r.several(node.arguments, names)),
    n.ReadAt: Reading.read_at,
    n.Compare: lambda r, node, names: positive(*r.distance(node, names)),
    n.Within: lambda r, node, names: positive(*r.distance(node, names)),
    n.Between: Reading.between,
    n.State: Reading.state,
    n.Belongs: Reading.belongs,
    n.Opposite: lambda r, node, names: contrary(r.value(node.value, names)),
    n.AllOf: lambda r, node, names: joined("lowest", *r.several(node.parts, names)),
    n.AnyOf: lambda r, node, names: joined("highest", *r.several(node.parts, names)),
    n.Choose: Reading.choose,
    n.Quantified: Reading.members,
    n.Aggregate: Reading.members,
    n.Listed: lambda r, node, names: gathered(node.word, [(item, YES) for item in r.several(node.members, names)]),
}
