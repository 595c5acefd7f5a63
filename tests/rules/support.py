"""What the tests of rules share: rulepacks and systems written in place, and surveys of the one over the other."""

from __future__ import annotations

from pathlib import Path
from textwrap import dedent, indent

import pytest

from limitrules.engine.survey import Survey
from limitrules.foundation.diagnostics import InputError
from limitrules.foundation.source import Source
from limitrules.model.system import System, parse_system
from limitrules.model.vocabulary import load_vocabulary
from limitrules.rules.findings import Finding, SurveyResult
from limitrules.rules.rule import Rulepack
from limitrules.rules.rulepack import check_drafts, parse_draft

FOLDER = Path(__file__).parent
HEAD = "limitrules: rulepack/1\nname: {name}\nversion: 1.0.0\nvocabulary: storage\n"


def document(body: str, name: str = "local") -> str:
    """A rulepack document with its header."""
    return HEAD.format(name=name) + dedent(body).lstrip("\n")


def rule(about: str, require: str, *more: str, name: str = "a-rule", because: str = "It is so.") -> str:
    """A rule as it stands below `rules:`, with further lines such as `when: ...`."""
    lines = [
        "title: A rule",
        "consequence: outage",
        f"about: {about}",
        *more,
        f"require: {require}",
        f'because: "{because}"',
    ]
    return f"  {name}:\n" + indent("\n".join(lines), "    ") + "\n"


def rulepacks(*documents: str) -> tuple[Rulepack, ...]:
    """Rulepacks checked together; the first file is called rulepack1.yaml."""
    return check_drafts(
        [parse_draft(Source(f"rulepack{number}.yaml", text)) for number, text in enumerate(documents, start=1)]
    )


def said(*documents: str) -> str:
    with pytest.raises(InputError) as caught:
        rulepacks(*documents)
    return str(caught.value)


def system(body: str) -> System:
    text = "limitrules: system/1\nname: trial\n" + dedent(body).lstrip("\n")
    return parse_system(Source("system.yaml", text), load_vocabulary())


def surveyed(body: str, *rules: str, head: str = "") -> SurveyResult:
    """The survey of rules over a system, both written in place."""
    packs = rulepacks(document(head + "rules:\n") + "".join(rules))
    return Survey(system(body), packs).result()


def findings(body: str, *rules: str, head: str = "") -> dict[str, Finding]:
    """Subject -> finding."""
    return {item.subject: item for item in surveyed(body, *rules, head=head).findings}


def verdicts(body: str, *rules: str, head: str = "") -> dict[str, str]:
    """Subject -> verdict."""
    return {subject: item.verdict.value for subject, item in findings(body, *rules, head=head).items()}
