"""`limitrules vocabulary` and `limitrules rulepack`: what there is to state and to check."""

from __future__ import annotations

from functools import partial
from typing import TYPE_CHECKING

from limitrules.commands.common import NOTHING_FAILS, Answer, Arguments, report, unknown

if TYPE_CHECKING:
    from limitrules.report.reference import RulepackCard


def vocabulary(arguments: Arguments) -> Answer:
    """What a system document can state."""
    from limitrules.model.vocabulary import load_vocabulary
    from limitrules.report.reference import kind_text, kinds_data, kinds_text

    kinds = load_vocabulary().kinds
    if arguments.kind is None:
        text = report(arguments, lambda: kinds_data(kinds.values()), partial(kinds_text, kinds))
        return text, NOTHING_FAILS
    by_plural = {kind.plural: kind for kind in kinds.values() if kind.plural}
    kind = kinds.get(arguments.kind) or by_plural.get(arguments.kind) or unknown("kind", arguments.kind, kinds)
    return report(arguments, lambda: kinds_data([kind]), partial(kind_text, kind)), NOTHING_FAILS


def rulepack_list(arguments: Arguments) -> Answer:
    """The rulepacks by name."""
    from limitrules.report.reference import rulepacks_data, rulepacks_text

    cards = _rulepack_cards(arguments)
    return report(arguments, lambda: rulepacks_data(cards), partial(rulepacks_text, cards)), NOTHING_FAILS


def rulepack_show(arguments: Arguments) -> Answer:
    """One rulepack, or one of its rules."""
    from attrs import evolve

    from limitrules.report.reference import rule_text, rulepack_text, rulepacks_data

    cards = {item.name: item for item in _rulepack_cards(arguments)}
    card = cards.get(arguments.name) or unknown("rulepack", arguments.name, cards)
    if arguments.rule is None:
        return report(arguments, lambda: rulepacks_data([card]), partial(rulepack_text, card)), NOTHING_FAILS
    rules = {item.name: item for item in card.rules}
    rule = rules.get(arguments.rule) or unknown("rule", arguments.rule, rules)
    alone = evolve(card, rules=(rule,))
    return report(arguments, lambda: rulepacks_data([alone]), partial(rule_text, card, rule)), NOTHING_FAILS


def _rulepack_cards(arguments: Arguments) -> tuple[RulepackCard, ...]:
    from limitrules import api
    from limitrules.report.reference import card_of

    functions = api.load_functions(arguments.functions)
    names = tuple(arguments.rulepack) or api.known_rulepacks()
    return tuple(card_of(rulepack) for rulepack in api.load_rulepacks(names, functions))
