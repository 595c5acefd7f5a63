"""Loading rulepacks from their folders."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator, Sequence
from pathlib import Path

import attrs

from limitrules.foundation import tree
from limitrules.foundation.diagnostics import Diagnostic, InputError, listing, nearest, refuse
from limitrules.foundation.source import Source
from limitrules.language.functions import Registry
from limitrules.model.reading import Reading
from limitrules.model.vocabulary import Vocabulary, load_vocabulary
from limitrules.physics import FUNCTIONS
from limitrules.rules.draft import MANIFEST, Draft, Override, Retirement, parse_draft, text_of
from limitrules.rules.prepared import Ready, prepared
from limitrules.rules.rule import Retired, Rulepack

__all__ = ["MANIFEST", "check_drafts", "load_rulepack", "load_rulepacks", "parse_draft", "read_draft", "retired_by"]


def load_rulepacks(folders: Sequence[str | Path], functions: Registry = FUNCTIONS) -> tuple[Rulepack, ...]:
    """Read and check rulepacks that are used together.

    What one adds to the vocabulary, and the parameters that one sets for another, count for all of them. Raises
    InputError with every mistake, each with its place.
    """
    return check_drafts([read_draft(Path(folder)) for folder in folders], functions)


def load_rulepack(folder: str | Path, functions: Registry = FUNCTIONS) -> Rulepack:
    """Read and check a single rulepack."""
    return load_rulepacks([folder], functions)[0]


def read_draft(folder: Path, shown: str = "") -> Draft | Ready:
    """The document of the rulepack in a folder; ``shown`` is what it is called in messages, if not by its path."""
    path = folder / MANIFEST if folder.is_dir() else folder
    if not path.exists():
        raise refuse("no-rulepack", f"there is no rulepack at `{folder}`", where=str(folder),
                     expected=f"a folder with a file `{MANIFEST}`")  # fmt: skip
    source = tree.read_source(path)
    if shown:
        source = Source(shown, source.text)
    return prepared(source, str(path.parent)) or parse_draft(source, str(path.parent))


def retired_by(draft: Draft | Ready) -> Sequence[Retirement]:
    """The rules of other rulepacks that a rulepack takes out; one that was prepared takes out none."""
    return draft.retires if isinstance(draft, Draft) else ()


def check_drafts(drafts: Sequence[Draft | Ready], functions: Registry = FUNCTIONS) -> tuple[Rulepack, ...]:
    """Check rulepack documents together."""
    vocabulary = _vocabulary([draft for draft in drafts if isinstance(draft, Draft)])
    overrides = [item for draft in drafts for item in draft.overrides]
    found: list[Rulepack] = []
    mistakes: list[Diagnostic] = []
    for draft in drafts:
        try:
            own = [item for item in overrides if item.rulepack == draft.name]
            found.append(_rulepack(draft, vocabulary, own, functions))
        except InputError as error:
            mistakes.extend(error.diagnostics)
    names = [draft.name for draft in drafts]
    retires = [item for draft in drafts for item in retired_by(draft)]
    found = [_without_retired(rulepack, retires, mistakes) for rulepack in found]
    for gone in retires:
        if gone.rulepack not in names:
            span = gone.source.span(gone.key.start, gone.key.end)
            mistakes.append(Diagnostic("retired-of-nothing", f"the rulepack `{gone.rulepack}` is not used here", span,
                                       listing(names)))  # fmt: skip
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


def _without_retired(
    rulepack: Rulepack, retires: Sequence[Retirement], mistakes: list[Diagnostic]
) -> Rulepack:  # fmt: skip
    """The rulepack without the rules that another one takes out, which are kept with the reason."""
    own = [item for item in retires if item.rulepack == rulepack.name]
    rules, gone = dict(rulepack.rules), []
    for item in own:
        rule = rules.pop(item.rule, None)
        if rule is None:
            near = nearest(item.rule, rulepack.rules)
            span = item.source.span(item.key.start, item.key.end)
            message = f"the rulepack `{rulepack.name}` has no rule `{item.rule}`"
            mistakes.append(Diagnostic("unknown-rule", message, span, advice=f"`{near}`" if near else ""))
        else:
            gone.append(Retired(rule.id, rule.consequence, item.by, item.reason))
    if not own:
        return rulepack
    text = "".join(f"{rulepack.content}{item.by}:{item.rule}:{item.reason}" for item in own)
    content = hashlib.sha256(text.encode()).hexdigest()[:16]
    return attrs.evolve(rulepack, rules=rules, retired=tuple(gone), content=content)


def _rulepack(
    draft: Draft | Ready, vocabulary: Vocabulary, overrides: Sequence[Override], functions: Registry
) -> Rulepack:
    """Read back where it was checked with these very words, values and functions; else checked from its text."""
    if isinstance(draft, Ready):
        if vocabulary is load_vocabulary() and functions is FUNCTIONS and not overrides:
            return draft.rulepack(vocabulary, functions)
        draft = draft.opened()

    from limitrules.rules.checking import checked

    return checked(draft, vocabulary, overrides, functions)


def _clashes(drafts: Sequence[Draft | Ready], overrides: Sequence[Override]) -> Iterator[Diagnostic]:
    """Two rulepacks of one name, and two values for one parameter: neither can be chosen silently."""
    seen: dict[str, Draft | Ready] = {}
    for draft in drafts:
        first = seen.setdefault(draft.name, draft)
        if first is not draft:
            opened = draft.opened() if isinstance(draft, Ready) else draft
            entry = opened.top.entries["name"][1]
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
        name = text_of(Reading(draft.source), draft.top, "vocabulary")
        if name != vocabulary.name:
            span = draft.source.span(entry.start, max(entry.end, entry.start + 1))
            wrong.append(Diagnostic("no-vocabulary", f"there is no vocabulary `{name}`", span, f"`{vocabulary.name}`"))
    if wrong:
        raise InputError(wrong)
    for draft in drafts:
        if "extends" in draft.top.entries:
            vocabulary = vocabulary.extended(draft.top.entries["extends"][1], draft.source, draft.name)
    return vocabulary
