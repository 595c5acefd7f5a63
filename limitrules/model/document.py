"""Reading a system document: its components, then the ties between them."""

from __future__ import annotations

from collections.abc import Iterable

import attrs

from limitrules.foundation.diagnostics import listing
from limitrules.foundation.kinds import Attribute, Component, Components, Kind
from limitrules.foundation.tree import Mapping, Node, Scalar
from limitrules.model.reading import Reading, what
from limitrules.model.value_reader import ValueReader, is_id
from limitrules.model.values import ComponentRecord, packed
from limitrules.model.vocabulary import Layout, Vocabulary, target_of

HEADER_KEYS = ("limitrules", "name")
LIKE = "like"


class DocumentReader:
    """Collects the components of one document; they arrive one at a time while its text is parsed."""

    def __init__(self, reading: Reading, vocabulary: Vocabulary) -> None:
        self.reading = reading
        self.vocabulary = vocabulary
        self.values = ValueReader(reading)
        self.components: dict[str, dict[str, ComponentRecord]] = {name: {} for name in vocabulary.kinds}
        self.likes: dict[str, Scalar] = {}

    def take(self, plural: str, key: Scalar, node: Node) -> bool:
        """Reads a finished entry below a key of the document; True where it need not be kept."""
        kind = self.vocabulary.by_plural.get(plural)
        if kind is None:
            return plural not in HEADER_KEYS
        if kind.single:
            return False
        self._component(kind, f"{plural}.{key.text}", key, node)
        return True

    def top(self, tree: Mapping) -> str:
        """Reads what stands at the top of the document, and gives its name."""
        name = ""
        for key, node in tree.entries.values():
            kind = self.vocabulary.by_plural.get(key.text)
            if key.text == "name":
                name = self.reading.text(node, "a name") or ""
            elif kind is None:
                if key.text not in HEADER_KEYS:
                    self._unknown_plural(key)
            elif isinstance(node, Scalar) and node.is_null:
                self.reading.say("null-value", f"Nothing stands under `{key.text}`.", key, advice="leave the line out")
            elif not isinstance(node, Mapping):
                due = "a map of attributes" if kind.single else "a map of components by their ids"
                self.reading.say("not-a-map", f"{what(node).capitalize()} stands where {due} is due.", node)
            elif kind.single:
                self._component(kind, key.text, key, node)
        for kind in self.vocabulary.kinds.values():
            if kind.single and not self.components[kind.name]:
                record = ComponentRecord(
                    kind, kind.plural, {}, {}, self.reading.source, packed(tree.start, tree.start + 1)
                )
                self.components[kind.name][kind.plural] = record
        return name

    def _unknown_plural(self, key: Scalar) -> None:
        plurals = [*self.vocabulary.by_plural, *HEADER_KEYS]
        kinds = self.vocabulary.kinds
        near = (
            kinds[key.text].plural
            if key.text in kinds and kinds[key.text].plural
            else self.reading.near(key.text, plurals)
        )
        message = f"`{key.text}` cannot stand at the top of a system document."
        advice = f"write `{near}`" if near else ""
        self.reading.say("unknown-key", message, key, expected="one of " + ", ".join(plurals), advice=advice)

    def _component(self, kind: Kind, path: str, key: Scalar, node: Node) -> None:
        if not is_id(key.text):
            message = f"`{key.text}` cannot be the id of a {kind.name}."
            self.reading.say("bad-id", message, key, expected="letters, digits, - and _")
        elif key.text in ("none", "unknown"):
            message = f"`{key.text}` cannot be an id: it has a meaning of its own."
            self.reading.say("bad-id", message, key, advice="choose another id")
        if not isinstance(node, Mapping):
            advice = "write {} where nothing is known of it" if isinstance(node, Scalar) and node.is_null else ""
            message = f"{what(node).capitalize()} stands where the attributes of `{path}` are due."
            self.reading.say(
                "not-a-map", message, key if advice else node, expected="a map of attributes", advice=advice
            )
            node = Mapping({}, node.start, node.end)
        self._record(kind, path, key, node)

    def _record(self, kind: Kind, path: str, key: Node, node: Mapping) -> ComponentRecord:
        record = ComponentRecord(kind, path, {}, {}, self.reading.source, packed(key.start, key.end))
        self.components[kind.name][path] = record
        self._group(record, self.vocabulary.layout(kind), "", node)
        return record

    def _group(self, record: ComponentRecord, layout: Layout, prefix: str, node: Mapping) -> None:
        """The attributes of a component below a prefix such as ``charge.``."""
        for word, (key, inner) in node.entries.items():
            member = layout.get(word)
            if member is None:
                if word == LIKE and not prefix and not record.kind.single and record.kind.plural:
                    self._like(record, inner)
                else:
                    self.unknown_attribute(record.kind, prefix, key)
            elif isinstance(member, dict):
                self._inner_group(record, member, prefix + word, key, inner)
            elif member.derived:
                self._say_derived(record.kind, member, key)
            else:
                self.state(record, member, key, inner)

    def state(self, record: ComponentRecord, attribute: Attribute, key: Node, node: Node) -> None:
        """Reads what stands at an attribute of a component into its record."""
        if attribute.part:
            self._part(record, attribute, key, node)
            return
        value = self.values.read(attribute, node)
        if value is not None:
            record.values[attribute.path] = value

    def _part(self, record: ComponentRecord, attribute: Attribute, key: Node, node: Node) -> None:
        """A component written in place; it can also be `none` or `unknown`."""
        path, kind = f"{record.path}.{attribute.path}", self.vocabulary.kinds[target_of(attribute)]
        record.values.pop(attribute.path, None)
        record.parts.pop(attribute.path, None)
        self.components[kind.name].pop(path, None)
        if isinstance(node, Mapping):
            record.parts[attribute.path] = self._record(kind, path, key, node)
        elif isinstance(node, Scalar) and not node.style and node.text in ("none", "unknown"):
            value = self.values.read(attribute, node)
            if value is not None:
                record.values[attribute.path] = value
        elif isinstance(node, Scalar) and node.is_null:
            advice = "write `unknown` where nothing is known of it, `none` where there is none, or leave the line out"
            self.reading.say("null-value", f"Nothing stands under `{attribute.path}`.", key, advice=advice)
        else:
            message = f"{what(node).capitalize()} stands where the attributes of `{attribute.path}` are due."
            self.reading.say("not-a-map", message, node, expected="a map of attributes, or none, or unknown")

    def _inner_group(self, record: ComponentRecord, layout: Layout, path: str, key: Scalar, node: Node) -> None:
        if type(node) is Mapping:
            self._group(record, layout, path + ".", node)
            return
        inside = listing(layout)
        if isinstance(node, Scalar) and node.is_null:
            self.reading.say("null-value", f"Nothing stands under `{path}`.", key, advice="leave the line out")
            return
        message = f"`{path}` is a group, not a value: {what(node)} cannot stand here."
        first = next(iter(layout))
        self.reading.say(
            "group-not-value",
            message,
            node,
            expected=f"{inside}, in a map below `{path}`",
            advice=f"write `{key.text}: {{{first}: ...}}`",
        )

    def _like(self, record: ComponentRecord, node: Node) -> None:
        text = self.reading.text(node, "the id of another component of the same kind")
        if text is not None and isinstance(node, Scalar):
            self.likes[record.path] = node

    def _say_derived(self, kind: Kind, attribute: Attribute, key: Scalar) -> None:
        other = target_of(attribute)
        message = (
            f"`{attribute.path}` of a {kind.name} is not stated: it follows from `{attribute.inverse}` of each {other}."
        )
        plural = self.vocabulary.kinds[other].plural
        advice = f"state `{attribute.inverse}` under `{plural}`" if plural else f"state `{attribute.inverse}` there"
        self.reading.say("derived-relation", message, key, advice=advice)

    def unknown_attribute(self, kind: Kind, prefix: str, key: Scalar) -> None:
        path = prefix + key.text
        if key.text[:1].isdigit() and self.reading.source.text[key.start - 1] == ",":
            # The rest of a number with a comma in it; mostly that is told where the number begins.
            if not any(item.code == "decimal-comma" for item in self.reading.found):
                message = "A comma stands inside a number."
                self.reading.say("decimal-comma", message, key, advice="write a decimal point")
            return
        advice, message = self._suggestion(kind, prefix, key.text), f"A {kind.name} has no attribute `{path}`."
        others = [
            other.name for other in self.vocabulary.kinds.values() if path in other.attributes and other is not kind
        ]
        if others:
            message = f"{message} It is an attribute of kind {listing(others)}."
        self.reading.say("unknown-attribute", message, key, advice=advice)

    def _suggestion(self, kind: Kind, prefix: str, word: str) -> str:
        path = prefix + word
        if path in kind.attributes or path in kind.groups:
            first, *rest = word.split(".")
            return f"write it in levels: `{first}: {{{': {'.join(rest)}: ...{'}' * len(rest)}`"
        if word == LIKE:
            return "`like` stands directly below the id of a component"
        near = self.reading.near(word, kind.names_below(prefix.rstrip(".")))
        if near:
            return f"write `{prefix}{near}`"
        # The same word elsewhere in the kind, or levels joined by something else than a dot.
        last = self.reading.near(word, [other.rpartition(".")[2] for other in kind.attributes])
        found = [other for other in kind.attributes if last and other.rpartition(".")[2] == last]
        if len(found) != 1:
            found = [other for other in kind.attributes if other.replace(".", "_") == path.replace(".", "_")]
        return f"write `{found[0]}`" if len(found) == 1 else ""

    # After the whole text is read.

    def check_ties(self) -> None:
        """Every tie, and every sensor of a value, leads to a component of the document."""
        for kind_name, name, start, end in self.values.ties:
            self._check_tie(self.vocabulary.kinds[kind_name], name, start, end)
        sensor = self.vocabulary.kinds.get("sensor")
        for name, start, end in self.values.sensors if sensor else ():
            self._check_tie(sensor, name, start, end)  # type: ignore[arg-type]

    def _check_tie(self, kind: Kind, name: str, start: int, end: int) -> None:
        known = self.components[kind.name]
        if f"{kind.plural}.{name}" in known:
            return
        ids = ids_of(known)
        near = self.reading.near(name, ids)
        elsewhere = [
            f"{k.plural}.{name}"
            for k in self.vocabulary.by_plural.values()
            if f"{k.plural}.{name}" in self.components[k.name]
        ]
        message = f"There is no {kind.name} `{name}` in this document."
        if elsewhere:
            message += f" `{listing(elsewhere)}` is of another kind."
        expected = (
            f"one of {listing(ids)}"
            if len(ids) > 1
            else ids[0]
            if ids
            else f"a component that stands under `{kind.plural}`"
        )
        advice = f"write `{near}`" if near else f"add `{name}` under `{kind.plural}`"
        self.reading.say_at("no-such-component", message, start, end, expected=expected, advice=advice)

    def inherit(self) -> None:
        """Gives every component with `like` the values of the other one that it does not state itself."""
        done: set[str] = set()
        for path in self.likes:
            chain: list[ComponentRecord] = []
            while path in self.likes and path not in done:
                record = self._by_path(path)
                if any(record is other for other in chain):
                    self._say_cycle(chain[chain.index(record) :])
                    done.update(other.path for other in chain)
                    break
                chain.append(record)
                node = self.likes[path]
                path = f"{record.kind.plural}.{node.text}"
                if path not in self.components[record.kind.name]:
                    self._check_tie(record.kind, node.text, node.start, node.end)
                    done.update(other.path for other in chain)
                    break
                record.like = path
            for record in reversed(chain):
                if record.path not in done:
                    take_over(self.components, record, self._by_path(record.like))
                    done.add(record.path)

    def _by_path(self, path: str) -> ComponentRecord:
        kind = self.vocabulary.by_plural[path.partition(".")[0]]
        return self.components[kind.name][path]

    def _say_cycle(self, cycle: list[ComponentRecord]) -> None:
        names = " -> ".join(record.id for record in [*cycle, cycle[0]])
        node = self.likes[cycle[0].path]
        message = f"These components are like each other in a circle: {names}."
        self.reading.say("like-circle", message, node, advice="state the values of one of them")


def ids_of(paths: Iterable[str]) -> list[str]:
    """The last words of paths."""
    return [path.rpartition(".")[2] for path in paths]


def take_over(
    components: dict[str, dict[str, ComponentRecord]], record: ComponentRecord, model: ComponentRecord
) -> None:
    """Adds the values and parts of ``model`` that ``record`` does not state."""
    own = record.values
    record.own = frozenset(own)
    record.like = model.path
    if not own and not record.parts:
        # Shared, never changed after reading.
        record.values = model.values
    else:
        record.values = {path: value for path, value in model.values.items() if path not in record.parts} | own
    parts = dict(record.parts)
    for path, part in model.parts.items():
        if path in parts:
            take_over(components, parts[path], part)
        elif path not in own:
            inherited = attrs.evolve(part, path=f"{record.path}.{path}", values={}, parts={})
            take_over(components, inherited, part)
            components[part.kind.name][inherited.path] = inherited
            record.parts[path] = inherited


def ties_of(kind: Kind) -> list[Attribute]:
    """The relations a kind states itself."""
    return [
        attribute
        for attribute in kind.attributes.values()
        if isinstance(attribute.type, Component | Components) and not attribute.part and not attribute.derived
    ]
