"""The vocabulary: which kinds of components there are, and which facts and ties each may state."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cached_property, lru_cache
from pathlib import Path

import attrs
from attrs import frozen

from limitrules.foundation import tree
from limitrules.foundation.diagnostics import listing, nearest, refuse
from limitrules.foundation.kinds import Attribute, Kind
from limitrules.foundation.source import Source
from limitrules.foundation.units import Unit
from limitrules.model.declarations import Declarations, target_of
from limitrules.model.prepared import prepared
from limitrules.model.reading import Reading, check_header

SHIPPED = Path(__file__).parent / "vocabularies"

# The words of a kind, level by level.
Layout = dict[str, "Attribute | Layout"]


__all__ = ["SHIPPED", "Layout", "Vocabulary", "load_vocabulary", "read_vocabulary", "target_of", "vocabulary_from"]


@frozen(eq=False, repr=False)
class Vocabulary:
    """Kinds by name. ``variants`` maps a name such as ``protection`` to the kinds made of it, with their units."""

    name: str
    version: str
    kinds: Mapping[str, Kind]
    variants: Mapping[str, Mapping[str, Unit]] = attrs.field(factory=dict)
    _layouts: dict[str, Layout] = attrs.field(factory=dict, init=False, repr=False)

    @cached_property
    def by_plural(self) -> Mapping[str, Kind]:
        """The kinds that stand at the top of a system document, by the key they stand under."""
        return {kind.plural: kind for kind in self.kinds.values() if kind.plural}

    def layout(self, kind: Kind) -> Layout:
        """The attributes of a kind as they stand in a document: groups as dicts within dicts."""
        found = self._layouts.get(kind.name)
        if found is None:
            found = self._layouts[kind.name] = _layout(kind)
        return found

    def extended(self, node: tree.Node, source: Source, by: str) -> Vocabulary:
        """With the kinds and attributes that a rulepack declares. Raises InputError where they clash."""
        reading = Reading(source)
        draft = Declarations(reading, by)
        for name, kind in self.kinds.items():
            draft.kinds[name] = attrs.evolve(kind, attributes=dict(kind.attributes))
        draft.variants.update(self.variants)
        draft.read_kinds(node, extending=True)
        draft.resolve()
        reading.finish()
        return Vocabulary(self.name, self.version, draft.finished(), draft.variants)


def load_vocabulary(name: str = "storage") -> Vocabulary:
    """A vocabulary that ships with the product. Raises InputError where there is none of the name."""
    return _shipped_vocabulary(name)


@lru_cache(maxsize=8)
def _shipped_vocabulary(name: str) -> Vocabulary:
    files = {file.stem: file for file in SHIPPED.glob("*.yaml")}
    if name not in files:
        near = nearest(name, files)
        advice = f"write `{near}`" if near else ""
        message = f"There is no vocabulary `{name}`."
        raise refuse("no-vocabulary", message, expected=listing(sorted(files)), advice=advice)
    found = prepared(files[name])
    return Vocabulary(*found) if found is not None else read_vocabulary(files[name])


def read_vocabulary(file: Path) -> Vocabulary:
    """The vocabulary in a file, read from its text. Raises InputError with everything that is wrong with it."""
    source = Source(f"{file.parent.name}/{file.name}", file.read_text(encoding="utf-8"))
    return vocabulary_from(tree.read_tree(source), source)


def vocabulary_from(node: tree.Node, source: Source) -> Vocabulary:
    """The vocabulary that a document declares. Raises InputError with everything that is wrong with it."""
    reading = Reading(source)
    top = check_header(reading, node, "vocabulary")
    known = ("limitrules", "name", "version", "kinds")
    for key, _ in top.entries.values():
        if key.text not in known:
            reading.unknown_key(key, known, "a vocabulary")
    texts = {}
    for word in ("name", "version"):
        entry = top.entries.get(word)
        if entry is None:
            reading.say_at("missing-key", f"`{word}` is missing.", top.start, top.start + 1)
        texts[word] = reading.text(entry[1], f"a {word}") or "" if entry else ""
    draft = Declarations(reading, "")
    if "kinds" in top.entries:
        draft.read_kinds(top.entries["kinds"][1], extending=False)
    draft.resolve()
    reading.finish()
    return Vocabulary(texts["name"], texts["version"], draft.finished(), draft.variants)


def _layout(kind: Kind) -> Layout:
    top: Layout = {}
    for path, attribute in kind.attributes.items():
        *groups, word = path.split(".")
        level = top
        for group in groups:
            inner = level.setdefault(group, {})
            assert isinstance(inner, dict)
            level = inner
        level[word] = attribute
    return top
