"""The JSON Schema of system documents, made from the vocabulary, so that an editor completes and checks keys.

`python -m limitrules.model.schema` writes it to `schemas/system-1.json`. It accepts all that the reader accepts;
the reader alone checks units of unusual make, ties between components and the order of ranges.
"""

from __future__ import annotations

import json
import re
from collections.abc import Callable

from limitrules.foundation.kinds import Attribute, Choice, Component, Components, Curve, Date, Kind, Text, Truth
from limitrules.foundation.shipped import shipped
from limitrules.foundation.units import UNITS, Unit
from limitrules.model.document import LIKE
from limitrules.model.quantity import ONE, difference_unit
from limitrules.model.value_reader import ORIGINS
from limitrules.model.vocabulary import Layout, Vocabulary, load_vocabulary, target_of

Schema = dict[str, object]

FILE = "system-1.json"
_DIALECT = "https://json-schema.org/draft/2020-12/schema"
_NUMBER = r"[+\-\u2212]?([0-9]+(\.[0-9]+)?|\.[0-9]+)([eE][+\-]?[0-9]{1,2})?"
_UNSIGNED = _NUMBER.replace(r"+\-\u2212", r"+", 1)
_BLANKS = r"[ \u00a0\u202f]*"
_ID: Schema = {"type": ["string", "integer"], "pattern": "^[A-Za-z0-9_-]+$"}
_DAY: Schema = {"type": "string", "pattern": "^([0-9]{4}-[0-9]{2}-[0-9]{2}|unknown)$"}
_FLAG: Schema = {"enum": ["yes", "no", True, False, "true", "false", "on", "off", "unknown"]}
_WORDS: Schema = {"type": ["string", "number", "boolean"]}
_COUNT: Schema = {"anyOf": [{"type": "integer", "minimum": 0}, {"const": "unknown"}]}
_NOTES: dict[str, Schema] = {
    "origin": {"enum": list(ORIGINS), "description": "How the value was come by."},
    "date": {**_DAY, "description": "The day it was read or measured."},
    "source": {**_WORDS, "description": "The page, sheet or panel it was taken from."},
    "sensor": {**_ID, "description": "The id of the sensor it was measured with; its values deviate together."},
    "datum": {**_WORDS, "description": "A name for what it was taken from; values of one datum deviate together."},
}
_NOTE_REFERENCES: dict[str, Schema] = {word: {"$ref": f"#/$defs/note_{word}"} for word in _NOTES}
_WIDTH = 118


def system_schema(vocabulary: Vocabulary) -> Schema:
    """The schema of system documents in the words of a vocabulary."""
    definitions: dict[str, Schema] = {f"note_{word}": note for word, note in _NOTES.items()}
    properties: dict[str, object] = {
        "limitrules": {"const": "system/1", "description": "Says that this is a system document."},
        "name": {**_WORDS, "description": "The name of the installation."},
    }
    for kind in vocabulary.kinds.values():
        definitions[_name(kind.name)] = _Kind(vocabulary, kind, definitions).schema()
    for plural, kind in vocabulary.by_plural.items():
        one = {"$ref": f"#/$defs/{_name(kind.name)}"}
        many = {"type": "object", "propertyNames": {"pattern": _ID["pattern"]}, "additionalProperties": one}
        properties[plural] = one if kind.single else {"description": kind.meaning, **many}
    return {
        "$schema": _DIALECT,
        "title": "system/1",
        "description": f"One installation, in the words of the vocabulary {vocabulary.name} {vocabulary.version}.",
        "type": "object",
        "required": ["limitrules"],
        "properties": properties,
        "additionalProperties": False,
        "$defs": dict(sorted(definitions.items())),
    }


def as_text(schema: Schema) -> str:
    """The text of the file in which a schema is kept."""
    return _lines(schema, "") + "\n"


