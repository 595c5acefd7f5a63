"""Reading the declarations of a vocabulary, or of a rulepack that extends one, into kinds."""

from __future__ import annotations

import re
from collections.abc import Mapping
from fractions import Fraction
from functools import lru_cache

import attrs

from limitrules.foundation import tree
from limitrules.foundation.dimension import NUMBER, TEMPERATURE_DIFFERENCE
from limitrules.foundation.kinds import (
    Attribute,
    Choice,
    Component,
    Components,
    Curve,
    Date,
    Kind,
    Quantity,
    Temperature,
    Text,
    Truth,
    Type,
)
from limitrules.foundation.units import UNITS, Unit, UnknownUnit, parse_unit, unit_for
from limitrules.model.quantity import QuantityError, parse_quantity
from limitrules.model.reading import Reading

ONE = unit_for(NUMBER)
_TYPES = dict.fromkeys(("unit", "count", "flag", "choice", "text", "date", "curve", "one", "many", "part"))
PLAIN: Mapping[str, Type] = {"flag": Truth(), "text": Text(), "date": Date()}
_MORE = dict.fromkeys(("meaning", "adjustable", "resolution", "signed", "inverse", "open_standard"))
_KIND_KEYS = ("plural", "single", "meaning", "variants", "attributes")
_PATH = re.compile(r"[a-z][a-z0-9_]*(\.[a-z][a-z0-9_]*)*\Z")
_NAME = re.compile(r"[a-z][a-z0-9_]*( [a-z][a-z0-9_]*)*\Z")
_RESERVED = frozenset(("like", "limitrules", "name"))


@lru_cache(maxsize=512)
def unit_of(text: str) -> Unit:
    """The unit of a text in a vocabulary. Raises UnknownUnit."""
    return ONE if text == "1" else parse_unit(text)


def target_of(attribute: Attribute) -> str:
    """The kind that a relation or a part leads to."""
    assert isinstance(attribute.type, Component | Components)
    return attribute.type.kind


def _groups(path: str) -> list[str]:
    words = path.split(".")
    return [".".join(words[:count]) for count in range(1, len(words))]


