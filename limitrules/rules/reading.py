"""Reading one rule out of a rulepack document."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from typing import TypeVar

import attrs
from attrs import frozen

from limitrules.foundation import tree
from limitrules.foundation.diagnostics import Diagnostic, InputError, listing, nearest
from limitrules.foundation.kinds import Component, Components, Curve, Group, Kind, Truth, Type
from limitrules.foundation.source import Source
from limitrules.foundation.units import Unit
from limitrules.language import nodes
from limitrules.language.checker import Checked, Scope, check
from limitrules.language.functions import Registry
from limitrules.language.parser import parse_clause
from limitrules.model.reading import Reading
from limitrules.rules.draft import no_tree
from limitrules.rules.findings import Consequence
from limitrules.rules.passage import Passage
from limitrules.rules.rule import About, Definition, Parameter, Rule, Sentence, Subject

RULE_KEYS = ("title", "consequence", "about", "when", "let", "require", "because", "remedy", "caution", "basis",
             "evidence")  # fmt: skip
_REQUIRED = ("title", "consequence", "about", "require", "because")
_EACH = re.compile(r"each\s+(?P<kind>[a-z][a-z ]*?)\s+(?P<name>[A-Za-z_]\w*)(\s+in\s+(?P<collection>.+))?\Z", re.S)
_PAIR = re.compile(
    r"each\s+pair\s+(?P<one>[A-Za-z_]\w*)\s*,\s*(?P<other>[A-Za-z_]\w*)\s+in\s+(?P<collection>.+)\Z", re.DOTALL
)
_THE = re.compile(r"the\s+(?P<kind>[a-z]+)\Z")
# What walks a rule goes into its definitions too.
DEEPEST = 100
_NAME = re.compile(r"[A-Za-z_]\w*\Z")
_ID = re.compile(r"[a-z][a-z0-9]*(-[a-z0-9]+)*\Z")
_Found = TypeVar("_Found")


@frozen(eq=False, repr=False)
class Bench:
    """What is needed to read the rules of a rulepack."""

    reading: Reading
    source: Source
    rulepack: str
    kinds: Mapping[str, Kind]
    parameters: Mapping[str, Parameter]
    functions: Registry
    broken: frozenset[str] = frozenset()
    trees: Callable[[str], nodes.Node | None] = no_tree  # of clauses whose tree is known already

    def scope(self) -> Scope:
        names: dict[str, Type] = {name: item.value.type for name, item in self.parameters.items()}
        units: dict[str, Unit] = {}
        for name, item in self.parameters.items():
            unit = item.value.units.get(item.value.clause.node)
            if unit is not None:
                units[name] = unit
        bare = frozenset(name for name, item in self.parameters.items() if _is_bare(item.value.clause.node))
        return Scope(self.kinds, names, self.functions, units, self.broken - names.keys(), bare)

    def tried(self, read: Callable[[], _Found]) -> _Found | None:
        """The result, or None with the mistakes noted, so that reading goes on to the next one."""
        try:
            return read()
        except InputError as error:
            self.reading.found.extend(error.diagnostics)
            return None

    def clause(self, node: tree.Node, scope: Scope, expected: type | None = None) -> Checked | None:
        text = self.reading.text(node, "a clause")
        if text is None or not isinstance(node, tree.Scalar):
            return None
        return self.checked(text, Passage(self.source, node), scope, expected)

    def checked(self, text: str, place: Passage, scope: Scope, expected: type | None = None) -> Checked | None:
        """The checked clause, or None with its mistakes noted."""
        known = self.trees(text)

        def read() -> Checked:
            clause = parse_clause(text, place) if known is None else nodes.Clause(text, known, place)
            return check(clause, scope, expected)

        return self.tried(read)


def _is_bare(node: nodes.Node) -> bool:
    return isinstance(node, nodes.Literal) and node.unit.symbol == "1"


def read_parameter(bench: Bench, key: tree.Scalar, node: tree.Node) -> Parameter | None:
    """``name: {value: 25 %, local: true, meaning: ...}``; the value is a literal."""
    reading = bench.reading
    mapping = reading.mapping(node, "a map with `value`, `local` and `meaning`")
    if mapping is None:
        return None
    for name, (word, _) in mapping.entries.items():
        if name not in ("value", "local", "meaning"):
            reading.unknown_key(word, ("value", "local", "meaning"), "a parameter")
    missing = [name for name in ("value", "meaning") if name not in mapping.entries]
    if missing:
        reading.say("missing-key", f"The parameter `{key.text}` has no `{missing[0]}`.", key)
        return None
    if not _NAME.match(key.text) or Scope(bench.kinds).is_taken(key.text):
        reading.say("name-taken", f"`{key.text}` cannot be the name of a parameter.", key,
                    expected="a new name of letters, digits and _")  # fmt: skip
        return None
    value = read_figure(bench, key.text, mapping.entries["value"][1])
    local = mapping.entries.get("local")
    is_local = _answer(bench, local[1]) if local is not None else False
    meaning = reading.text(mapping.entries["meaning"][1], "a sentence") or ""
    return Parameter(key.text, value, is_local, meaning, reading.span(key)) if value is not None else None


def read_figure(bench: Bench, name: str, node: tree.Node) -> Checked | None:
    """The value of a parameter: a literal."""
    value = bench.clause(node, Scope(bench.kinds))
    if value is None:
        return None
    found = value.clause.node
    if isinstance(found, nodes.Negative):
        found = found.value
    if isinstance(found, nodes.Literal | nodes.YesNo):
        return value
    bench.reading.say("not-a-literal", f"The parameter `{name}` is computed.", node,
                      expected="a figure with its unit, `25 %` or `3 A`, or yes or no")  # fmt: skip
    return None


def _answer(bench: Bench, node: tree.Node) -> bool:
    text = bench.reading.text(node, "yes or no")
    if text is not None and text not in ("yes", "no", "true", "false"):
        bench.reading.say("not-an-answer", f"`{text}` is neither yes nor no.", node, expected="yes or no")
    return text in ("yes", "true")


def read_rule(bench: Bench, scope: Scope, key: tree.Scalar, node: tree.Node) -> Rule | None:
    """One rule, with the scope of its rulepack; None where a mistake was noted that keeps it from being used."""
    reading = bench.reading
    before = len(reading.found)
    entries = _entries(bench, key, node)
    if entries is None:
        return None
    consequence = _consequence(bench, entries["consequence"])
    about = _about(bench, entries["about"], scope)
    if about is None:
        return None
    subjects = {subject.name: Component(subject.kind) for subject in about.subjects}
    scope = scope.binding(**subjects)
    definitions, scope = _definitions(bench, entries.get("let"), scope)
    when = bench.clause(entries["when"], scope, Truth) if "when" in entries else None
    require = bench.clause(entries["require"], scope, Truth)
    because = _sentence(bench, entries["because"], scope)
    if len(reading.found) > before or require is None or because is None or consequence is None:
        return None
    return Rule(
        bench.rulepack, key.text, _line(bench, entries["title"]), consequence, about, when, definitions, require,
        because, bench.parameters, _lines(bench, entries.get("remedy")), _line(bench, entries.get("caution")),
        _lines(bench, entries.get("basis")), _line(bench, entries.get("evidence")), bench.functions, reading.span(key),
    )  # fmt: skip


def _entries(bench: Bench, key: tree.Scalar, node: tree.Node) -> dict[str, tree.Node] | None:
    reading = bench.reading
    if not _ID.match(key.text):
        reading.say("rule-id", f"`{key.text}` cannot be the id of a rule.", key,
                    expected="small letters, digits and hyphens: `cut-off-above-trip`")  # fmt: skip
    mapping = reading.mapping(node, "a map with `title`, `about`, `require` and more")
    if mapping is None:
        return None
    for name, (word, _) in mapping.entries.items():
        if name not in RULE_KEYS:
            reading.unknown_key(word, RULE_KEYS, "a rule")
    missing = [name for name in _REQUIRED if name not in mapping.entries]
    if missing:
        reading.say("missing-key", f"The rule `{key.text}` has no {listing([f'`{name}`' for name in missing])}.", key)
        return None
    return {name: value for name, (_, value) in mapping.entries.items()}


def _consequence(bench: Bench, node: tree.Node) -> Consequence | None:
    words = [item.value for item in Consequence]
    text = bench.reading.text(node, "a consequence")
    if text in words:
        return Consequence(text)
    if text is not None:
        near = nearest(text, words)
        bench.reading.say("unknown-consequence", f"`{text}` is not a consequence.", node, expected=listing(words),
                          advice=f"`{near}`" if near else "")  # fmt: skip
    return None


def _about(bench: Bench, node: tree.Node, scope: Scope) -> About | None:
    text = bench.reading.text(node, "the subjects of the rule")
    if text is None or not isinstance(node, tree.Scalar):
        return None
    place = Passage(bench.source, node)
    pair = _PAIR.match(text)
    if pair:
        found = _collection(bench, pair, text, place, scope)
        names = (pair["one"], pair["other"])
        taken = [pair.span(group) for group in ("one", "other") if scope.is_taken(pair[group])]
        if pair["one"] == pair["other"]:
            taken.append(pair.span("other"))
        for start, end in taken:
            bench.reading.found.append(
                Diagnostic("name-taken", f"`{text[start:end]}` has a meaning already", place(start, end), "a new name")
            )
        if found is None or taken:
            return None
        assert isinstance(found.type, Components)
        return About(text, tuple(Subject(name, found.type.kind, found) for name in names), pair=True)
    the = _THE.match(text)
    if the and the["kind"] in bench.kinds and bench.kinds[the["kind"]].single:
        return About(text, ())
    subjects: list[Subject] = []
    offset = 0
    for part in re.split(r",\s*(?=each\b)", text):
        start = text.index(part, offset)
        offset = start + len(part)
        subject = _subject(bench, part.strip(), start, place, scope)
        if subject is None:
            return None
        subjects.append(subject)
        scope = scope.binding(**{subject.name: Component(subject.kind)})
    return About(text, tuple(subjects))


def _subject(bench: Bench, part: str, start: int, place: Passage, scope: Scope) -> Subject | None:
    match = _EACH.match(part)
    singles = [f"the {kind.name}" for kind in bench.kinds.values() if kind.single]
    if match is None:
        bench.reading.found.append(
            Diagnostic("subjects", f"`{part}` does not name subjects", place(start, start + len(part)),
                       "`each pack p`, `each converter c, each pack p in c.feeds`, `each pair p, q in packs` or "
                       + listing([f"`{name}`" for name in singles])))  # fmt: skip
        return None
    kind = match["kind"]
    if kind == "pair":
        at = place(start, start + len(part))
        message = f"`{part}` names one of a pair"
        bench.reading.found.append(Diagnostic("subjects", message, at, "`each pair p, q in packs`"))
        return None
    if kind not in bench.kinds:
        near = nearest(kind, bench.kinds)
        bench.reading.found.append(
            Diagnostic("unknown-kind", f"`{kind}` is not a kind of component", place(start, start + len(part)),
                       listing(list(bench.kinds), 14), f"`{near}`" if near else ""))  # fmt: skip
        return None
    if scope.is_taken(match["name"]):
        bench.reading.found.append(Diagnostic("name-taken", f"`{match['name']}` has a meaning already",
                                              place(start, start + len(part)), "a new name"))  # fmt: skip
        return None
    if match["collection"] is None:
        return Subject(match["name"], kind)
    shifted = place.after(start)
    found = _collection(bench, match, part, shifted, scope)
    if found is None:
        return None
    assert isinstance(found.type, Components)
    if found.type.kind != kind:
        at = shifted(match.start("collection"), match.end("collection"))
        holds = bench.kinds[found.type.kind].plural
        bench.reading.found.append(
            Diagnostic("kind-clash", f"`{match['collection']}` holds {holds}", at, f"a collection of kind {kind}")
        )
        return None
    return Subject(match["name"], kind, found)


def _collection(bench: Bench, match: re.Match[str], text: str, place: Passage, scope: Scope) -> Checked | None:
    start, end = match.span("collection")
    found = bench.checked(text[start:end], place.after(start), scope)
    if found is not None and not isinstance(found.type, Components):
        bench.reading.found.append(
            Diagnostic("not-a-collection", f"`{text[start:end]}` is {found.type}", place(start, end),
                       "a collection such as `packs` or `c.feeds`"))  # fmt: skip
        return None
    return found


def _definitions(bench: Bench, node: tree.Node | None, scope: Scope) -> tuple[tuple[Definition, ...], Scope]:
    found: list[Definition] = []
    depths: dict[str, int] = {}
    mapping = bench.reading.mapping(node, "a map of names and expressions") if node is not None else None
    if mapping is None:
        return (), scope
    for name, (key, value) in mapping.entries.items():
        if not _NAME.match(name) or scope.is_taken(name):
            bench.reading.say("name-taken", f"`{name}` cannot be defined here.", key,
                              expected="a new name of letters, digits and _")  # fmt: skip
            continue
        checked = bench.clause(value, scope)
        if checked is None:
            # Later clauses that use the name would only repeat this mistake.
            scope = attrs.evolve(scope, broken=scope.broken | {name})
            continue
        depths[name] = _depth(checked.clause.node, depths)
        if depths[name] > DEEPEST:
            message = f"`{name}` rests on too many definitions one upon the other."
            bench.reading.say("definitions-too-deep", message, key, expected=f"at most {DEEPEST} phrases in a row")
            return (), attrs.evolve(scope, broken=scope.broken | mapping.entries.keys())
        found.append(Definition(name, checked))
        scope = scope.defining(name, checked.type, checked.units.get(checked.clause.node))
    return tuple(found), scope


def _depth(node: nodes.Node, known: Mapping[str, int]) -> int:
    """How many phrases stand within each other, those of earlier definitions included."""
    used, deepest, level = 0, 0, [node]
    while level:
        deepest += 1
        used = max([used, *(known.get(item.name, 0) for item in level if isinstance(item, nodes.Name))])
        level = [child for item in level for child in item.children()]
    return deepest + used


def _sentence(bench: Bench, node: tree.Node, scope: Scope) -> Sentence | None:
    text = bench.reading.text(node, "a sentence")
    if text is None or not isinstance(node, tree.Scalar):
        return None
    place = Passage(bench.source, node)
    pieces: list[str | Checked] = []
    last = 0
    for match in re.finditer(r"\{([^{}]*)\}", text):
        pieces.append(text[last : match.start()])
        last = match.end()
        inner, shifted = match[1], place.after(match.start(1))
        checked = bench.checked(inner, shifted, scope)
        if checked is not None and isinstance(checked.type, Components | Curve | Group):
            bench.reading.found.append(
                Diagnostic("not-a-value", f"`{inner.strip()}` is {checked.type}, not a single value",
                           shifted(0, len(inner)), "a figure, or a subject of the rule"))  # fmt: skip
        elif checked is not None:
            pieces.append(checked)
    rest = text[last:]
    for brace in "{}":
        if brace in rest:
            at = last + rest.index(brace)
            bench.reading.found.append(Diagnostic("lone-brace", f"a lone `{brace}` in the sentence",
                                                  place(at, at + 1), "`{expression}`"))  # fmt: skip
            return None
    return Sentence(lambda: (*pieces, rest))


def _line(bench: Bench, node: tree.Node | None) -> str:
    return " ".join((bench.reading.text(node, "a text") or "").split()) if node is not None else ""


def _lines(bench: Bench, node: tree.Node | None) -> tuple[str, ...]:
    if node is None:
        return ()
    if isinstance(node, tree.Sequence):
        return tuple(_line(bench, item) for item in node.items)
    return (_line(bench, node),)
