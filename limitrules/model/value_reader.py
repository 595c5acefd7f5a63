"""Reading one value of a system document by the type that the vocabulary gives it."""

from __future__ import annotations

import re
from collections.abc import Callable
from datetime import date

from limitrules.foundation.diagnostics import Diagnostic
from limitrules.foundation.kinds import (
    Attribute,
    Choice,
    Component,
    Components,
    Curve,
    Date,
    Quantity,
    Temperature,
    Text,
    Truth,
)
from limitrules.foundation.tree import Mapping, Node, Scalar, Sequence, place_in
from limitrules.foundation.units import Unit
from limitrules.model.curves import read_curve
from limitrules.model.quantity import QuantityError, Uncertain, due_in, parse_count, parse_quantity, with_tolerance
from limitrules.model.reading import Reading, what
from limitrules.model.values import UNKNOWN, Content, Note, Unknown, Value, value_at

ORIGINS = ("rated", "configured", "reported", "measured", "derived", "assumed")
NOTES = ("origin", "date", "source", "sensor", "datum")
_FLAGS = {"yes": True, "true": True, "on": True, "no": False, "false": False, "off": False}
_ID = re.compile(r"[A-Za-z0-9_-]+\Z")
_DAY = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}\Z")
UNKNOWN_WORD = "unknown"


def may_be(attribute: Attribute, number: Uncertain) -> bool:
    """True where an attribute can have a value: what is not marked as signed is not below zero."""
    return number.nominal >= 0 or attribute.signed or isinstance(attribute.type, Temperature)


def is_id(text: str) -> bool:
    """True for the id of a component: letters, digits, - and _."""
    return _ID.match(text) is not None


def due(attribute: Attribute) -> str:
    """What an attribute holds, for a message: ``a current in A``."""
    if attribute.count:
        return "a whole number"
    if attribute.unit is not None and not isinstance(attribute.type, Curve):
        return due_in(attribute.unit)
    return str(attribute.type)


def _known(attribute: Attribute) -> tuple[str, ...]:
    """The keys of the long form of an attribute's value."""
    if isinstance(attribute.type, Curve):
        return ("points", "tolerance", "value", *NOTES)
    if attribute.count:
        return ("value", "range", *NOTES)
    if isinstance(attribute.type, Quantity | Temperature):
        return ("value", "tolerance", "range", *NOTES)
    return ("value", *NOTES)


_DECIMAL_COMMA = re.compile(r",(\d[^,}\]\n]*)")


