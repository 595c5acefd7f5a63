"""Reading YAML into a light tree of texts with places; nothing is typed here, `on` and `1:30` stay text."""

from __future__ import annotations

import re
from collections.abc import Callable
from os import PathLike, fspath
from pathlib import Path
from typing import Any

import yaml
from attrs import define

from limitrules.foundation.diagnostics import Diagnostic, InputError
from limitrules.foundation.source import Source, Span
from limitrules.foundation.yaml_errors import DEEPEST_NESTING, in_plain_words, too_deep

LARGEST_FILE = 64 * 1024 * 1024
_BYTE_ORDER_MARK = "\N{ZERO WIDTH NO-BREAK SPACE}"
_NULLS = frozenset(("", "~", "null", "Null", "NULL"))
_BLANKS = " \t\r\n"
_BLANK_CHARACTERS = frozenset(_BLANKS)

# Control characters, other line breaks than LF and CR LF, and characters that reverse the reading direction. It begins
# with a set of characters, so that a search through a long text is quick.
_UNREADABLE = (
    "[\x00-\x08\x0b-\x1f\x7f-\x9f\u2028\u2029\u202a-\u202e\u2066-\u2069\ud800-\udfff\ufeff\ufffe\uffff](?!(?<=\r)\n)"
)
_MOST_FOUND = 200

# The style of what stands for something that was refused; it does not enter the tree.
_REFUSED = "?"


@define(eq=False, repr=False, weakref_slot=False)
class Scalar:
    """A text; ``style`` is empty where it stands without quotes, else one of ``' " | >``."""

    text: str
    style: str
    start: int
    end: int

    @property
    def is_null(self) -> bool:
        """True where nothing stands, or one of YAML's words for nothing."""
        return not self.style and self.text in _NULLS


@define(eq=False, repr=False, weakref_slot=False)
class Mapping:
    """Keys with their values, in the order of the text."""

    entries: dict[str, tuple[Scalar, Node]]
    start: int
    end: int


@define(eq=False, repr=False, weakref_slot=False)
class Sequence:
    """A list."""

    items: list[Node]
    start: int
    end: int


Node = Scalar | Mapping | Sequence
Taker = Callable[[str, Scalar, Node], bool]


def read_source(path: str | PathLike[str]) -> Source:
    """The text of a file. Raises InputError where it cannot be read or is not UTF-8."""
    name = fspath(path)
    try:
        with Path(path).open("rb") as file:
            content = file.read(LARGEST_FILE + 1)
    except FileNotFoundError:
        raise _unreadable(name, "no-such-file", "There is no such file.", "check the path") from None
    except IsADirectoryError:
        raise _unreadable(name, "is-a-folder", "This is a folder, not a file.", "name a file inside it") from None
    except PermissionError:
        raise _unreadable(name, "no-permission", "The file may not be read.", "check its permissions") from None
    except (OSError, ValueError) as error:
        said = error.strerror if isinstance(error, OSError) and error.strerror else "the path cannot be used"
        raise _unreadable(name, "cannot-read", f"The file cannot be read: {said}.", "check the path") from None
    if len(content) > LARGEST_FILE:
        raise InputError([_too_large(name)])
    if content.startswith((b"\xff\xfe", b"\xfe\xff")):
        raise _unreadable(name, "not-utf-8", "The file is in UTF-16, not in UTF-8.", "save it as UTF-8")
    try:
        return Source(name, content.decode("utf-8-sig"))
    except UnicodeDecodeError as error:
        line = content.count(b"\n", 0, error.start) + 1
        message = (
            f"The file is not in UTF-8: byte {error.start + 1}, in line {line}, "
            f"has the value {content[error.start]:#04x}."
        )
        raise _unreadable(name, "not-utf-8", message, "save it as UTF-8") from None


def read_tree(source: Source, take: Taker | None = None) -> Node:
    """The tree of a YAML text. Raises InputError with everything that is wrong with it.

    ``take`` is called with (outer key, key, node) for each finished entry of the mappings below the top one;
    where it returns True the node is not kept, so that a long document never stands in memory as a whole.
    """
    if len(source.text) > LARGEST_FILE:
        raise InputError([_too_large(source.name)])
    found = _unreadable_characters(source)
    if found:
        raise InputError(found)
    builder = _Builder(source, take)
    builder.build()
    if builder.found:
        raise InputError(builder.found)
    return builder.root


