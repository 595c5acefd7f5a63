"""Reading YAML into texts with places: what is refused, where things stand, and that no input does harm."""

from __future__ import annotations

import random
import re
import time
import tracemalloc
from pathlib import Path

import pytest
import yaml
from hypothesis import given
from hypothesis import strategies as st

from limitrules.foundation import tree
from limitrules.foundation.diagnostics import InputError
from limitrules.foundation.source import Source
from limitrules.foundation.tree import Mapping, Node, Scalar, Sequence, place_in, read_source, read_tree


def said_of(text: str) -> str:
    with pytest.raises(InputError) as caught:
        read_tree(Source("f.yaml", text))
    return str(caught.value)


def plain(node: Node) -> object:
    """The tree as lists, maps and texts."""
    if isinstance(node, Mapping):
        return {key: plain(value) for key, (_, value) in node.entries.items()}
    return [plain(item) for item in node.items] if isinstance(node, Sequence) else node.text


def scalars(node: Node) -> list[Scalar]:
    if isinstance(node, Mapping):
        return [found for key, value in node.entries.values() for found in (key, *scalars(value))]
    return [found for item in node.items for found in scalars(item)] if isinstance(node, Sequence) else [node]


# What is read


def test_scalars_stay_text() -> None:
    node = read_tree(Source("f.yaml", "a: on\nb: 1:30\nc: 0012\nd: ~\ne: 1.50\nf: 'yes'\n"))
    assert plain(node) == {"a": "on", "b": "1:30", "c": "0012", "d": "~", "e": "1.50", "f": "yes"}


@pytest.mark.parametrize(("text", "null"), [("", 1), ("~", 1), ("null", 1), ("Null", 1), ("NULL", 1), ("''", 0),
                                            ('"~"', 0), ("'null'", 0), ("none", 0), ("0", 0)])  # fmt: skip
def test_nothing_is_told_from_a_quoted_text(text: str, null: int) -> None:
    node = read_tree(Source("f.yaml", f"a: {text}\n"))
    assert isinstance(node, Mapping)
    value = node.entries["a"][1]
    assert isinstance(value, Scalar)
    assert value.is_null is bool(null)


@pytest.mark.parametrize("break_", ["\n", "\r\n"])
@pytest.mark.parametrize("mark", ["", "\ufeff"])
def test_places_count_characters(break_: str, mark: str) -> None:
    text = mark + break_.join(["gerät: ü 96 A ± 1 %", "b\N{BATTERY}: [∑x, {c: d}]", ""])
    found = scalars(read_tree(Source("f.yaml", text)))
    assert [text[item.start : item.end] for item in found] == ["gerät", "ü 96 A ± 1 %", "b\N{BATTERY}", "∑x", "c", "d"]


def test_without_the_fast_parser_the_tree_is_the_same(monkeypatch: pytest.MonkeyPatch) -> None:
    source = Source("f.yaml", "\ufeffa: é\r\nb: {c: [1, 'd''e']}\nf: |\n  g\n")
    fast = read_tree(source)
    monkeypatch.delattr(yaml, "CSafeLoader")
    slow = read_tree(source)
    assert plain(slow) == plain(fast)
    assert [(s.text, s.start, s.end) for s in scalars(slow)] == [(s.text, s.start, s.end) for s in scalars(fast)]
    assert "[not-yaml]" in said_of("a: {b")


def test_containers_know_their_ends() -> None:
    node = read_tree(Source("f.yaml", "a: {b: [1, 2]}"))
    assert isinstance(node, Mapping)
    inner = node.entries["a"][1]
    assert (node.start, inner.start, inner.end) == (0, 3, 14)


def test_a_taken_node_is_not_kept() -> None:
    taken = []

    def take(outer: str, key: Scalar, node: Node) -> bool:
        taken.append((outer, key.text, plain(node)))
        return outer == "packs"

    node = read_tree(Source("f.yaml", "packs: {a: {b: c}, d: e}\nsite: {f: g}\n"), take)
    assert taken == [("packs", "a", {"b": "c"}), ("packs", "d", "e"), ("site", "f", "g")]
    assert plain(node) == {"packs": {"a": [], "d": []}, "site": {"f": "g"}}


def outcome(text: str) -> Node | InputError:
    try:
        return read_tree(Source("f.yaml", text))
    except InputError as error:
        return error


def test_every_beginning_of_a_document_is_read_or_refused() -> None:
    text = "limitrules: system/1\na: {b: [1, \"x\\ty\", 'it''s'], c: |\n  d\n  e\n  }\n? f\n: - g\n  - &h !i j\n"
    for end in range(len(text)):
        found = outcome(text[:end])
        assert not isinstance(found, InputError) or str(found).startswith("f.yaml")


