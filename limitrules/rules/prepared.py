"""Rulepacks checked beforehand: the rules of a shipped rulepack as data, so that its text need not be checked again.

The data name what they were made from and carry a seal over themselves. Data of another text, made by other code, or
damaged, are not used: the rulepack is then read from its text.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any, ClassVar

from attrs import frozen

from limitrules.foundation.source import Source, Span
from limitrules.foundation.tree import Scalar
from limitrules.language import nodes as n
from limitrules.language.checker import Checked
from limitrules.language.functions import Registry
from limitrules.language.prepared import Legend, Row, checked_of, legend_of, row_of, source_mark, tree_of
from limitrules.model.vocabulary import Vocabulary
from limitrules.physics import FUNCTIONS
from limitrules.rules.draft import Draft, Override, content_of, parse_draft
from limitrules.rules.findings import Consequence
from limitrules.rules.passage import Passage
from limitrules.rules.rule import About, Definition, Parameter, Rule, Rulepack, Sentence, Subject

FOLDER = Path(__file__).parent / "checked"
FORMAT = "checked/1"
# What decides, beside the check language, how the text of a rulepack is read.
_DECIDING = (
    "model/vocabularies/storage.yaml", "rules/checking.py", "rules/draft.py", "rules/passage.py", "rules/prepared.py",
    "rules/reading.py", "rules/rule.py",
)  # fmt: skip


@frozen(eq=False, repr=False)
class Ready:
    """A rulepack document whose rules were checked beforehand. It sets nothing for other rulepacks."""

    overrides: ClassVar[tuple[Override, ...]] = ()
    source: Source
    folder: str
    data: Mapping[str, Any]
    legend: Legend

    @property
    def name(self) -> str:
        found: str = self.data["name"]
        return found

    def opened(self) -> Draft:
        """The same document, to be checked from its text; the trees of its clauses are known already."""
        rows = dict(self.data["clauses"])

        def known(text: str) -> n.Node | None:
            row = rows.get(text)
            return None if row is None else tree_of(row, self.legend)

        return parse_draft(self.source, self.folder, known)

    def rulepack(self, vocabulary: Vocabulary, functions: Registry) -> Rulepack:
        """The rulepack, as checking its text would give it."""
        data = self.data
        parameters = {row[0]: self._parameter(*row) for row in data["parameters"]}
        rules = {row[0]: self._rule(parameters, functions, *row) for row in data["rules"]}
        return Rulepack(data["name"], data["version"], data["title"], data["meaning"], vocabulary, parameters, rules,
                        self.folder, content_of(self.source))  # fmt: skip

    def _parameter(self, name: str, value: Row, local: bool, meaning: str, span: list[int]) -> Parameter:
        return Parameter(name, self._checked(value), local, meaning, Span(self.source, *span))

    def _rule(
        self, parameters: Mapping[str, Parameter], functions: Registry, name: str, title: str, consequence: str,
        about: Row, when: Row | None, definitions: list[Row], require: Row, because: Row, remedies: list[str],
        caution: str, basis: list[str], evidence: str, span: list[int],
    ) -> Rule:  # fmt: skip
        return Rule(
            self.data["name"], name, title, Consequence(consequence), self._about(*about),
            self._checked(when) if when is not None else None,
            tuple([Definition(word, self._checked(value)) for word, value in definitions]), self._checked(require),
            self._sentence(*because), parameters, tuple(remedies), caution, tuple(basis), evidence, functions,
            Span(self.source, *span),
        )  # fmt: skip

    def _about(self, text: str, subjects: list[Row], pair: bool) -> About:
        found = [Subject(name, kind, over and self._checked(over)) for name, kind, over in subjects]
        if pair:  # both come out of one collection
            found[1] = Subject(found[1].name, found[1].kind, found[0].collection)
        return About(text, tuple(found), pair)

    def _sentence(self, scalar: Row | None, pieces: list[str | list[int]]) -> Sentence:
        def read() -> tuple[str | Checked, ...]:
            place = Passage(self.source, Scalar(*scalar)) if scalar is not None else None
            return tuple([item if isinstance(item, str) else self._piece(place, *item) for item in pieces])

        return Sentence(read)

    def _piece(self, place: Passage | None, number: int, shift: int) -> Checked:
        assert place is not None
        text, row = self.data["clauses"][number]
        return checked_of(row, self.legend, text, place.after(shift))

    def _checked(self, found: Row) -> Checked:
        number, shift, whole, *rest = found
        text, row = self.data["clauses"][number]
        scalar = Scalar(text if whole is None else whole, *rest)
        return checked_of(row, self.legend, text, Passage(self.source, scalar, shift))


def prepared(source: Source, folder: str) -> Ready | None:
    """A rulepack document as it was checked beforehand; None where it was not, or not as it would be today."""
    try:
        head_text, _, body = (FOLDER / f"{Path(folder).name}.json").read_text(encoding="utf-8").partition("\n")
        head = json.loads(f"{head_text.removesuffix(',')}}}")
        made_from = _made_from(source.text)
        if (head["limitrules"], head["made_from"], head["seal"]) != (FORMAT, made_from, _seal(made_from, body)):
            return None
        data = json.loads(f"{{{body}")
    except (OSError, ValueError, LookupError, TypeError):
        return None
    if any(_signature(name) != signature for name, signature in data["functions"].items()):
        return None
    return Ready(source, folder, data, legend_of(data["legend"]))


def _made_from(text: str) -> str:
    return hashlib.sha256(source_mark(_DECIDING) + text.encode()).hexdigest()


def _seal(made_from: str, body: str) -> str:
    return hashlib.sha256(f"{made_from}{body}".encode()).hexdigest()


def _signature(name: str) -> str:
    """What a clause that calls a function is checked against; empty where there is no such function."""
    if name not in FUNCTIONS:
        return ""
    function = FUNCTIONS[name]
    types = [item.type for item in function.arguments if item.type is not None]
    arguments = [f"{item.name}: {item.type or 'any'}" for item in function.arguments]
    result = function.result(tuple(types)) if len(types) == len(arguments) else "as the arguments"
    return f"{name}({', '.join(arguments)}{', ...' if function.variadic else ''}): {result}"


# ---------------------------------------------------------------- to data


def prepared_file(rulepack: Rulepack) -> Path:
    """Where the data of a rulepack stand."""
    return FOLDER / f"{rulepack.name}.json"


def rulepack_text(rulepack: Rulepack, text: str) -> str:
    """The data of a rulepack that was checked from a text: one line a clause or rule, so that a change shows."""
    writer = _Writer()
    parameters = [writer.parameter(item) for item in rulepack.parameters.values()]
    rules = [writer.rule(item) for item in rulepack.rules.values()]
    made_from = _made_from(text)
    words = {name: getattr(rulepack, name) for name in ("name", "version", "title", "meaning")}
    parts = {
        "functions": {name: _signature(name) for name in sorted(writer.functions)},
        "legend": writer.legend.data(),
        "parameters": parameters,
        "clauses": writer.clauses,
        "rules": rules,
    }
    told = [f"{_json(name)}:{_listed(value)}" for name, value in {**words, **parts}.items()]
    body = ",\n".join(told) + "}\n"
    head = {"limitrules": FORMAT, "made_from": made_from, "seal": _seal(made_from, body)}
    return f"{_json(head)[:-1]},\n{body}"


def _listed(value: Any) -> str:
    if not isinstance(value, list):
        return _json(value)
    lines = ",\n".join(map(_json, value))
    return f"[\n{lines}\n]"


def _json(data: object) -> str:
    return json.dumps(data, ensure_ascii=False, separators=(",", ":"))


class _Writer:
    """Turns rules into rows; equal clauses are written once."""

    def __init__(self) -> None:
        self.legend = Legend()
        self.clauses: list[Row] = []
        self.functions: set[str] = set()

    def parameter(self, item: Parameter) -> Row:
        return [item.name, self.checked(item.value), item.local, item.meaning, _span(item.span)]

    def rule(self, rule: Rule) -> Row:
        definitions = [[item.name, self.checked(item.value)] for item in rule.definitions]
        return [
            rule.id, rule.title, rule.consequence.value, self.about(rule.about), self._perhaps(rule.when), definitions,
            self.checked(rule.require), self.sentence(rule.because), rule.remedies, rule.caution, rule.basis,
            rule.evidence, _span(rule.span),
        ]  # fmt: skip

    def about(self, about: About) -> Row:
        subjects = [[item.name, item.kind, self._perhaps(item.collection)] for item in about.subjects]
        return [about.text, subjects, about.pair]

    def sentence(self, sentence: Sentence) -> Row:
        checked = [item for item in sentence.pieces if not isinstance(item, str)]
        pieces = [item if isinstance(item, str) else self._piece(item) for item in sentence.pieces]
        return [_scalar(_passage(checked[0]).scalar) if checked else None, pieces]

    def checked(self, checked: Checked) -> Row:
        number, shift = self._piece(checked)
        whole, *rest = _scalar(_passage(checked).scalar)
        return [number, shift, None if whole == checked.clause.text else whole, *rest]

    def _perhaps(self, checked: Checked | None) -> Row | None:
        return None if checked is None else self.checked(checked)

    def _piece(self, checked: Checked) -> list[int]:
        clause = checked.clause
        self.functions.update(item.function for item in clause.node.walk() if isinstance(item, n.Call))
        row = [clause.text, row_of(checked, self.legend)]
        if row not in self.clauses:
            self.clauses.append(row)
        return [self.clauses.index(row), _passage(checked).shift]


def _passage(checked: Checked) -> Passage:
    place = checked.clause.place
    assert isinstance(place, Passage)
    return place


def _scalar(scalar: Scalar) -> Row:
    return [scalar.text, scalar.style, scalar.start, scalar.end]


def _span(span: Span) -> list[int]:
    return [span.start, span.end]
