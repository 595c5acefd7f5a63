"""Loading rulepacks from their folders."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path

import attrs
from attrs import frozen

from limitrules.foundation import tree
from limitrules.foundation.diagnostics import Diagnostic, InputError, listing, nearest, refuse
from limitrules.foundation.source import Source
from limitrules.language.functions import Registry
from limitrules.model.reading import Reading, check_header
from limitrules.model.vocabulary import Vocabulary, load_vocabulary
from limitrules.physics import FUNCTIONS
from limitrules.rules.reading import Bench, read_figure, read_parameter, read_rule
from limitrules.rules.rule import Parameter, Rule, Rulepack

MANIFEST = "rulepack.yaml"
_KEYS = ("limitrules", "name", "version", "vocabulary", "title", "meaning", "extends", "overrides",
         "parameters", "rules")  # fmt: skip
_REQUIRED = ("name", "version", "vocabulary")


@frozen(eq=False, repr=False)
class Override:
    """A value that another rulepack gives to a parameter; ``reason`` is due where it is not marked local."""

    by: str
    rulepack: str
    parameter: str
    node: tree.Node
    source: Source
    key: tree.Scalar
    reason: str = ""


@frozen(eq=False, repr=False)
class Draft:
    """A rulepack document that is read, but not checked yet."""

    source: Source
    top: tree.Mapping
    folder: str
    name: str
    overrides: tuple[Override, ...]


def load_rulepacks(folders: Sequence[str | Path], functions: Registry = FUNCTIONS) -> tuple[Rulepack, ...]:
    """Read and check rulepacks that are used together.

    What one adds to the vocabulary, and the parameters that one sets for another, count for all of them. Raises
    InputError with every mistake, each with its place.
    """
    return check_drafts([read_draft(Path(folder)) for folder in folders], functions)


def load_rulepack(folder: str | Path, functions: Registry = FUNCTIONS) -> Rulepack:
    """Read and check a single rulepack."""
    return load_rulepacks([folder], functions)[0]


def read_draft(folder: Path, shown: str = "") -> Draft:
    """The document of the rulepack in a folder; ``shown`` is what it is called in messages, if not by its path."""
    path = folder / MANIFEST if folder.is_dir() else folder
    if not path.exists():
        raise refuse("no-rulepack", f"there is no rulepack at `{folder}`", where=str(folder),
                     expected=f"a folder with a file `{MANIFEST}`")  # fmt: skip
    source = tree.read_source(path)
    return parse_draft(Source(shown, source.text) if shown else source, str(path.parent))


def parse_draft(source: Source, folder: str = "") -> Draft:
    """The outline of a rulepack document: its keys, and what it sets for other rulepacks."""
    reading = Reading(source)
    top = check_header(reading, tree.read_tree(source), "rulepack")
    for name, (key, _) in top.entries.items():
        if name not in _KEYS:
            reading.unknown_key(key, _KEYS, "a rulepack")
    for name in _REQUIRED:
        if name not in top.entries:
            reading.say_at("missing-key", f"The rulepack has no `{name}`.", top.start, top.start + 1)
    name = _text(reading, top, "name")
    overrides = _overrides(reading, top, name)
    reading.finish()
    return Draft(source, top, folder, name, overrides)


def _overrides(reading: Reading, top: tree.Mapping, by: str) -> tuple[Override, ...]:
    found: list[Override] = []
    entry = top.entries.get("overrides")
    outer = reading.mapping(entry[1], "a map of rulepacks") if entry else None
    for rulepack, (_, node) in (outer.entries if outer else {}).items():
        inner = reading.mapping(node, "a map of parameters")
        for name, (key, value) in (inner.entries if inner else {}).items():
            found.append(_override(reading, Override(by, rulepack, name, value, reading.source, key)))
    return tuple(found)


def _override(reading: Reading, plain: Override) -> Override:
    """Either the value alone, or a map with value and reason."""
    if not isinstance(plain.node, tree.Mapping):
        return plain
    entries = plain.node.entries
    for name, (key, _) in entries.items():
        if name not in ("value", "reason"):
            reading.unknown_key(key, ("value", "reason"), "an override")
    if "value" not in entries:
        reading.say("missing-key", f"The override of `{plain.parameter}` has no `value`.", plain.key)
        return plain
    reason = reading.text(entries["reason"][1], "a reason") or "" if "reason" in entries else ""
    return attrs.evolve(plain, node=entries["value"][1], reason=reason)


def check_drafts(drafts: Sequence[Draft], functions: Registry = FUNCTIONS) -> tuple[Rulepack, ...]:
    """Check rulepack documents together."""
    vocabulary = _vocabulary(drafts)
    overrides = [item for draft in drafts for item in draft.overrides]
    found: list[Rulepack] = []
    mistakes: list[Diagnostic] = []
    for draft in drafts:
        try:
            own = [item for item in overrides if item.rulepack == draft.name]
            found.append(_checked(draft, vocabulary, own, functions))
        except InputError as error:
            mistakes.extend(error.diagnostics)
    names = [draft.name for draft in drafts]
    mistakes.extend(_clashes(drafts, overrides))
    for item in overrides:
        if item.rulepack not in names:
            near = nearest(item.rulepack, names)
            span = item.source.span(item.key.start, item.key.end)
            mistakes.append(Diagnostic("override-of-nothing", f"the rulepack `{item.rulepack}` is not used here", span,
                                       listing(names), f"`{near}`" if near else ""))  # fmt: skip
    if mistakes:
        raise InputError(mistakes)
    return tuple(found)


def _clashes(drafts: Sequence[Draft], overrides: Sequence[Override]) -> Iterator[Diagnostic]:
    """Two rulepacks of one name, and two values for one parameter: neither can be chosen silently."""
    seen: dict[str, Draft] = {}
    for draft in drafts:
        first = seen.setdefault(draft.name, draft)
        if first is not draft:
            entry = draft.top.entries["name"][1]
            yield Diagnostic("rulepack-twice", f"the rulepack `{draft.name}` is used already, from {first.source.name}",
                             draft.source.span(entry.start, entry.end), "another name")  # fmt: skip
    values: dict[tuple[str, str], Override] = {}
    for item in overrides:
        before = values.setdefault((item.rulepack, item.parameter), item)
        if before is not item:
            yield Diagnostic("two-overrides", f"`{item.parameter}` of `{item.rulepack}` is set by `{before.by}` too",
                             item.source.span(item.key.start, item.key.end), "one value for it")  # fmt: skip


def _vocabulary(drafts: Sequence[Draft]) -> Vocabulary:
    vocabulary = load_vocabulary()
    wrong: list[Diagnostic] = []
    for draft in drafts:
        entry = draft.top.entries["vocabulary"][1]
        name = _text(Reading(draft.source), draft.top, "vocabulary")
        if name != vocabulary.name:
            span = draft.source.span(entry.start, max(entry.end, entry.start + 1))
            wrong.append(Diagnostic("no-vocabulary", f"there is no vocabulary `{name}`", span, f"`{vocabulary.name}`"))
    if wrong:
        raise InputError(wrong)
    for draft in drafts:
        if "extends" in draft.top.entries:
            vocabulary = vocabulary.extended(draft.top.entries["extends"][1], draft.source, draft.name)
    return vocabulary


def _checked(draft: Draft, vocabulary: Vocabulary, overrides: Sequence[Override], functions: Registry) -> Rulepack:
    reading, top = Reading(draft.source), draft.top
    texts = {name: _text(reading, top, name) for name in ("version", "title", "meaning")}
    bench = Bench(reading, draft.source, draft.name, vocabulary.kinds, {}, functions)
    parameters = _parameters(bench, top, {item.parameter: item for item in overrides})
    entry = top.entries.get("parameters")
    named = entry[1].entries.keys() if entry and isinstance(entry[1], tree.Mapping) else ()
    rules = _rules(attrs.evolve(bench, parameters=parameters, broken=frozenset(named)), top)
    reading.finish()
    content = hashlib.sha256(draft.source.text.encode())
    for item in overrides:
        content.update(f"{item.by}:{item.parameter}:{item.source.text[item.node.start : item.node.end]}".encode())
    return Rulepack(draft.name, texts["version"], texts["title"], texts["meaning"], vocabulary, parameters, rules,
                    draft.folder, content.hexdigest()[:16])  # fmt: skip


def _text(reading: Reading, top: tree.Mapping, name: str) -> str:
    entry = top.entries.get(name)
    return " ".join((reading.text(entry[1], f"a {name}") or "").split()) if entry else ""


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
