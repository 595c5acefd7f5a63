"""Every way in which a rulepack is refused, with the whole of what is said, and where in the file it points."""

from __future__ import annotations

import re

import pytest

from limitrules.foundation.diagnostics import InputError
from limitrules.foundation.source import Source
from limitrules.rules.findings import Consequence
from limitrules.rules.rulepack import check_drafts, load_rulepack, parse_draft, read_draft
from tests.rules.support import FOLDER, document, rule, rulepacks, said

SAID = "--- is said\n"


def sections() -> dict[str, tuple[str, str]]:
    """Title -> (document, what is said)."""
    text = (FOLDER / "refusals.txt").read_text(encoding="utf-8")
    found: dict[str, tuple[str, str]] = {}
    for part in re.split(r"^=== ", text, flags=re.MULTILINE)[1:]:
        title, _, body = part.partition("\n")
        given, _, expected = body.partition(SAID)
        assert title not in found
        found[title] = (given, expected.rstrip("\n"))
    return found


def said_of(text: str) -> str:
    with pytest.raises(InputError) as caught:
        check_drafts([parse_draft(Source("rulepack.yaml", text))])
    return str(caught.value)


@pytest.mark.parametrize("title", sections())
def test_what_is_said(title: str) -> None:
    text, expected = sections()[title]
    assert said_of(text) == expected


def test_nothing_was_left_out() -> None:
    assert len(sections()) >= 50
    assert all(expected for _, expected in sections().values())


@pytest.mark.parametrize("title", sections())
def test_every_mistake_has_its_line_shown(title: str) -> None:
    text, _ = sections()[title]
    with pytest.raises(InputError) as caught:
        check_drafts([parse_draft(Source("rulepack.yaml", text))])
    for item in caught.value.diagnostics:
        assert item.span is not None
        line = text.splitlines()[item.span.line - 1]
        assert f"| {line}"[:100] in item.render()


# the way from a clause to its line and column


def place_of(mark: str, text: str) -> str:
    line = next(number for number, content in enumerate(text.splitlines(), start=1) if mark in content)
    return f"rulepack1.yaml:{line}:{text.splitlines()[line - 1].index(mark) + 1}"


@pytest.mark.parametrize(
    "written",
    [
        "require: p.charge.celing below 3 A",
        'require: "p.charge.celing below 3 A"',
        "require: 'p.charge.celing below 3 A'",
        "require:\n      p.charge.celing below 3 A",
        "require: p.charge.rated below 3 A and\n      p.charge.celing below 3 A",
        "require: >\n      p.charge.rated below 3 A and\n      p.charge.celing below 3 A",
        "require: >-\n      p.charge.rated\n      below 3 A and p.charge.celing\n\n      below 3 A",
        "require: |\n      p.charge.rated below 3 A\n      and p.charge.celing below 3 A",
        "require: |2\n        p.charge.rated below 3 A\n        and p.charge.celing below 3 A",
        'require: "p.charge.rated below 3 A and\n      p.charge.celing below 3 A"',
        "require: 'p.cell.chemistry equals \"lfp\" and\n\n      p.charge.celing below 3 A'",
        'require: "p.cell.chemistry equals \\"lfp\\" and p.charge.celing below 3 A"',
        'require: "p.charge.rated below \\\n      3 A and p.charge.celing below 3 A"',
        "require: {p.charge.celing: below 3 A}",
    ],
    ids=[
        "plain",
        "double",
        "single",
        "next line",
        "plain over lines",
        "folded",
        "folded with a blank line",
        "literal",
        "literal, indented",
        "double over lines",
        "single over lines",
        "escaped quotes",
        "joined line",
        "map",
    ],
)
def test_a_mistake_is_shown_where_it_stands(written: str) -> None:
    text = document(
        f"rules:\n  a-rule:\n    title: x\n    consequence: outage\n    about: each pack p\n    {written}\n"
        '    because: "x"\n'
    )
    first = said(text).splitlines()[0]
    if written.startswith("require: {"):
        assert "A map stands where a clause is due" in first
        return
    assert first == f"{place_of('celing', text)}: `charge` of a pack has no attribute `celing` [unknown-attribute]"


@pytest.mark.parametrize(
    "because",
    [
        '"Pack {p} lets {p.charge.celing} in."',
        ">\n      Pack {p} lets in\n      {p.charge.celing}, which is too much.",
        "|\n      Pack {p} lets\n      in {p.charge.celing}.",
        "Pack {p} lets {p.charge.celing} in.",
    ],
    ids=["quoted", "folded", "literal", "plain"],
)
def test_a_mistake_in_a_sentence_is_shown_where_it_stands(because: str) -> None:
    text = document(
        f"rules:\n  a-rule:\n    title: x\n    consequence: outage\n    about: each pack p\n    require: yes\n"
        f"    because: {because}\n"
    )
    assert said(text).startswith(f"{place_of('celing', text)}: ")