def place_in(source: Source, scalar: Scalar) -> Callable[[int, int], Span]:
    """A function from positions in a scalar's text to the place in the file where these characters stand."""
    found: list[list[tuple[int, int]]] = []

    def place(start: int, end: int) -> Span:
        if not found:  # only a mistake or a finding asks for a place
            found.append(_places(source.text[scalar.start : scalar.end], scalar.style, scalar.text))
        places = found[0]
        first = places[min(start, len(places) - 1)][0]
        last = places[end - 1][1] if 0 < end <= len(places) and end > start else first + 1
        return Span(source, scalar.start + first, scalar.start + max(last, first + 1))

    return place


def _places(raw: str, style: str, text: str) -> list[tuple[int, int]]:
    """For each character of a value, and for its end, where in the raw text it begins and ends.

    Folding only moves blanks, so the other characters stand in the raw text in the same order.
    """
    at = raw.find("\n") + 1 if style in ("|", ">") else len(style)
    places = []
    for char in text:
        if style == '"':
            at = _after_joined_lines(raw, at)
        if char not in _BLANKS:
            while raw[at : at + 1] in _BLANK_CHARACTERS:
                at += 1
                if style == '"':
                    at = _after_joined_lines(raw, at)
        if style == '"' and raw.startswith("\\", at):
            width = _escape_width(raw, at)
        elif char in _BLANKS:
            # A folded line break stands for a blank and for the blanks around it.
            width = int(raw[at : at + 1] == char)
        else:
            width = 2 if style == "'" and char == "'" else 1
        places.append((at, at + max(width, 1)))
        at += width
    places.append((at, at + 1))
    return places


def _after_joined_lines(raw: str, at: int) -> int:
    """Behind a backslash at the end of a line, which joins it to the next one."""
    while raw.startswith(("\\\n", "\\\r"), at):
        at += 1
        while raw[at : at + 1] in _BLANK_CHARACTERS:
            at += 1
    return at


def _escape_width(raw: str, at: int) -> int:
    return {"x": 4, "u": 6, "U": 10}.get(raw[at + 1 : at + 2], 2)


