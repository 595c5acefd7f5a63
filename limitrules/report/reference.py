"""What can be looked up: the kinds of a vocabulary, and the rulepacks with their rules."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from fractions import Fraction
from typing import Any

from attrs import frozen

from limitrules.foundation.figures import difference
from limitrules.foundation.kinds import Attribute, Component, Components, Curve, Kind, Quantity
from limitrules.foundation.units import unit_for
from limitrules.language.printer import print_node
from limitrules.report.figures import count_words
from limitrules.report.layout import USUAL_WIDTH, Page
from limitrules.rules.findings import Consequence
from limitrules.rules.rule import Parameter, Rule, Rulepack

KINDS_FORMAT = "kinds/1"
RULEPACKS_FORMAT = "rulepacks/1"

Data = dict[str, Any]


@frozen
class ParameterCard:
    """A parameter of a rulepack, its value as written."""

    name: str
    value: str
    meaning: str
    local: bool = False


@frozen
class RuleCard:
    """A rule as written: ``clauses`` are pairs of key and text, in the order of the file."""

    name: str
    title: str
    consequence: Consequence
    clauses: tuple[tuple[str, str], ...] = ()


@frozen
class RulepackCard:
    """A rulepack as someone who chooses one wants to see it. ``file`` is where it stands."""

    name: str
    version: str
    title: str
    vocabulary: str
    file: str
    rules: tuple[RuleCard, ...]
    parameters: tuple[ParameterCard, ...] = ()


def card_of(rulepack: Rulepack) -> RulepackCard:
    """A loaded rulepack in the canonical words of its clauses."""
    return RulepackCard(
        rulepack.name, rulepack.version, rulepack.title, rulepack.vocabulary.name, rulepack.folder,
        tuple(_rule_card(rule) for rule in rulepack.rules.values()),
        tuple(_parameter_card(parameter) for parameter in rulepack.parameters.values()),
    )  # fmt: skip


def _rule_card(rule: Rule) -> RuleCard:
    clauses = [("about", rule.about.text)]
    if rule.when is not None:
        clauses.append(("when", print_node(rule.when.clause.node)))
    clauses += [(f"let {item.name}", print_node(item.value.clause.node)) for item in rule.definitions]
    clauses.append(("require", print_node(rule.require.clause.node)))
    clauses.append(("because", _sentence_text(rule)))
    clauses += [("remedy", text) for text in rule.remedies]
    clauses += [("caution", rule.caution)] if rule.caution else []
    clauses += [("basis", text) for text in rule.basis]
    clauses += [("evidence", rule.evidence)] if rule.evidence else []
    return RuleCard(rule.id, rule.title, rule.consequence, tuple(clauses))


def _sentence_text(rule: Rule) -> str:
    pieces = rule.because.pieces
    return "".join(item if isinstance(item, str) else f"{{{print_node(item.clause.node)}}}" for item in pieces)


def _parameter_card(parameter: Parameter) -> ParameterCard:
    value = print_node(parameter.value.clause.node)
    if parameter.before is not None:
        value += f" (set by {parameter.set_by}; was {print_node(parameter.before.clause.node)})"
    return ParameterCard(parameter.name, value, parameter.meaning, parameter.local)


def kinds_text(kinds: Mapping[str, Kind], colour: bool = False, width: int = USUAL_WIDTH) -> str:
    """Every kind with its meaning."""
    page = Page(width, colour)
    page.heading(f"{len(kinds)} kinds of components")
    page.table([(kind.name, _key(kind), kind.meaning) for kind in kinds.values()], indent=2)
    page.blank()
    page.line("For the attributes of a kind: limitrules vocabulary KIND")
    return page.text()


def kind_text(kind: Kind, colour: bool = False, width: int = USUAL_WIDTH) -> str:
    """One kind with all its attributes."""
    page = Page(width, colour)
    page.heading(kind.name)
    page.line(kind.meaning, indent=2, hang=0)
    page.line(f"In a system document: {_key(kind)}", indent=2)
    for attribute in kind.attributes.values():
        page.blank()
        page.flow([attribute.path, type_words(attribute), adjustable_words(attribute)], indent=2, hang=4)
        page.line(attribute.meaning, indent=6, hang=0)
        if attribute.inverse and not attribute.derived:
            page.line(f"Seen from the other side: {attribute.inverse}", indent=6)
        if attribute.open_standard:
            page.line(f"Open standard: {attribute.open_standard}", indent=6)
    return page.text()


def type_words(attribute: Attribute) -> str:
    """What may be stated for an attribute, with its unit."""
    kind = attribute.type
    if attribute.derived:
        return f"{kind}, follows from their `{attribute.inverse}`"
    if attribute.count:
        return "a count"
    if isinstance(kind, Component | Components):
        return f"{kind}, written in place" if attribute.part else f"{kind}, by id"
    if isinstance(kind, Curve):
        units = [unit.symbol for unit in (attribute.unit, attribute.over_unit) if unit is not None]
        return " ".join(["a curve", "in" if units else "", " over ".join(units)]).strip()
    if attribute.unit is None:
        return str(kind)
    sign = " of either sign" if attribute.signed else ""
    return f"a plain number{sign}" if attribute.unit.symbol == "1" else f"in {attribute.unit.symbol}{sign}"


def adjustable_words(attribute: Attribute) -> str:
    """``adjustable in steps of 1 A`` for a setting, else nothing."""
    if not attribute.adjustable:
        return ""
    if attribute.resolution is None:
        return "adjustable"
    return f"adjustable in steps of {_step(attribute, attribute.resolution)}"


def kinds_data(kinds: Iterable[Kind]) -> Data:
    """Kinds with their attributes as plain data."""
    return {
        "limitrules": KINDS_FORMAT,
        "kinds": [
            {
                "name": kind.name,
                "key": kind.name if kind.single else kind.plural or None,
                "meaning": kind.meaning,
                "attributes": [_attribute(item) for item in kind.attributes.values()],
            }
            for kind in kinds
        ],
    }


def rulepacks_text(cards: Iterable[RulepackCard], colour: bool = False, width: int = USUAL_WIDTH) -> str:
    """Every rulepack that can be used by name."""
    page = Page(width, colour)
    items = list(cards)
    page.heading(f"{count_words(len(items), 'rulepack')}".capitalize())
    rows = [(f"{item.name} {item.version}", count_words(len(item.rules), "rule"), item.title) for item in items]
    page.table(rows, indent=2)
    page.blank()
    page.line("For the rules of one: limitrules rulepack show NAME")
    return page.text()


def rulepack_text(card: RulepackCard, colour: bool = False, width: int = USUAL_WIDTH) -> str:
    """One rulepack: parameters, and each rule in one line."""
    page = Page(width, colour)
    page.heading(f"{card.name} {card.version}")
    page.line(card.title, indent=2, hang=0)
    page.line(f"Speaks of the vocabulary {card.vocabulary}; stands in {card.file}", indent=2)
    if card.parameters:
        page.heading("Parameters")
    for item in card.parameters:
        local = "meant to be set locally" if item.local else ""
        page.flow([f"{item.name} = {item.value}", item.meaning, local], indent=2)
    page.heading("Rules")
    page.table([(item.name, item.consequence.value, item.title) for item in card.rules], indent=2)
    page.blank()
    page.line(f"For a rule as written: limitrules rulepack show {card.name} RULE")
    return page.text()


def rule_text(card: RulepackCard, rule: RuleCard, colour: bool = False, width: int = USUAL_WIDTH) -> str:
    """One rule as written."""
    page = Page(width, colour)
    page.heading(f"{card.name}/{rule.name}")
    page.line(rule.title, indent=2, hang=0)
    page.line(f"Consequence: {rule.consequence.value}", indent=2)
    page.blank()
    for key, text in rule.clauses:
        page.line(f"{key}: {text}", indent=2, hang=4)
    return page.text()


def rulepacks_data(cards: Iterable[RulepackCard]) -> Data:
    """Rulepacks with parameters and rules as plain data."""
    return {"limitrules": RULEPACKS_FORMAT, "rulepacks": [_rulepack(item) for item in cards]}


def _key(kind: Kind) -> str:
    if kind.single:
        return f"{kind.name}: stated once"
    return f"{kind.plural}: by id" if kind.plural else "part of another"


def _step(attribute: Attribute, value: Fraction) -> str:
    if attribute.unit is not None:
        return difference(value, attribute.unit)
    dimension = attribute.type.dimension if isinstance(attribute.type, Quantity) else Quantity().dimension
    return difference(value, unit_for(dimension))


def _attribute(item: Attribute) -> Data:
    return {
        "path": item.path,
        "type": type_words(item),
        "unit": None if item.unit is None else item.unit.symbol,
        "meaning": item.meaning,
        "adjustable": item.adjustable,
        "resolution": None if item.resolution is None else _step(item, item.resolution),
        "signed": item.signed,
        "inverse": item.inverse,
        "open_standard": item.open_standard,
    }


def _rulepack(card: RulepackCard) -> Data:
    return {
        "name": card.name,
        "version": card.version,
        "title": card.title,
        "vocabulary": card.vocabulary,
        "file": card.file,
        "parameters": [
            {"name": item.name, "value": item.value, "meaning": item.meaning, "local": item.local}
            for item in card.parameters
        ],
        "rules": [
            {
                "name": item.name,
                "title": item.title,
                "consequence": item.consequence.value,
                "clauses": [{"key": key, "text": text} for key, text in item.clauses],
            }
            for item in card.rules
        ],
    }