def _lines(data: object, indent: str) -> str:
    """On one line where it fits, else one line for each member."""
    short = json.dumps(data, ensure_ascii=False)
    if len(indent) + len(short) <= _WIDTH or not isinstance(data, dict | list):
        return short
    inner = indent + " "
    if isinstance(data, list):
        return "[\n" + ",\n".join(inner + _lines(item, inner) for item in data) + f"\n{indent}]"
    members = (f"{inner}{json.dumps(key, ensure_ascii=False)}: {_lines(item, inner)}" for key, item in data.items())
    return "{\n" + ",\n".join(members) + f"\n{indent}}}"


def _name(words: str) -> str:
    return words.replace(" ", "_")


def _closed(properties: dict[str, Schema]) -> Schema:
    return {"type": "object", "properties": properties, "additionalProperties": False}


class _Kind:
    """Makes the definition of one kind; the forms of quantities are shared between kinds."""

    def __init__(self, vocabulary: Vocabulary, kind: Kind, definitions: dict[str, Schema]) -> None:
        self.vocabulary = vocabulary
        self.kind = kind
        self.definitions = definitions
        self.forms: dict[type, Callable[[Attribute], Schema]] = {
            Truth: lambda attribute: self._shared("flag", lambda: _forms([_FLAG])),
            Choice: self._choice,
            Text: lambda attribute: self._shared("text", lambda: _forms([_WORDS])),
            Date: lambda attribute: self._shared("date", lambda: _forms([_DAY])),
            Curve: self._curve,
            Component: self._one,
            Components: lambda attribute: self._shared(
                "ids", lambda: {"anyOf": [_ID, {"type": "array", "items": _ID}]}
            ),
        }

    def schema(self) -> Schema:
        properties = self._properties(self.vocabulary.layout(self.kind))
        if self.kind.plural and not self.kind.single:
            meaning = f"The id of another {self.kind.name}, whose values hold where this one states none."
            properties[LIKE] = {**_ID, "description": meaning}
        return {"description": self.kind.meaning, **_closed(properties)}

    def _properties(self, layout: Layout) -> dict[str, Schema]:
        properties: dict[str, Schema] = {}
        for word, member in layout.items():
            if isinstance(member, dict):
                properties[word] = _closed(self._properties(member))
            elif not member.derived:
                properties[word] = {"description": _meaning(member), **self._value(member)}
        return properties

    def _value(self, attribute: Attribute) -> Schema:
        form = self.forms.get(type(attribute.type))
        if form is not None:
            return form(attribute)
        if attribute.count:
            return self._shared("count", lambda: _forms([_COUNT], range=_RANGE))
        assert attribute.unit is not None
        unit = attribute.unit
        if attribute.signed or unit.is_temperature:
            return self._shared(f"in_{_spelled(unit)}", lambda: _quantity(unit))
        return self._shared(f"in_{_spelled(unit)}_from_zero", lambda: _quantity(unit, _UNSIGNED))

    def _shared(self, name: str, make: Callable[[], Schema]) -> Schema:
        if name not in self.definitions:
            self.definitions[name] = make()
        return {"$ref": f"#/$defs/{name}"}

    def _curve(self, attribute: Attribute) -> Schema:
        over, of = attribute.over_unit, attribute.unit
        assert over is not None
        assert of is not None

        def make() -> Schema:
            point = {"type": "array", "prefixItems": [_exact(over), _exact(of)], "items": False, "minItems": 2}
            points: Schema = {"type": "array", "items": point, "minItems": 2}
            table = _closed({"points": points, "tolerance": _tolerance(of), **_NOTE_REFERENCES})
            return {"anyOf": [table, {"const": "unknown"}, _long([{"const": "unknown"}])]}

        return self._shared(f"curve_in_{_spelled(of)}_over_{_spelled(over)}", make)

    def _choice(self, attribute: Attribute) -> Schema:
        assert isinstance(attribute.type, Choice)
        words = set(attribute.type.options)
        # Some YAML readers take these words for truth values.
        flags = [flag for flag, same in ((True, {"on", "yes"}), (False, {"off", "no"})) if same & words]
        word = {"enum": [*attribute.type.options, *flags, "unknown"]}
        return {"anyOf": [word, self._shared("long_word", lambda: _long([_WORDS]))]}

    def _one(self, attribute: Attribute) -> Schema:
        if attribute.part:
            return {"anyOf": [{"$ref": f"#/$defs/{_name(target_of(attribute))}"}, {"enum": ["none", "unknown"]}]}
        return self._shared("id", lambda: {"anyOf": [_ID, {"type": "array", "maxItems": 0}]})