@given(st.text(alphabet=st.sampled_from("ab:{}[],-?!&*#|>'\"%@` \n\t\r~<\\x0u2028\u2028é"), max_size=40))
def test_any_text_is_read_or_refused(text: str) -> None:
    found = outcome(text)
    if isinstance(found, InputError):
        assert found.diagnostics
        assert str(found).startswith("f.yaml")
    else:
        assert plain(found) == yaml.load(text, Loader=yaml.CBaseLoader)  # noqa: S506


# What is refused

REFUSED = {
    "": "f.yaml: There is nothing in this file. [empty-file]",
    "a: 1\nb:\n  a: 2\na: 3\n": """\
f.yaml:4:1: `a` stands here a second time; the first one is in line 1. [duplicate-key]
     4 | a: 3
       | ^
  try: keep one of the two, or rename one""",
    "<<: {a: 1}": """\
f.yaml:1:1: Merging with `<<` is not known here. [merge-key]
     1 | <<: {a: 1}
       | ^^
  try: write the values out, or use `like: ID` in a system document""",
    "? [a]\n: b": """\
f.yaml:1:3: A list or a map stands here as a key. [key-not-a-word]
     1 | ? [a]
       |   ^^^
  try: put a text that holds { } or [ ] in quotes""",
    "a: &b c\nd: [*b, *b]\n*b : e": """\
f.yaml:1:4: `&b` names a place for reuse; this is not known here. [anchor]
     1 | a: &b c
       |    ^^^^
  try: leave it out and write each value where it belongs
f.yaml:2:5: `*b` refers to another place; this is not known here. [alias]
     2 | d: [*b, *b]
       |     ^^
  try: write the value out, or put a text that begins with * in quotes
f.yaml:2:9: `*b` refers to another place; this is not known here. [alias]
     2 | d: [*b, *b]
       |         ^^
  try: write the value out, or put a text that begins with * in quotes
f.yaml:3:1: `*b` refers to another place; this is not known here. [alias]
     3 | *b : e
       | ^^
  try: write the value out, or put a text that begins with * in quotes""",
    "a: !!python/object:os.system x\n": """\
f.yaml:1:4: A value is marked with the tag `tag:yaml.org,2002:python/object:os.system`; tags are not known here. [tag]
     1 | a: !!python/object:os.system x
       |    ^^^^^^^^^^^^^^^^^^^^^^^^^^^
  try: leave the tag out, or put a text that begins with ! in quotes""",
    "a: 1\n---\nb: 1\n---\nc: 1\n": """\
f.yaml:2:1: A second document begins here; one file holds one document. [second-document]
     2 | ---
       | ^^^
  try: move it to a file of its own""",
    "a:\n\tb: 1": """\
f.yaml:2:1: A tab stands where blanks are needed. [not-yaml]
     2 |  b: 1
       | ^
  try: indent with blanks only""",
    "a: b\x00c\ud800\u202e\n": """\
f.yaml:1:5: An unprintable character stands here (U+0000). [unprintable]
     1 | a: b\N{REPLACEMENT CHARACTER}c\N{REPLACEMENT CHARACTER}\N{REPLACEMENT CHARACTER}
       |     ^
  try: delete it and type the text anew
f.yaml:1:7: An unprintable character stands here (U+D800). [unprintable]
     1 | a: b\N{REPLACEMENT CHARACTER}c\N{REPLACEMENT CHARACTER}\N{REPLACEMENT CHARACTER}
       |       ^
  try: delete it and type the text anew
f.yaml:1:8: An unprintable character stands here (U+202E). [unprintable]
     1 | a: b\N{REPLACEMENT CHARACTER}c\N{REPLACEMENT CHARACTER}\N{REPLACEMENT CHARACTER}
       |        ^
  try: delete it and type the text anew""",
    "a: b: c": """\
f.yaml:1:5: A second colon stands in this line, or the line is indented wrongly. [not-yaml]
     1 | a: b: c
       |     ^
  try: put a text that holds a colon in quotes, or put the key on a line of its own""",
    "a: 1\nb\n": """\
f.yaml:2:1: A key stands here without its colon. [not-yaml]
     2 | b
       | ^
  try: write a colon and a blank after the key; check that every quote is closed""",
    "a: {b: 1": """\
f.yaml:1:8: A map in braces is not continued or closed as it should be. [not-yaml]
     1 | a: {b: 1
       |        ^
  try: separate its entries with commas and close it with }""",
    "a: [1, 2\nb: 3\n": """\
f.yaml:2:2: A list in brackets is not continued or closed as it should be. [not-yaml]
     2 | b: 3
       |  ^
  try: separate its items with commas and close it with ]""",
    "a:\n  b: 1\n   c: 2\n": """\
f.yaml:3:5: A second colon stands in this line, or the line is indented wrongly. [not-yaml]
     3 |    c: 2
       |     ^
  try: put a text that holds a colon in quotes, or put the key on a line of its own""",
    "a: 'b' c": """\
f.yaml:1:8: This line does not fit the lines above it. [not-yaml]
     1 | a: 'b' c
       |        ^
  try: check the indentation: entries of one map begin in the same column""",
    "a:\n- b\n c: d": """\
f.yaml:3:3: A second colon stands in this line, or the line is indented wrongly. [not-yaml]
     3 |  c: d
       |   ^
  try: put a text that holds a colon in quotes, or put the key on a line of its own""",
    "a: - b": """\
f.yaml:1:4: A list item cannot begin here. [not-yaml]
     1 | a: - b
       |    ^
  try: put each `- item` on a line of its own""",
    "a: 'b\nc: d\n": """\
f.yaml:1:4: A quoted text begins here and is never closed. [not-yaml]
     1 | a: 'b
       |    ^
  try: add the closing quote""",
    'a: "\\q"': """\
f.yaml:1:5: This backslash does not begin anything that is known. [not-yaml]
     1 | a: "\\q"
       |     ^
  try: use single quotes, or write the backslash twice""",
    "a: %b": """\
f.yaml:1:4: A value cannot begin with `%`. [not-yaml]
     1 | a: %b
       |    ^
  try: put the text in quotes""",
    "a: * b": """\
f.yaml:1:4: A text cannot begin with * or &. [not-yaml]
     1 | a: * b
       |    ^
  try: put it in quotes""",
    "a: 1\n...\nb: 2\n": """\
f.yaml:3:1: The text goes on where the document has ended. [not-yaml]
     3 | b: 2
       | ^
  try: write the whole file as one map of `key: value` lines, or check the indentation""",
    "a: ]": """\
f.yaml:1:4: A value is missing or cannot begin with this character. [not-yaml]
     1 | a: ]
       |    ^
  try: put a text that begins with a special character in quotes""",
    "[" * 41: """\
f.yaml:1:41: Values are nested more than 40 deep here. [nested-too-deep]
     1 | [[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[
       |                                         ^
  try: write it with fewer levels""",
}


