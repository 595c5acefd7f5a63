"""Checking a rulepack from its text: parameters with what other rulepacks set, then the rules."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import attrs

from limitrules.foundation import tree
from limitrules.foundation.diagnostics import Diagnostic, listing, nearest
from limitrules.language.functions import Registry
from limitrules.model.reading import Reading
from limitrules.model.vocabulary import Vocabulary
from limitrules.rules.draft import Draft, Override, content_of, text_of
from limitrules.rules.reading import Bench, read_figure, read_parameter, read_rule
from limitrules.rules.rule import Parameter, Rule, Rulepack


def checked(draft: Draft, vocabulary: Vocabulary, overrides: Sequence[Override], functions: Registry) -> Rulepack:
    """The rulepack of a document. Raises InputError with everything that is wrong with it."""
    reading, top = Reading(draft.source), draft.top
    version, title, meaning = [text_of(reading, top, name) for name in ("version", "title", "meaning")]
    bench = Bench(reading, draft.source, draft.name, vocabulary.kinds, {}, functions, trees=draft.trees)
    parameters = _parameters(bench, top, {item.parameter: item for item in overrides})
    entry = top.entries.get("parameters")
    named = entry[1].entries.keys() if entry and isinstance(entry[1], tree.Mapping) else ()
    rules = _rules(attrs.evolve(bench, parameters=parameters, broken=frozenset(named)), top)
    reading.finish()
    content = content_of(draft.source, overrides)
    return Rulepack(draft.name, version, title, meaning, vocabulary, parameters, rules, draft.folder, content)


def _parameters(bench: Bench, top: tree.Mapping, overrides: Mapping[str, Override]) -> dict[str, Parameter]:
    found: dict[str, Parameter] = {}
    entry = top.entries.get("parameters")
    mapping = bench.reading.mapping(entry[1], "a map of parameters") if entry else None
    for name, (key, node) in (mapping.entries if mapping else {}).items():
        parameter = read_parameter(bench, key, node)
        if parameter is not None:
            found[name] = parameter
    for name, override in overrides.items():
        changed = _overridden(bench, found, override)
        if changed is not None:
            found[name] = changed
    return found


def _overridden(bench: Bench, parameters: Mapping[str, Parameter], override: Override) -> Parameter | None:
    """The parameter with the value another rulepack gives it; that value has its own place."""
    place = override.source.span(override.key.start, override.key.end)
    before = parameters.get(override.parameter)
    if before is None:
        near = nearest(override.parameter, parameters)
        bench.reading.found.append(
            Diagnostic("unknown-parameter", f"the rulepack `{bench.rulepack}` has no parameter `{override.parameter}`",
                       place, listing(list(parameters), 14), f"`{near}`" if near else ""))  # fmt: skip
        return None
    if not before.local and not override.reason:
        bench.reading.found.append(
            Diagnostic("reason-due", f"the parameter `{override.parameter}` is kept unless there is a written reason",
                       place, "`{value: ..., reason: \"...\"}`"))  # fmt: skip
        return None
    own = attrs.evolve(bench, reading=Reading(override.source), source=override.source)
    value = read_figure(own, override.parameter, override.node)
    bench.reading.found.extend(own.reading.found)
    if value is None:
        return None
    return attrs.evolve(before, value=value, span=place, set_by=override.by, reason=override.reason,
                        before=before.value)  # fmt: skip


def _rules(bench: Bench, top: tree.Mapping) -> dict[str, Rule]:
    found: dict[str, Rule] = {}
    scope = bench.scope()
    entry = top.entries.get("rules")
    mapping = bench.reading.mapping(entry[1], "a map of rules") if entry else None
    for name, (key, node) in (mapping.entries if mapping else {}).items():
        rule = read_rule(bench, scope, key, node)
        if rule is not None:
            found[name] = rule
    return found
