"""How findings are put in order and grouped for a report."""

from __future__ import annotations

from collections.abc import Iterable

from attrs import frozen

from limitrules.foundation.source import Span
from limitrules.rules.findings import Consequence, Finding, MissingValue, SurveyResult, Verdict

CAUTIONS = (
    "Stored energy, DC arcs and high prospective currents injure and kill, also with every switch open.",
    "This survey checks only what the system document tells it. It is no certificate and replaces no inspection.",
    "Local electrical codes, the makers' instructions and licensed practice come first.",
)

MOVES_PROTECTION = "This moves where a protection acts: the pack maker has to agree to it."

_VERDICTS = (Verdict.BREACHED, Verdict.MARGINAL, Verdict.UNDETERMINED, Verdict.MET)


@frozen(eq=False, repr=False)
class Groups:
    """Every finding of a survey once: what fails, what is open but does not fail, conceded, met."""

    failing: tuple[Finding, ...]
    open: tuple[Finding, ...]
    conceded: tuple[Finding, ...]
    met: tuple[Finding, ...]

    @property
    def outstanding(self) -> tuple[Finding, ...]:
        return self.failing + self.open


def worst_first(findings: Iterable[Finding]) -> tuple[Finding, ...]:
    """By consequence class, then by verdict; what is alike keeps the order of the survey."""
    return tuple(sorted(findings, key=lambda item: (item.consequence.rank, _VERDICTS.index(item.verdict))))


def grouped(result: SurveyResult, fail_on: Consequence) -> Groups:
    """The findings of a survey, each in one group."""
    failing = {id(item) for item in result.failing(fail_on)}
    ordered = worst_first(result.findings)
    unmet = [item for item in ordered if item.verdict is not Verdict.MET]
    return Groups(
        failing=tuple(item for item in unmet if id(item) in failing),
        open=tuple(item for item in unmet if id(item) not in failing and not item.conceded),
        conceded=tuple(item for item in unmet if item.conceded),
        met=tuple(item for item in ordered if item.verdict is Verdict.MET),
    )


def counts(groups: Groups) -> dict[Verdict, int]:
    """How many findings have each verdict, conceded ones left out."""
    found = dict.fromkeys(_VERDICTS, 0)
    for item in groups.outstanding + groups.met:
        found[item.verdict] += 1
    return found


def missing_first(missing: Iterable[MissingValue]) -> tuple[MissingValue, ...]:
    """What is most worth finding out comes first."""
    return tuple(sorted(missing, key=lambda item: (item.worst.rank, -item.decides, -len(item.findings), item.path)))


def rule_names(result: SurveyResult) -> dict[tuple[str, str], str]:
    """What to call each rule: its name, with the rulepack before it where two rulepacks share the name."""
    pairs = {(item.rulepack, item.rule) for item in result.findings}
    pairs |= {(item.rulepack, item.rule) for item in result.not_applicable}
    names = [rule for _, rule in pairs]
    return {pair: "/".join(pair) if names.count(pair[1]) > 1 else pair[1] for pair in pairs}


def subject_words(subject: str) -> str:
    """The subjects of a finding; a rule without any is about the site."""
    return subject or "the site"


def place(span: Span | None) -> str:
    """``file.yaml:12``, empty where there is none."""
    return "" if span is None else f"{span.source.name}:{span.line}"