def _meaning(attribute: Attribute) -> str:
    unit = f" In {attribute.unit.symbol}." if attribute.unit and attribute.unit.symbol != ONE.symbol else ""
    return attribute.meaning + unit


_RANGE: Schema = {"type": "string", "description": "The range that a value which is unknown is known to lie in."}


def _forms(values: list[Schema], **more: Schema) -> Schema:
    return {"anyOf": [*values, _long(values, **more)]}


def _long(values: list[Schema], **more: Schema) -> Schema:
    """The long form, `{value: ..., origin: ...}`."""
    return {**_closed({"value": _any(values), **more, **_NOTE_REFERENCES}), "required": ["value"]}


def _quantity(unit: Unit, number: str = _NUMBER) -> Schema:
    amount = _amount(unit, number)
    text: Schema = {
        "type": "string",
        "pattern": f"^(unknown|{amount}({_BLANKS}(±|\\+-){_BLANKS}{_spread(unit)}|{_BLANKS}\\.\\.{_BLANKS}{amount})?)$",
    }
    plain = [item if number == _NUMBER else {**item, "minimum": 0} for item in _plain_number(unit)]
    return _forms([*plain, text], tolerance=_tolerance(unit), range=_RANGE)


def _plain_number(unit: Unit) -> list[Schema]:
    return [{"type": "number"}] if unit.symbol == ONE.symbol else []


def _exact(unit: Unit) -> Schema:
    return _any([*_plain_number(unit), {"type": "string", "pattern": f"^{_amount(unit)}$"}])


def _tolerance(unit: Unit) -> Schema:
    return _any([*_plain_number(unit), {"type": "string", "pattern": f"^{_spread(unit)}$"}])


def _any(values: list[Schema]) -> Schema:
    return values[0] if len(values) == 1 else {"anyOf": values}


def _amount(unit: Unit, number: str = _NUMBER) -> str:
    return f"{number}{_BLANKS}({_symbols(unit)}){'?' if unit.symbol == ONE.symbol else ''}"


def _spread(unit: Unit) -> str:
    share = "" if unit.is_temperature or unit.dimension.is_number else "|%"
    return f"{_NUMBER}{_BLANKS}({_symbols(difference_unit(unit))}{share}){'?' if unit.symbol == ONE.symbol else ''}"


def _symbols(unit: Unit) -> str:
    """The units of the same dimension, in any spelling that is read; a product or quotient is not looked into."""
    known = [
        re.escape(symbol)
        for symbol, other in UNITS.items()
        if other.dimension == unit.dimension and other.is_temperature == unit.is_temperature
    ]
    spelled = {symbol.replace("ohm", "[Ω\N{OHM SIGN}]") for symbol in known if "ohm" in symbol}
    spelled |= {re.sub("^u", "[µμ]", symbol) for symbol in [*known, *spelled] if symbol.startswith("u")}
    spelled |= {symbol.replace("2", "²") for symbol in known if "2" in symbol}
    spelled |= {"°C", "℃"} if unit.is_temperature else set()
    return "|".join([*known, *sorted(spelled), r"[^\s±]*[*/·][^\s±]*", r"[A-Za-z]+[1-9]"])


def _spelled(unit: Unit) -> str:
    """The symbol in letters that may stand in a reference."""
    words = {"%": "percent", "1": "number"}.get(unit.symbol, unit.symbol)
    return re.sub(r"\W+", "_", words.replace("1/", "per_").replace("/", "_per_"))


if __name__ == "__main__":
    (shipped("schemas") / FILE).write_text(as_text(system_schema(load_vocabulary())), encoding="utf-8")