@pytest.mark.parametrize("text", REFUSED, ids=[repr(text)[:30] for text in REFUSED])
def test_what_is_said(text: str) -> None:
    assert said_of(text) == REFUSED[text]


def test_forty_levels_are_read() -> None:
    read_tree(Source("f.yaml", "[" * 40 + "]" * 40))


# Input that would do harm


@pytest.mark.parametrize("unit", ["[", "{a: ", "- ", "? "])
def test_endless_nesting_is_left_at_once(unit: str) -> None:
    text = unit * (5_000_000 // len(unit))
    begun = time.process_time()
    assert "[nested-too-deep]" in said_of(text)
    assert time.process_time() - begun < 2


def test_a_hundred_megabytes_are_not_looked_into() -> None:
    text = "[" * 100_000_000
    tracemalloc.start()
    try:
        said = said_of(text)
        _, peak = tracemalloc.get_traced_memory()
    finally:
        tracemalloc.stop()
    assert said == "f.yaml: The file is larger than 64 MB. [file-too-large]\n  try: split it"
    assert peak < 1_000_000


def test_an_exploding_document_stays_small() -> None:
    lines = ["a0: &a0 [x, x, x, x, x, x, x, x, x, x]"]
    lines += [f"a{n}: &a{n} [{', '.join([f'*a{n - 1}'] * 10)}]" for n in range(1, 100)]
    with pytest.raises(InputError) as caught:
        read_tree(Source("f.yaml", "\n".join(lines)))
    assert len(caught.value.diagnostics) == 200
    assert {item.code for item in caught.value.diagnostics} == {"alias", "anchor"}


# Files


def test_a_file_is_read_without_its_byte_order_mark(tmp_path: Path) -> None:
    file = tmp_path / "s.yaml"
    file.write_bytes(b"\xef\xbb\xbfa: \xc2\xb1\r\n")
    assert read_source(file).text == "a: ±\r\n"
    assert read_source(str(file)).name == str(file)


def said_of_file(path: Path) -> str:
    with pytest.raises(InputError) as caught:
        read_source(path)
    return str(caught.value).replace(str(path), "s.yaml")


def test_files_that_cannot_be_read(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    assert said_of_file(tmp_path / "none.yaml").splitlines() == [
        "s.yaml: There is no such file. [no-such-file]",
        "  try: check the path",
    ]
    assert said_of_file(tmp_path).splitlines() == [
        "s.yaml: This is a folder, not a file. [is-a-folder]",
        "  try: name a file inside it",
    ]
    file = tmp_path / "s.yaml"
    file.write_text("a: 1")
    assert said_of_file(file / "below").startswith("s.yaml: The file cannot be read: Not a directory. [cannot-read]")
    assert said_of_file(Path("\0")).startswith("s.yaml: The file cannot be read: the path cannot be used.")

    def closed(*_: object) -> None:
        raise PermissionError

    monkeypatch.setattr(Path, "open", closed)
    assert said_of_file(file).splitlines() == [
        "s.yaml: The file may not be read. [no-permission]",
        "  try: check its permissions",
    ]


def test_files_in_another_encoding(tmp_path: Path) -> None:
    file = tmp_path / "s.yaml"
    file.write_bytes(b"name: x\nvalue: 96 A \xb1 1 %\n")
    assert said_of_file(file).splitlines() == [
        "s.yaml: The file is not in UTF-8: byte 21, in line 2, has the value 0xb1. [not-utf-8]",
        "  try: save it as UTF-8",
    ]
    file.write_bytes("name: x\n".encode("utf-16"))
    assert said_of_file(file).splitlines() == [
        "s.yaml: The file is in UTF-16, not in UTF-8. [not-utf-8]",
        "  try: save it as UTF-8",
    ]


def test_a_file_that_is_too_large(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(tree, "LARGEST_FILE", 1024 * 1024)
    file = tmp_path / "s.yaml"
    file.write_bytes(b"#" * (1024 * 1024 + 1))
    assert said_of_file(file) == "s.yaml: The file is larger than 1 MB. [file-too-large]\n  try: split it"


# Places inside a scalar


def whole(text: str) -> tuple[Source, Scalar]:
    source = Source("f.yaml", text)
    node = read_tree(source)
    assert isinstance(node, Mapping)
    value = node.entries["a"][1]
    assert isinstance(value, Scalar)
    return source, value


@pytest.mark.parametrize(
    "text",
    [
        "a: one p.charge two",
        "a: 'it''s one p.charge two'",
        'a: "\\u00e9\\t one\\x20 \\"p.charge\\" two"',
        "a: one\n   p.charge\n\n   two\n",
        "a: 'one\n\n  p.charge two'\n",
        'a: "one \\\n   p.charge\n   two"\n',
        "a: |\n  one\n    p.charge\n\n  two\n",
        "a: >-  # remark p.charge\n  one\n\n  p.charge\n  two\n",
        "a: |2+\n   one p.charge two\n\n\n",
    ],
)
def test_a_word_is_found_where_it_stands(text: str) -> None:
    source, value = whole(text)
    place = place_in(source, value)
    for word in ("one", "p.charge", "two"):
        start = value.text.index(word)
        span = place(start, start + len(word))
        assert span.text == word
        assert span.start > 2
    last = place(len(value.text), len(value.text))
    assert last.end == last.start + 1


def test_an_escape_is_marked_as_a_whole() -> None:
    source, value = whole('a: "x\\u00e9\\U0001F50By\\n"')
    place = place_in(source, value)
    assert [place(at, at + 1).text for at in range(len(value.text))] == ["x", "\\u00e9", "\\U0001F50B", "y", "\\n"]
    source, value = whole("a: 'it''s'")
    assert place_in(source, value)(2, 4).text == "''s"


WORDS = st.lists(st.text(alphabet="abcé±0'\"\\#:", min_size=1, max_size=8), min_size=1, max_size=12)


@given(WORDS, st.sampled_from(["'", '"', "|", ">"]), st.integers(min_value=4, max_value=60))
def test_every_word_is_found_in_every_style(words: list[str], style: str, width: int) -> None:
    document = yaml.dump({"a": " ".join(words)}, default_style=style, width=width, allow_unicode=True)
    source, value = whole(re.sub(r"^(['\"]a['\"]|\? [|>]-\n +a\n): ?", "a: ", document))
    place = place_in(source, value)
    at = 0
    for word in words:
        start = value.text.index(word, at)
        at = start + len(word)
        raw = place(start, at).text
        if style == "'":
            raw = raw.replace("''", "'")
        elif style == '"':
            raw = raw.replace("\\\n", "").replace('\\"', '"').replace("\\\\", "\\")
        assert raw.replace("\n", "").replace(" ", "") == word


def test_a_shuffled_document_has_its_places() -> None:
    chance = random.Random(7)
    for _ in range(50):
        texts = [f"k{n}: {chance.choice(['é', 'a b', '[x, y]', '{z: w}', '96 A ± 1 %'])}" for n in range(20)]
        text = chance.choice(["\n", "\r\n"]).join(texts)
        for item in scalars(read_tree(Source("f.yaml", text))):
            assert text[item.start : item.end] == item.text
