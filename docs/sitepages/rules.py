"""The catalogue of the shipped rules."""

from __future__ import annotations

from collections.abc import Iterator

from limitrules import load_rulepacks
from limitrules.report.figures import count_words
from limitrules.report.reference import RuleCard, RulepackCard, card_of

_AS_TYPED = ("about", "when", "let", "require")


def page() -> str:
    """A section for every rulepack that is shipped, with all its rules."""
    return "\n".join(line for rulepack in load_rulepacks() for line in _rulepack(card_of(rulepack)))


def _rulepack(card: RulepackCard) -> Iterator[str]:
    yield f"\n## {card.name} {{#{card.name}}}\n"
    count = count_words(len(card.rules), "rule")
    yield f"{card.title}. Version {card.version}, {count} over the vocabulary `{card.vocabulary}`.\n"
    if card.parameters:
        yield "| parameter | value | | meaning |"
        yield "| --- | --- | --- | --- |"
        for item in card.parameters:
            yield f"| `{item.name}` | {item.value} | {'local' if item.local else ''} | {item.meaning} |"
    for rule in card.rules:
        yield from _rule(card, rule)


def _rule(card: RulepackCard, rule: RuleCard) -> Iterator[str]:
    yield f"\n### {rule.name} {{#{card.name}-{rule.name}}}\n"
    yield f"{rule.title}. Consequence: **{rule.consequence.value}**.\n"
    typed = [f"{key}: {text}" for key, text in rule.clauses if key.split()[0] in _AS_TYPED]
    if typed:
        yield "```text\n" + "\n".join(typed) + "\n```\n"
    for key, text in rule.clauses:
        if key.split()[0] not in (*_AS_TYPED, "title", "consequence"):
            yield f"*{key}*: {text}\n"