class _Builder:
    """Builds the tree without recursion, from the events of the parser."""

    def __init__(self, source: Source, take: Taker | None) -> None:
        self.source = source
        self.take = take
        self.found: list[Diagnostic] = []
        self.documents = 0
        self.root: Node = Scalar("", "", 0, 0)
        # A byte order mark is not counted by the parser.
        self.shift = 1 if source.text.startswith(_BYTE_ORDER_MARK) else 0

    def say(self, code: str, message: str, start: int, end: int, advice: str) -> None:
        if len(self.found) < _MOST_FOUND:
            self.found.append(Diagnostic(code, message, self.source.span(start, max(end, start + 1)), advice=advice))

    def build(self) -> None:
        loader: Any = getattr(yaml, "CSafeLoader", yaml.SafeLoader)
        text = self.source.text
        try:
            self._run(loader(text[1:] if self.shift else text).get_event)
        except yaml.YAMLError as error:
            self.found.append(in_plain_words(self.source, error, self.shift))

    def _run(self, next_event: Callable[[], Any]) -> None:  # noqa: PLR0912
        # The hot loop of reading is one loop, and what it uses for each event is a local name.
        scalar_event, alias_event = yaml.ScalarEvent, yaml.AliasEvent
        mapping_start, sequence_start = yaml.MappingStartEvent, yaml.SequenceStartEvent
        mapping_end, sequence_end = yaml.MappingEndEvent, yaml.SequenceEndEvent
        shift = self.shift
        stack: list[tuple[Mapping | Sequence, Scalar | None]] = []
        container: Mapping | Sequence | None = None
        key: Scalar | None = None
        node: Node
        while True:
            event = next_event()
            sort = type(event)
            if sort is scalar_event:
                node = Scalar(
                    event.value, event.style or "", event.start_mark.index + shift, event.end_mark.index + shift
                )
                if event.anchor or event.tag:
                    self._refuse_extras(event)
            elif sort is mapping_end or sort is sequence_end:
                node, key = stack.pop()
                node.end = event.end_mark.index + shift
                container = stack[-1][0] if stack else None
            elif sort is mapping_start or sort is sequence_start:
                if event.anchor or event.tag:
                    self._refuse_extras(event)
                start = event.start_mark.index + shift
                container = Mapping({}, start, start) if sort is mapping_start else Sequence([], start, start)
                stack.append((container, key))
                key = None
                if len(stack) > DEEPEST_NESTING:
                    self.found.append(too_deep(self.source, start))
                    return
                continue
            elif sort is alias_event:
                self._refuse_extras(event)
                node = Scalar("", _REFUSED, event.start_mark.index + shift, event.end_mark.index + shift)
                if type(container) is Sequence:
                    continue
            elif self._is_last(event):
                return
            else:
                continue
            if type(container) is Mapping:
                if key is None:
                    key = node if type(node) is Scalar else self._refuse_key(node)
                else:
                    self._enter(container, key, node, stack)
                    key = None
            elif type(container) is Sequence:
                container.items.append(node)
            else:
                self.root = node

    def _enter(
        self, mapping: Mapping, key: Scalar, node: Node, stack: list[tuple[Mapping | Sequence, Scalar | None]]
    ) -> None:
        entries, text = mapping.entries, key.text
        if key.style == _REFUSED or (type(node) is Scalar and node.style == _REFUSED):
            return
        if text in entries:
            first, _ = self.source.position(entries[text][0].start)
            message = f"`{text}` stands here a second time; the first one is in line {first}."
            self.say("duplicate-key", message, key.start, key.end, "keep one of the two, or rename one")
        elif text == "<<" and not key.style:
            advice = "write the values out, or use `like: ID` in a system document"
            self.say("merge-key", "Merging with `<<` is not known here.", key.start, key.end, advice)
        elif self.take is not None and len(stack) == 2 and (outer := stack[1][1]) and self.take(outer.text, key, node):
            entries[text] = (key, Sequence([], node.start, node.start))
        else:
            entries[text] = (key, node)

    def _refuse_key(self, node: Node) -> Scalar:
        advice = "put a text that holds { } or [ ] in quotes"
        self.say("key-not-a-word", "A list or a map stands here as a key.", node.start, node.end, advice)
        return Scalar("", _REFUSED, node.start, node.end)

    def _refuse_extras(self, event: Any) -> None:
        start, end = event.start_mark.index + self.shift, event.end_mark.index + self.shift
        if isinstance(event, yaml.AliasEvent):
            message = f"`*{event.anchor}` refers to another place; this is not known here."
            self.say("alias", message, start, end, "write the value out, or put a text that begins with * in quotes")
            return
        if event.anchor:
            message = f"`&{event.anchor}` names a place for reuse; this is not known here."
            self.say("anchor", message, start, end, "leave it out and write each value where it belongs")
        if event.tag:
            message = f"A value is marked with the tag `{event.tag}`; tags are not known here."
            self.say("tag", message, start, end, "leave the tag out, or put a text that begins with ! in quotes")

    def _is_last(self, event: Any) -> bool:
        """True at the end; says so where there is no document, an empty one, or a second one."""
        start = event.start_mark.index + self.shift
        if isinstance(event, yaml.StreamEndEvent):
            if not self.documents:
                self.found.append(Diagnostic("empty-file", "There is nothing in this file.", where=self.source.name))
            return True
        if not isinstance(event, yaml.DocumentStartEvent):
            return False
        self.documents += 1
        if self.documents > 1:
            message = "A second document begins here; one file holds one document."
            self.say("second-document", message, start, start + 3, "move it to a file of its own")
        return self.documents > 1


def _too_large(name: str) -> Diagnostic:
    message = f"The file is larger than {LARGEST_FILE // 1024**2} MB."
    return Diagnostic("file-too-large", message, where=name, advice="split it")


def _unreadable(name: str, code: str, message: str, advice: str) -> InputError:
    return InputError([Diagnostic(code, message, where=name, advice=advice)])


def _unreadable_characters(source: Source) -> list[Diagnostic]:
    found: list[Diagnostic] = []
    if source.text.replace("\n", "").isprintable():
        return found  # the usual case, which needs no search
    for match in re.finditer(_UNREADABLE, source.text):
        char, start = match.group(), match.start()
        if start == 0 and char == _BYTE_ORDER_MARK:
            continue
        message = f"An unprintable character stands here (U+{ord(char):04X})."
        found.append(Diagnostic("unprintable", message, source.span(start), advice="delete it and type the text anew"))
        if len(found) == _MOST_FOUND:
            break
    return found
