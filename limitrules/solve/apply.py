"""A proposal written into a copy of a system document: only values change, comments and layout stay."""

from __future__ import annotations

import re
from collections.abc import Sequence

from limitrules.foundation import tree
from limitrules.foundation.source import Source
from limitrules.model.system import System, parse_system

_SPREAD = re.compile(r"\s*(±|\+-)")


def written(system: System, values: Sequence[tuple[str, str]]) -> str:
    """The text of a document with new values, given as path and text in the short form.

    The tolerance, origin, date and source of a value stay as they are written: what was entered is for a person to
    confirm. A value that came by `like`, or that was not stated, is written into the component itself, and so is the
    old value of a component that is `like` a changed one.
    """
    name, text = system.source.name, system.source.text
    for path, value in values:
        text = _with(Source(name, text), path, value)
    changed = {path for path, _ in values}
    after = parse_system(Source(name, text), system.vocabulary)
    for path, before in system.values():
        found = after.value(path)
        if path not in changed and (found is None or found.content != before.content):
            text = _with(Source(name, text), path, before.span.text)
    return text


def _with(source: Source, path: str, value: str) -> str:
    node, rest = _deepest(tree.read_tree(source), path.split("."))
    if not rest:
        start, end, new = _over(node, source, value)
    else:
        assert isinstance(node, tree.Mapping)
        start, end, new = _beside(node, source, rest, value)
    return source.text[:start] + new + source.text[end:]


def _deepest(root: tree.Node, names: list[str]) -> tuple[tree.Node, list[str]]:
    """The innermost node of a path that is there, and the names below it that are not."""
    node = root
    for depth, name in enumerate(names):
        if not isinstance(node, tree.Mapping) or name not in node.entries:
            return node, names[depth:]
        below = node.entries[name][1]
        if depth + 1 < len(names) and not isinstance(below, tree.Mapping):
            return node, names[depth:]
        node = below
    return node, []


def _over(node: tree.Node, source: Source, value: str) -> tuple[int, int, str]:
    """The new value over the old one, whose tolerance stays."""
    if isinstance(node, tree.Mapping):
        if "value" not in node.entries:
            return node.start, node.end, value
        node = node.entries["value"][1]
    old = source.text[node.start : node.end]
    bare = _SPREAD.split(value)[0]
    spread = _SPREAD.search(old)
    kept = old[spread.start() :] if spread else ""
    return node.start, node.end, bare + kept


def _beside(node: tree.Mapping, source: Source, rest: Sequence[str], value: str) -> tuple[int, int, str]:
    """A new entry in a mapping, in its own style: in braces at its end, else as a line of its own at its beginning."""
    entry = f"{rest[-1]}: {value}"
    for name in reversed(rest[:-1]):
        entry = f"{name}: {{{entry}}}"
    text = source.text
    if text[node.start : node.start + 1] == "{":
        close = text.rindex("}", node.start, node.end)
        at = node.start + 1 + len(text[node.start + 1 : close].rstrip())
        return at, at, f", {entry}" if node.entries else entry
    first = next(iter(node.entries.values()))[0]
    column = first.start - (text.rfind("\n", 0, first.start) + 1)
    return first.start, first.start, f"{entry}\n{' ' * column}"