def test_a_mistake_in_the_second_subject_is_shown_where_it_stands() -> None:
    text = document("rules:\n") + rule(">\n      each converter c,\n      each pack p in c.feds", "yes")
    assert said(text).startswith(f"{place_of('feds', text)}: a converter has no attribute `feds`")


# what is read


def test_a_rule_is_read_whole() -> None:
    text = document(
        """
        title: |
          What holds
          here
        meaning: A trial.
        parameters:
          spare: {value: 25 %, local: yes, meaning: what stays free}
          fixed: {value: -3 K, meaning: how much colder}
          strict: {value: no, local: no, meaning: whether it is strict}
        rules:
          ceiling-below-trip:
            title: The ceiling
              stays below the trip
            consequence: damage
            about: each pack p, each converter c in p.converters
            when: p.charge.ceiling is stated
            let:
              trip: p.protection.charge_current.threshold
              free: trip less spare
            require: p.charge.ceiling at or below free
            because: "Pack {p} at {c} lets {p.charge.ceiling} in, {free} is free."
            remedy: [one, two]
            caution: Careful.
            basis: a standard
            evidence: A photograph.
        """
    )
    (pack,) = rulepacks(text)
    assert (pack.name, pack.version, pack.title, pack.meaning) == ("local", "1.0.0", "What holds here", "A trial.")
    assert {name: item.local for name, item in pack.parameters.items()} == {
        "spare": True,
        "fixed": False,
        "strict": False,
    }
    (read,) = pack.rules.values()
    assert read.consequence is Consequence.DAMAGE
    assert (read.title, read.caution, read.evidence) == (
        "The ceiling stays below the trip",
        "Careful.",
        "A photograph.",
    )
    assert (read.remedies, read.basis) == (("one", "two"), ("a standard",))
    assert [(subject.name, subject.kind) for subject in read.about.subjects] == [("p", "pack"), ("c", "converter")]
    assert [item.name for item in read.definitions] == ["trip", "free"]
    assert len([piece for piece in read.because.pieces if not isinstance(piece, str)]) == 4
    assert read.span.line == next(n for n, line in enumerate(text.splitlines(), 1) if "ceiling-below-trip:" in line)


def test_the_content_hash_tells_documents_apart() -> None:
    plain = document("rules:\n") + rule("each pack p", "p.charge.rated above 3 A")
    changed = document("rules:\n") + rule("each pack p", "p.charge.rated above 4 A")
    assert rulepacks(plain)[0].content == rulepacks(plain)[0].content
    assert rulepacks(plain)[0].content != rulepacks(changed)[0].content


def test_a_rulepack_is_read_from_its_folder(tmp_path) -> None:  # type: ignore[no-untyped-def]
    text = document("rules:\n") + rule("each pack p", "p.charge.rated above 3 A")
    (tmp_path / "rulepack.yaml").write_text(text, encoding="utf-8")
    assert load_rulepack(tmp_path).folder == str(tmp_path)
    assert load_rulepack(tmp_path / "rulepack.yaml").name == "local"
    with pytest.raises(InputError, match=r"there is no rulepack at .*nowhere.*no-rulepack"):
        read_draft(tmp_path / "nowhere")


def test_a_rulepack_may_hold_parameters_alone() -> None:
    (pack,) = rulepacks(document("parameters:\n  spare: {value: 3 A, meaning: what stays free}\n"))
    assert not pack.rules


def test_definitions_upon_definitions_have_an_end() -> None:
    lines = ["a0: p.charge.rated"] + [f"a{n}: a{n - 1} + (a{n - 1} * 2 - a{n - 1})" for n in range(1, 60)]
    let = "let:\n" + "\n".join(f"  {line}" for line in lines)
    text = document("rules:\n") + rule("each pack p", "a59 above 3 A", let)
    assert "rests on too many definitions one upon the other" in said(text)
    assert said(text).count("[") == 1


def write_anew() -> None:
    """Write what is said now into the file, to be read before it is kept."""
    path = FOLDER / "refusals.txt"
    head = path.read_text(encoding="utf-8").partition("\n=== ")[0].rstrip("\n")
    parts = [f"\n\n=== {title}\n{text}{SAID}{said_of(text)}" for title, (text, _) in sections().items()]
    path.write_text(head + "".join(parts) + "\n", encoding="utf-8")
