"""A system: one installation with all its values, read from a system document."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from os import PathLike
from pathlib import Path
from typing import cast

import attrs
from attrs import frozen

from limitrules.foundation import tree
from limitrules.foundation.diagnostics import InputError, nearest, refuse
from limitrules.foundation.kinds import Attribute, Kind
from limitrules.foundation.source import Source, Span
from limitrules.model.document import DocumentReader, ids_of, ties_of
from limitrules.model.reading import Reading, check_header
from limitrules.model.values import ComponentRecord, Unknown, Value, packed
from limitrules.model.vocabulary import Vocabulary, load_vocabulary, target_of

Records = Mapping[str, Mapping[str, ComponentRecord]]
Inverses = Mapping[tuple[str, str], tuple[str, ...]]


@frozen(eq=False, repr=False)
class System:
    """``components`` maps the name of a kind to its components by path; parts stand there under their own kind.

    ``inverses`` maps (path of a component, derived relation) to the paths of the components tied to it.
    """

    name: str
    source: Source
    vocabulary: Vocabulary
    components: Records
    inverses: Inverses

    def value(self, path: str) -> Value | None:
        """The value at a path such as ``packs.north.charge.ceiling``; None where the document states none.

        Raises InputError where there is no such component or attribute.
        """
        place = self._place(path, None)
        record = self.record(place.record)
        return record.values.get(place.attribute.path) if record else None

    def attribute(self, path: str) -> Attribute:
        """What the vocabulary says of a path. Raises InputError where there is no such component or attribute."""
        return self._place(path, None).attribute

    def record(self, path: str) -> ComponentRecord | None:
        """The component or part at a path, or None."""
        kind = self.vocabulary.by_plural.get(path.partition(".")[0])
        if kind is None:
            return None
        head, rest = _split(kind, path)
        found = self.components[kind.name].get(head)
        return found.parts.get(rest) if found and rest else found

    def paths(self) -> Iterator[str]:
        """The path of every value, inherited ones too."""
        for path, _ in self.values():
            yield path

    def values(self) -> Iterator[tuple[str, Value]]:
        """Every value with its path."""
        for kind in self.vocabulary.by_plural.values():
            for record in self.components[kind.name].values():
                yield from record.everything()

    def stated_at(self, path: str) -> str:
        """The path at which the value of a path stands in the document; another one where `like` brought it."""
        place = self._place(path, None)
        record = self.record(place.record)
        while record is not None and record.like and not record.states(place.attribute.path):
            record = self.record(record.like)
        return f"{record.path}.{place.attribute.path}" if record else path

    def related(self, record: ComponentRecord, attribute: Attribute) -> tuple[ComponentRecord, ...] | None:
        """The components a relation or part leads to; None where the document does not say.

        A derived relation always has an answer; `not_saying` tells whether it may be incomplete.
        """
        if attribute.derived:
            paths = self.inverses.get((record.path, attribute.path), ())
            return tuple(found for path in paths if (found := self.record(path)))
        if attribute.path in record.parts:
            return (record.parts[attribute.path],)
        value = record.values.get(attribute.path)
        if value is None or isinstance(value.content, Unknown):
            return None
        kind = self.vocabulary.kinds[target_of(attribute)]
        assert isinstance(value.content, tuple)
        return tuple(self.components[kind.name][f"{kind.plural}.{name}"] for name in value.content)

    def not_saying(self, attribute: Attribute) -> tuple[str, ...]:
        """The components that leave open whom they are tied to, so that a derived relation may be incomplete."""
        assert attribute.derived
        return tuple(
            path
            for path, record in self.components[target_of(attribute)].items()
            if (value := record.values.get(attribute.inverse)) is None or isinstance(value.content, Unknown)
        )

    def with_value(self, path: str, text: str) -> System:
        """The same system with one value changed or added; ``text`` is written as in a document.

        Components that are `like` this one keep their values. Raises InputError as reading a document does.
        """
        source = Source(f"<{path}>", text)
        if text[:1] in tuple("{['\""):
            return self.with_node(path, tree.read_tree(source), source)
        return self.with_node(path, tree.Scalar(text.strip(), "", 0, len(text)), source)

    def with_node(self, path: str, node: tree.Node, source: Source, at: Span | None = None) -> System:
        """As `with_value`, for a value that stands in another document; ``at`` is the place of the path there."""
        place = self._place(path, at)
        if place.attribute.derived:
            other = target_of(place.attribute)
            message = f"`{path}` cannot be set: it follows from `{place.attribute.inverse}` of each {other}."
            raise refuse("derived-relation", message, at, where="" if at else path)
        reading = Reading(source)
        reader = DocumentReader(reading, self.vocabulary)
        reader.components = _copies(self.components, place.touched)
        record = _renewed(reader.components, place, packed(node.start, node.end), source)
        reader.state(record, place.attribute, node, node)
        reader.check_ties()
        reading.finish()
        if record.own is not None:
            record.own |= {place.attribute.path}
        inverses = self.inverses
        if place.attribute.part or place.attribute in ties_of(place.kind):
            inverses = find_inverses(self.vocabulary, reader.components)
        return attrs.evolve(self, components=reader.components, inverses=inverses)

    def without(self, path: str, at: Span | None = None) -> System:
        """The same system with nothing stated at a path, or at any path of a group; ``at`` is where that is asked.

        Raises InputError where nothing is stated there.
        """
        stated = [found for found in self.paths() if found == path or found.startswith(f"{path}.")]
        kind = self.vocabulary.by_plural.get(path.partition(".")[0])
        if kind is None or not stated or not _split(kind, path)[1]:
            message = f"`{path}` cannot be left out: it is neither a value nor a group of values of this system."
            raise refuse("nothing-stated", message, at, where="" if at else path)
        places = [self._place(found, None) for found in stated]
        components = _copies(self.components, frozenset().union(*(place.touched for place in places)))
        for place in places:
            record = _renewed(components, place, 0, self.source)
            del record.values[place.attribute.path]
            if place.part and not record.values:
                del components[place.kind.name][place.record]
                del _top(components, place)[place.component].parts[place.part]
        return attrs.evolve(self, components=components, inverses=find_inverses(self.vocabulary, components))

    def _place(self, path: str, at: Span | None) -> _Place:
        """What a path names. Raises InputError where it names nothing."""
        plural = path.partition(".")[0]
        kind = self.vocabulary.by_plural.get(plural)
        if kind is None:
            message = f"`{plural}` does not stand at the top of a system document."
            raise _no_path(path, message, plural, self.vocabulary.by_plural, at)
        head, rest = _split(kind, path)
        if head == plural and not kind.single:
            raise _no_path(path, f"`{path}` is no single value: it holds components.", "", (), at)
        if head not in self.components[kind.name]:
            name, known = head.rpartition(".")[2], ids_of(self.components[kind.name])
            raise _no_path(path, f"There is no {kind.name} `{name}` in this system.", name, known, at)
        component, top = head, kind
        found = kind.attributes.get(rest)
        part = "" if found else next((p for p in _parts(kind) if rest.startswith(p + ".")), "")
        if part:
            kind = self.vocabulary.kinds[target_of(kind.attributes[part])]
            head, rest = f"{head}.{part}", rest[len(part) + 1 :]
            found = kind.attributes.get(rest)
        if found is None:
            message = f"A {kind.name} has no attribute `{rest}`."
            if rest in kind.groups or not rest:
                message = f"`{path}` is no single value: it holds {', '.join(kind.names_below(rest))}."
            raise _no_path(path, message, rest, kind.attributes, at)
        touched = {top.name, kind.name} | ({target_of(found)} if found.part else set())
        return _Place(component, part, head, kind, found, frozenset(touched))


@frozen(eq=False, repr=False)
class _Place:
    """A path taken apart: the component, the part of it (or empty), and the record of either with its attribute."""

    component: str
    part: str
    record: str
    kind: Kind
    attribute: Attribute
    touched: frozenset[str]


def read_system(path: str | PathLike[str] | Source, vocabulary: Vocabulary | None = None) -> System:
    """The system that a file describes. Raises InputError with everything that is wrong with it."""
    source = path if isinstance(path, Source) else tree.read_source(path)
    return parse_system(source, vocabulary or load_vocabulary())


def parse_system(source: Source, vocabulary: Vocabulary) -> System:
    """The system that a text describes. Raises InputError with everything that is wrong with it."""
    reading = Reading(source)
    reader = DocumentReader(reading, vocabulary)
    try:
        root = tree.read_tree(source, reader.take)
    except InputError as error:
        # What was found up to there is said as well.
        for diagnostic in error.diagnostics:
            reading.add(diagnostic)
        reading.finish()
        raise
    name = reader.top(check_header(Reading(source), root, "system"))
    reader.inherit()
    reader.check_ties()
    reading.finish()
    return System(
        name or Path(source.name).stem,
        source,
        vocabulary,
        reader.components,
        find_inverses(vocabulary, reader.components),
    )


def find_inverses(vocabulary: Vocabulary, components: Records) -> Inverses:
    """For each component that others are tied to: who they are, in the order of the document."""
    found: dict[tuple[str, str], list[str]] = {}
    for kind in vocabulary.kinds.values():
        for attribute in ties_of(kind) if components[kind.name] else ():
            if not attribute.inverse:
                continue
            plural = vocabulary.kinds[target_of(attribute)].plural
            for path, record in components[kind.name].items():
                value = record.values.get(attribute.path)
                for name in value.content if value and isinstance(value.content, tuple) else ():
                    found.setdefault((f"{plural}.{name}", attribute.inverse), []).append(path)
    return {key: tuple(paths) for key, paths in found.items()}


def _parts(kind: Kind) -> list[str]:
    return [path for path, attribute in kind.attributes.items() if attribute.part]


def _split(kind: Kind, path: str) -> tuple[str, str]:
    """The path of the component and the rest of a path."""
    count = 1 if kind.single else 2
    words = path.split(".", count)
    return ".".join(words[:count]), "".join(words[count:])


def _no_path(path: str, message: str, word: str, known: Iterable[str], at: Span | None) -> InputError:
    near = nearest(word, known)
    advice = f"write `{near}`" if near else ""
    return refuse("no-such-path", message, at, advice=advice, where="" if at else path)


def _copies(components: Records, touched: frozenset[str]) -> dict[str, dict[str, ComponentRecord]]:
    """The maps that a change touches copied, the others shared."""
    shared = cast("Mapping[str, dict[str, ComponentRecord]]", components)
    return {name: dict(records) if name in touched else records for name, records in shared.items()}


def _renewed(
    components: dict[str, dict[str, ComponentRecord]], place: _Place, at: int, source: Source
) -> ComponentRecord:
    """A copy of a record, entered in place of the old one; a new part where there was none."""
    top = _top(components, place)
    old = top[place.component]
    record = top[place.component] = attrs.evolve(old, values=dict(old.values), parts=dict(old.parts))
    if not place.part:
        return record
    before = record.parts.get(place.part) or ComponentRecord(place.kind, place.record, {}, {}, source, at)
    part = attrs.evolve(before, values=dict(before.values))
    record.values.pop(place.part, None)
    record.parts[place.part] = components[place.kind.name][place.record] = part
    return part


def _top(components: dict[str, dict[str, ComponentRecord]], place: _Place) -> dict[str, ComponentRecord]:
    """The map that the component of a place stands in."""
    return next(records for records in components.values() if place.component in records)