class Declarations:
    """Kinds while they are read: their attributes are plain dicts that still grow.

    ``by`` names the rulepack that extends a vocabulary; it is empty for the vocabulary itself.
    """

    def __init__(self, reading: Reading, by: str) -> None:
        self.reading = reading
        self.by = by
        self.kinds: dict[str, Kind] = {}
        self.variants: dict[str, Mapping[str, Unit]] = {}
        # Ties to other kinds, resolved when all kinds are known: (kind, attribute, place).
        self.ties: list[tuple[str, Attribute, tree.Node]] = []
        self.groups: dict[str, set[str]] = {}

    def finished(self) -> dict[str, Kind]:
        """The kinds with their groups worked out anew."""
        return {name: attrs.evolve(kind) for name, kind in self.kinds.items()}

    def attributes(self, kind: str) -> dict[str, Attribute]:
        found = self.kinds[kind].attributes
        assert isinstance(found, dict)
        return found

    def read_kinds(self, node: tree.Node, *, extending: bool) -> None:
        kinds = self.reading.mapping(node, "a map of kinds")
        for key, body in kinds.entries.values() if kinds else ():
            declaration = self.reading.mapping(body, "the declaration of a kind")
            if declaration is None:
                continue
            for inner, _ in declaration.entries.values():
                if inner.text not in _KIND_KEYS:
                    self.reading.unknown_key(inner, _KIND_KEYS, "the declaration of a kind")
            if extending and (key.text in self.kinds or key.text in self.variants):
                self._extend(key, declaration)
            else:
                self._declare(key, declaration)

    def _extend(self, key: tree.Scalar, declaration: tree.Mapping) -> None:
        for inner, _ in declaration.entries.values():
            if inner.text != "attributes":
                message = f"The kind `{key.text}` is already declared; only its attributes can be extended."
                self.reading.say("kind-clash", message, inner)
        self._read_attributes(declaration, self._forms(key.text))

    def _forms(self, name: str) -> list[tuple[str, Unit | None]]:
        """The kinds behind a name with the unit that ``variant`` stands for in each."""
        return list(self.variants[name].items()) if name in self.variants else [(name, None)]

    def _declare(self, key: tree.Scalar, declaration: tree.Mapping) -> None:
        reading, name = self.reading, key.text
        if not _NAME.match(name):
            reading.say("bad-name", f"`{name}` cannot name a kind.", key, expected="small letters, digits and _")
        entries = declaration.entries
        meaning = reading.text(entries["meaning"][1], "a sentence") if "meaning" in entries else None
        if meaning is None and "meaning" not in entries:
            reading.say("missing-key", f"The meaning of `{name}` is missing.", key, advice="add `meaning: ...`")
        single = "single" in entries and self._yes(entries["single"][1])
        plural = name if single else ""
        if "plural" in entries:
            plural = reading.text(entries["plural"][1], "the key its components stand under") or ""
        if plural and any(kind.plural == plural for kind in self.kinds.values()):
            reading.say("kind-clash", f"`{plural}` already is the key of another kind.", key)
        if "variants" in entries:
            self._read_variants(name, entries["variants"][1])
        for form, _ in self._forms(name):
            if form in self.kinds:
                reading.say("kind-clash", f"The kind `{form}` is declared twice.", key)
            self.kinds[form] = Kind(form, plural if form == name else "", meaning or "", {}, single)
        self._read_attributes(declaration, self._forms(name))

    def _read_variants(self, name: str, node: tree.Node) -> None:
        found: dict[str, Unit] = {}
        variants = self.reading.mapping(node, "a map of variants with their units")
        for key, value in variants.entries.values() if variants else ():
            unit = self._read_unit(value)
            if unit is not None:
                found[f"{key.text} {name}"] = unit
        self.variants[name] = found

    def _read_attributes(self, declaration: tree.Mapping, forms: list[tuple[str, Unit | None]]) -> None:
        entry = declaration.entries.get("attributes")
        attributes = self.reading.mapping(entry[1], "a map of attributes") if entry else None
        for key, body in attributes.entries.values() if attributes else ():
            entries = self.reading.mapping(body, "the declaration of an attribute")
            if entries is None or not self._may_be_named(key, forms[0][0] if forms else ""):
                continue
            count = len(self.reading.found)
            for kind, variant in forms:
                attribute = self._read_attribute(key, entries, variant)
                if attribute is None or len(self.reading.found) > count:
                    break
                self.attributes(kind)[key.text] = attribute
                if isinstance(attribute.type, Component | Components):
                    self.ties.append((kind, attribute, body))

    def _may_be_named(self, key: tree.Scalar, kind: str) -> bool:
        path, reading = key.text, self.reading
        if not _PATH.match(path) or (path.split(".")[0] in _RESERVED and path != "name"):
            due = "words of small letters, digits and _, joined by dots"
            reading.say("bad-name", f"`{path}` cannot name an attribute.", key, expected=due)
            return False
        taken = self.kinds[kind].attributes if kind in self.kinds else {}
        if path in taken:
            by = f" The rulepack `{self.by}` cannot declare it anew." if self.by else ""
            reading.say("attribute-clash", f"`{path}` already is an attribute of kind {kind}.{by}", key)
            return False
        other = self._beside(kind, path)
        if other:
            reading.say("attribute-clash", f"`{path}` cannot stand beside `{other}`: one is inside the other.", key)
        return not other

    def _beside(self, kind: str, path: str) -> str:
        """An attribute of the kind that is inside the path, or inside which the path is; empty if none."""
        if kind not in self.kinds:
            return ""
        taken, groups = self.kinds[kind].attributes, self.groups.setdefault(kind, set())
        if not groups:
            groups.update(group for other in taken for group in _groups(other))
        if path in groups:
            return next(other for other in taken if other.startswith(path + "."))
        above = _groups(path)
        groups.update(above)
        return next((group for group in above if group in taken), "")

    def _read_attribute(self, key: tree.Scalar, body: tree.Mapping, variant: Unit | None) -> Attribute | None:
        reading, entries = self.reading, body.entries
        sorts = [word for word in entries if word in _TYPES]
        for word, (inner, _) in entries.items():
            if word not in _TYPES and word not in _MORE:
                reading.unknown_key(inner, [*_TYPES, *_MORE], "the declaration of an attribute")
        if len(sorts) != 1:
            message = f"`{key.text}` must say once what it holds; it does so {len(sorts)} times."
            reading.say("attribute-type", message, key, expected="exactly one of " + ", ".join(_TYPES))
            return None
        if "meaning" not in entries:
            reading.say("missing-key", f"The meaning of `{key.text}` is missing.", key, advice="add `meaning: ...`")
        sort = sorts[0]
        unit, over = self._units(sort, entries[sort][1], variant)
        kind = self._type(sort, entries[sort][1], unit, over)
        if kind is None:
            return None
        return Attribute(
            key.text,
            kind,
            self._text(entries, "meaning"),
            unit,
            adjustable="adjustable" in entries and self._yes(entries["adjustable"][1]),
            resolution=self._resolution(entries["resolution"][1], unit) if "resolution" in entries else None,
            inverse=self._text(entries, "inverse"),
            part=sort == "part",
            open_standard=self._text(entries, "open_standard"),
            count=sort == "count",
            over_unit=over,
            signed="signed" in entries and self._yes(entries["signed"][1]),
        )

    def _text(self, entries: Mapping[str, tuple[tree.Scalar, tree.Node]], word: str) -> str:
        return (self.reading.text(entries[word][1], "a text") or "") if word in entries else ""

    def _units(self, sort: str, node: tree.Node, variant: Unit | None) -> tuple[Unit | None, Unit | None]:
        """The unit of the values and, for a curve, the one it is read over."""
        if sort == "count":
            return ONE, None
        if sort == "unit":
            return self._read_unit(node, variant), None
        if sort != "curve":
            return None, None
        if isinstance(node, tree.Mapping) and set(node.entries) == {"of", "over"}:
            return self._read_unit(node.entries["of"][1], variant), self._read_unit(node.entries["over"][1], variant)
        self.reading.say("attribute-type", "A curve needs two units.", node, expected='{of: V, over: "%"}')
        return None, None

    def _type(self, sort: str, node: tree.Node, unit: Unit | None, over: Unit | None) -> Type | None:
        if sort in ("unit", "count"):
            return type_of(unit) if unit else None
        if sort == "curve":
            return Curve(type_of(over), type_of(unit)) if unit and over else None
        if sort in PLAIN:
            self._yes(node)
            return PLAIN[sort]
        if sort == "choice":
            return self._choice(node)
        name = self.reading.text(node, "the name of a kind")
        if name is None:
            return None
        return Components(name) if sort == "many" else Component(name)

    def _choice(self, node: tree.Node) -> Choice | None:
        if not isinstance(node, tree.Sequence) or not node.items:
            self.reading.say("attribute-type", "A choice needs the list of its words.", node, expected="[word, word]")
            return None
        words = tuple(item.text if isinstance(item, tree.Scalar) else "" for item in node.items)
        if not all(words):
            self.reading.say("attribute-type", "A choice needs the list of its words.", node, expected="[word, word]")
        if len(set(words)) != len(words):
            self.reading.say("attribute-type", "A word stands twice in this choice.", node)
        return Choice(words)

    def _read_unit(self, node: tree.Node, variant: Unit | None = None) -> Unit | None:
        text = self.reading.text(node, "a unit")
        if text is None:
            return None
        if text in ("variant", "variant_difference") and variant is not None:
            return UNITS["K"] if variant.is_temperature and text == "variant_difference" else variant
        try:
            return unit_of(text)
        except UnknownUnit as error:
            advice = f"write `{error.suggestion}`" if error.suggestion else ""
            self.reading.say("unknown-unit", f"`{text}` is not a unit that is known here.", node, advice=advice)
            return None

    def _resolution(self, node: tree.Node, unit: Unit | None) -> Fraction | None:
        text = self.reading.text(node, "a step")
        if text is None or unit is None:
            return None
        try:
            return parse_quantity(text, UNITS["K"] if unit.is_temperature else unit).nominal
        except QuantityError as error:
            self.reading.say(error.code, error.message, node, expected=error.expected, advice=error.advice)
            return None

    def _yes(self, node: tree.Node) -> bool:
        if isinstance(node, tree.Scalar) and node.text in ("true", "yes"):
            return True
        advice = "leave the line out where it is not so"
        self.reading.say("not-a-flag", "Only `true` can stand here.", node, advice=advice)
        return False

    def resolve(self) -> None:
        """Checks that every tie leads to a fitting kind, and gives that kind the inverse relation."""
        for kind, attribute, place in self.ties:
            target = self.kinds.get(target_of(attribute))
            if target is None:
                message = f"There is no kind `{target_of(attribute)}`."
                self.reading.say("unknown-kind", message, place, expected="one of " + ", ".join(self.kinds))
            elif attribute.part and (target.plural or not self.kinds[kind].plural):
                message = f"A {target.name} cannot be a part of a {kind}."
                due = "a kind without `plural`, in one that has it"
                self.reading.say("attribute-type", message, place, expected=due)
            elif not attribute.part and (target.single or not target.plural):
                message = f"`{attribute.path}` cannot lead to a {target.name}: it has no id."
                self.reading.say("attribute-type", message, place, expected="a kind with `plural`")
            elif attribute.inverse:
                self._add_inverse(kind, attribute, target.name, place)

    def _add_inverse(self, kind: str, attribute: Attribute, target: str, place: tree.Node) -> None:
        path, taken = attribute.inverse, self.attributes(target)
        if not _PATH.match(path):
            self.reading.say("bad-name", f"`{path}` cannot name a relation.", place)
            return
        clash = path if path in taken else self._beside(target, path)
        if clash:
            message = f"The inverse `{path}` clashes with `{clash}` of kind {target}."
            self.reading.say("attribute-clash", message, place)
            return
        meaning = f"Every {kind} whose `{attribute.path}` names this {target}."
        taken[path] = Attribute(path, Components(kind), meaning, inverse=attribute.path, derived=True)


def type_of(unit: Unit) -> Quantity | Temperature:
    """The type of what is stated in a unit."""
    if unit.is_temperature and unit.dimension == TEMPERATURE_DIFFERENCE:
        return Temperature()
    return Quantity(unit.dimension)
