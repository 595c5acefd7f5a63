"""Collecting what is wrong with a document while it is read."""

from __future__ import annotations

from collections.abc import Iterable

from limitrules.foundation.diagnostics import Diagnostic, InputError, nearest
from limitrules.foundation.source import Source, Span
from limitrules.foundation.tree import Mapping, Node, Scalar, Sequence

# A file of another sort can have a mistake in every line.
MOST = 200
_MOST_SUGGESTIONS = 50

_WHAT = {Scalar: "a single value", Mapping: "a map", Sequence: "a list"}


def what(node: Node) -> str:
    """What a node is, for a message: ``a map``."""
    if isinstance(node, Scalar) and node.is_null:
        return "nothing"
    return _WHAT[type(node)]


class Reading:
    """A source with the diagnostics found in it until now."""

    def __init__(self, source: Source) -> None:
        self.source = source
        self.found: list[Diagnostic] = []
        self.left_off = 0

    def span(self, node: Node) -> Span:
        """The place of a node."""
        return self.source.span(node.start, max(node.end, node.start + 1))

    def add(self, diagnostic: Diagnostic) -> None:
        if len(self.found) < MOST:
            self.found.append(diagnostic)
        else:
            self.left_off += 1

    def say(self, code: str, message: str, node: Node, **more: str) -> None:
        self.add(Diagnostic(code, message, self.span(node), **more))

    def say_at(self, code: str, message: str, start: int, end: int, **more: str) -> None:
        self.add(Diagnostic(code, message, self.source.span(start, max(end, start + 1)), **more))

    def text(self, node: Node, due: str) -> str | None:
        """The text of a scalar that is not empty; says so and gives None where it is none."""
        if isinstance(node, Scalar) and not node.is_null:
            return node.text
        self.say("not-a-text", f"{what(node).capitalize()} stands where {due} is due.", node, expected=due)
        return None

    def mapping(self, node: Node, due: str) -> Mapping | None:
        if isinstance(node, Mapping):
            return node
        self.say("not-a-map", f"{what(node).capitalize()} stands where {due} is due.", node, expected=due)
        return None

    def near(self, word: str, names: Iterable[str]) -> str:
        """The nearest name; none where so much is wrong that looking for it would take long."""
        return nearest(word, names) if len(self.found) < _MOST_SUGGESTIONS else ""

    def unknown_key(self, key: Scalar, known: Iterable[str], within: str) -> None:
        names = list(known)
        near = self.near(key.text, names)
        self.say(
            "unknown-key",
            f"`{key.text}` is not known in {within}.",
            key,
            expected="one of " + ", ".join(names),
            advice=f"write `{near}`" if near else "",
        )

    def finish(self) -> None:
        """Raises InputError with everything that was found, in the order of the text."""
        if not self.found:
            return
        ordered = sorted(self.found, key=lambda item: item.span.start if item.span else -1)
        if self.left_off:
            message = f"{self.left_off} more mistakes were found."
            ordered.append(Diagnostic("more", message, where=self.source.name, advice="correct these first"))
        raise InputError(ordered)


def check_header(reading: Reading, tree: Node, sort: str, version: int = 1) -> Mapping:
    """The top map of a document of a sort; raises InputError where its header names another sort or version."""
    due = f"limitrules: {sort}/{version}"
    if not isinstance(tree, Mapping):
        reading.say(
            "not-a-map", f"{what(tree).capitalize()} stands where a {sort} document is due.", tree, expected=due
        )
        reading.finish()
        raise AssertionError("unreachable")
    entry = tree.entries.get("limitrules")
    if entry is None:
        message = "The header line is missing, so it is not clear what this document is."
        reading.say_at("no-header", message, tree.start, tree.start + 1, advice=f"begin the file with `{due}`")
    else:
        node = entry[1]
        text = node.text if isinstance(node, Scalar) else ""
        name, _, number = text.partition("/")
        if name == sort and number != str(version):
            message = f"This is version {number or 'none'} of the {sort} format; version {version} is known here."
            reading.say("other-version", message, node, expected=due, advice=f"write `{due}`")
        elif name != sort:
            reading.say("other-document", f"This is no {sort} document.", node, expected=due)
    reading.finish()
    return tree