class ValueReader:
    """Reads values of one document; ties to other components and sensors are noted to be checked at its end."""

    def __init__(self, reading: Reading) -> None:
        self.reading = reading
        # (kind, id, start, end) of every tie.
        self.ties: list[tuple[str, str, int, int]] = []
        self.sensors: list[tuple[str, int, int]] = []
        self._notes: dict[Note, Note] = {}
        self._contents: dict[type, Callable[[Attribute, Node], Content | None]] = {
            Quantity: self._quantity,
            Temperature: self._quantity,
            Truth: self._truth,
            Choice: self._choice,
            Text: self._text,
            Date: self._date,
            Curve: self._curve,
            Component: self._one,
            Components: self._many,
        }

    def read(self, attribute: Attribute, node: Node) -> Value | None:
        """The value, or None where the reading now holds what is wrong with it."""
        if type(node) is Scalar:
            content = self._scalar(attribute, node)
            return None if content is None else value_at(content, self.reading.source, node.start, node.end)
        kind = type(attribute.type)
        if type(node) is Mapping and kind is not Components and kind is not Component:
            return self._long(attribute, node)
        content = self._contents[kind](attribute, node)
        return None if content is None else value_at(content, self.reading.source, node.start, node.end)

    def _scalar(self, attribute: Attribute, node: Scalar) -> Content | None:
        if node.text == UNKNOWN_WORD and not node.style:
            return UNKNOWN
        if node.is_null:
            self.say_null(attribute.path, node)
            return None
        return self._contents[type(attribute.type)](attribute, node)

    def say_null(self, path: str, node: Scalar) -> None:
        stands = f"`{node.text}` stands" if node.text else "Nothing stands"
        advice = "write `unknown` where the value is not known, or leave the line out"
        self.reading.say("null-value", f"{stands} where the value of `{path}` is due.", node, advice=advice)

    def say_quantity(self, error: QuantityError, node: Scalar) -> None:
        comma = _DECIMAL_COMMA.match(self.reading.source.text, node.end)
        if error.code == "unit-missing" and comma and node.text[-1:].isdigit():
            # In braces a comma ends the value, so that `3,65 V` falls apart; the part before it is no advice.
            message = "A comma stands inside a number."
            advice = f"write `{node.text}.{comma[1].strip()}`"
            self.reading.say_at("decimal-comma", message, node.start, comma.end(), advice=advice)
            return
        span = place_in(self.reading.source, node)(error.start, error.end)
        self.reading.add(Diagnostic(error.code, error.message, span, error.expected, error.advice))

    # The long form: {value: 96 A, tolerance: 1.5 %, origin: measured, ...}

    def _long(self, attribute: Attribute, node: Mapping) -> Value | None:
        entries, known = node.entries, _known(attribute)
        strange = [key for key, _ in entries.values() if key.text not in known]
        if strange and len(strange) == len(entries) and not self.reading.near(strange[0].text, ("value", "points")):
            message = f"`{attribute.path}` is a value, not a group: it has no `{strange[0].text}`."
            self.reading.say("value-not-group", message, strange[0], expected=due(attribute))
            return None
        for key in strange:
            self.reading.unknown_key(key, known, f"the long form of `{attribute.path}`, {due(attribute)}")
        note = self._note(node)
        if "value" in entries:
            content = self._long_content(attribute, entries, known)
        elif type(attribute.type) is Curve:
            content = self._curve(attribute, node)
        else:
            content = None
            if not strange:
                message = f"The long form of `{attribute.path}` lacks its value."
                self.reading.say("value-missing", message, node, advice="add `value: ...`, or `value: unknown`")
        return None if content is None else value_at(content, self.reading.source, node.start, node.end, note)

    def _long_content(
        self, attribute: Attribute, entries: dict[str, tuple[Scalar, Node]], known: tuple[str, ...]
    ) -> Content | None:
        inner = entries["value"][1]
        if not isinstance(inner, Scalar):
            message = f"{what(inner).capitalize()} stands where the value of `{attribute.path}` is due."
            self.reading.say("not-a-value", message, inner, expected=due(attribute))
            return None
        content = self._scalar(attribute, inner)
        if "range" in entries and "range" in known:
            return self._within(attribute, content, entries["range"])
        if "tolerance" in entries and "tolerance" in known and content is not None:
            return self._with_tolerance(content, entries["tolerance"])
        return content

    def _within(self, attribute: Attribute, content: Content | None, entry: tuple[Scalar, Node]) -> Content | None:
        key, node = entry
        if content is not None and not isinstance(content, Unknown):
            message = "A range stands beside a value; it belongs beside `value: unknown`."
            self.reading.say("range-and-value", message, key, advice="write the range as the value")
            return None
        if not isinstance(node, Scalar) or node.is_null or content is None:
            self.reading.text(node, "a range")
            return None
        try:
            return Unknown(parse_quantity(node.text, attribute.unit)) if attribute.unit else None
        except QuantityError as error:
            self.say_quantity(error, node)
            return None

    def _with_tolerance(self, content: Content, entry: tuple[Scalar, Node]) -> Content | None:
        key, node = entry
        text = self.reading.text(node, "a tolerance")
        if text is None or not isinstance(node, Scalar):
            return None
        if isinstance(content, Unknown):
            self.reading.say("tolerance-of-unknown", "What is unknown has no tolerance.", key, advice="give a `range`")
            return None
        if not isinstance(content, Uncertain) or not content.is_exact:
            message = "The value has a tolerance of its own already."
            self.reading.say("two-tolerances", message, key, advice="leave one of the two out")
            return None
        try:
            return with_tolerance(content, text)
        except QuantityError as error:
            self.say_quantity(error, node)
            return None

    def _note(self, node: Mapping) -> Note | None:
        found: dict[str, str] = {}
        day = None
        for word in NOTES:
            entry = node.entries.get(word)
            if entry is None:
                continue
            if word == "date":
                day = self.day(entry[1])
            else:
                found[word] = self._note_text(word, entry[1])
        if not found and day is None:
            return None
        note = Note(date=day, **found)
        return self._notes.setdefault(note, note)

    def _note_text(self, word: str, node: Node) -> str:
        text = self.reading.text(
            node,
            {"origin": "an origin", "source": "a text", "sensor": "the id of a sensor", "datum": "a name"}[word],
        )
        if text is None:
            return ""
        if word == "origin" and text not in ORIGINS:
            near = self.reading.near(text, ORIGINS)
            advice = f"write `{near}`" if near else ""
            message = f"`{text}` is not an origin."
            self.reading.say("not-an-origin", message, node, expected="one of " + ", ".join(ORIGINS), advice=advice)
        elif word == "sensor":
            self.sensors.append((text, node.start, node.end))
        return text

    def day(self, node: Node) -> date | None:
        text = self.reading.text(node, "a date")
        if text is None:
            return None
        try:
            if _DAY.match(text):
                return date.fromisoformat(text)
            message = f"`{text}` is not a date."
        except ValueError:
            message = f"`{text}` is not a day of the calendar."
        self.reading.say("not-a-date", message, node, expected="year, month and day such as 2026-05-02")
        return None

    # One method for each type of value.

    def _single(self, attribute: Attribute, node: Node) -> Scalar | None:
        if type(node) is Scalar:
            return node
        message = f"{what(node).capitalize()} stands where the value of `{attribute.path}` is due."
        self.reading.say("not-a-value", message, node, expected=due(attribute))
        return None

    def _quantity(self, attribute: Attribute, node: Node) -> Content | None:
        scalar = self._single(attribute, node)
        if scalar is None or attribute.unit is None:
            return None
        try:
            found = parse_count(scalar.text) if attribute.count else parse_quantity(scalar.text, attribute.unit)
        except QuantityError as error:
            self.say_quantity(error, scalar)
            return None
        if may_be(attribute, found):
            return found
        message = f"`{scalar.text}` is below zero, which `{attribute.path}` cannot be."
        advice = "a device that has no figure to give often shows such a one: write `unknown`, or leave the line out"
        self.reading.say("below-zero", message, scalar, expected="zero or more", advice=advice)
        return None

    def _truth(self, attribute: Attribute, node: Node) -> Content | None:
        scalar = self._single(attribute, node)
        if scalar is None:
            return None
        found = _FLAGS.get(scalar.text.lower())
        if found is None:
            message = f"`{scalar.text}` stands where yes or no is due."
            self.reading.say("not-a-flag", message, scalar, expected="yes or no")
        return found

    def _choice(self, attribute: Attribute, node: Node) -> Content | None:
        scalar = self._single(attribute, node)
        if scalar is None or not isinstance(attribute.type, Choice):
            return None
        options = attribute.type.options
        if scalar.text in options:
            return scalar.text
        near = self.reading.near(scalar.text.lower().replace("_", "-"), options)
        message = f"`{scalar.text}` is not one of the words for `{attribute.path}`."
        advice = f"write `{near}`" if near else ""
        self.reading.say("not-a-choice", message, scalar, expected="one of " + ", ".join(options), advice=advice)
        return None

    def _text(self, attribute: Attribute, node: Node) -> Content | None:
        scalar = self._single(attribute, node)
        return None if scalar is None else scalar.text

    def _date(self, attribute: Attribute, node: Node) -> Content | None:
        scalar = self._single(attribute, node)
        return None if scalar is None else self.day(scalar)

    def _curve(self, attribute: Attribute, node: Node) -> Content | None:
        return read_curve(self, attribute, node)

    def _one(self, attribute: Attribute, node: Node) -> Content | None:
        if type(node) is Scalar:
            return self._tied(attribute, [node])
        if type(node) is Sequence and not node.items:
            return ()
        message = f"{what(node).capitalize()} stands where `{attribute.path}` names one component."
        self.reading.say("not-an-id", message, node, expected="the id of one component, or none")
        return None

    def _many(self, attribute: Attribute, node: Node) -> Content | None:
        if type(node) is Scalar:
            return self._tied(attribute, [node])
        if type(node) is Sequence:
            return self._tied(attribute, node.items)
        message = f"{what(node).capitalize()} stands where `{attribute.path}` names components."
        self.reading.say("not-an-id", message, node, expected="a list of ids such as [north, south], or none")
        return None

    def _tied(self, attribute: Attribute, nodes: list[Node]) -> Content | None:
        if len(nodes) == 1 and type(nodes[0]) is Scalar and nodes[0].text == "none":
            return ()
        assert isinstance(attribute.type, (Component, Components))
        ids: list[str] = []
        for node in nodes:
            text = self.reading.text(node, "the id of a component")
            if text is None:
                return None
            if text in ids:
                self.reading.say("tied-twice", f"`{text}` stands twice in `{attribute.path}`.", node)
            self.ties.append((attribute.type.kind, text, node.start, node.end))
            ids.append(text)
        return tuple(ids)

    def number(self, node: Node, unit: Unit, due: str) -> Uncertain | None:
        """A quantity inside a value, as in the points of a curve."""
        if self.reading.text(node, due) is None or not isinstance(node, Scalar):
            return None
        try:
            return parse_quantity(node.text, unit)
        except QuantityError as error:
            self.say_quantity(error, node)
            return None
