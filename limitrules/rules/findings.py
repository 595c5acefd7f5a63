"""What a survey says: findings with verdict, headroom and reasons, as plain data.

Reports read these classes and nothing else.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from enum import Enum
from fractions import Fraction

from attrs import field, frozen

from limitrules.foundation.source import Span
from limitrules.foundation.units import Unit


class Verdict(Enum):
    """What holds over the stated tolerances."""

    MET = "met"
    MARGINAL = "marginal"
    BREACHED = "breached"
    UNDETERMINED = "undetermined"


class Consequence(Enum):
    """What happens where a rule does not hold, the worst first. There is no second scale of severity."""

    HAZARD = "hazard"
    DAMAGE = "damage"
    OUTAGE = "outage"
    STRANDED = "stranded"
    ADVICE = "advice"

    @property
    def rank(self) -> int:
        """0 is the worst."""
        return list(Consequence).index(self)

    def at_least(self, other: Consequence) -> bool:
        """True where this one is as bad as the other or worse."""
        return self.rank <= other.rank


SHARED = ("sensor ", "datum ")
"""How the variable that several values share begins: where within its stated error that sensor or datum stands."""
ERROR = " (error)"
"""How the variable of a device's own error ends: where within it the device stands, from -1 to 1."""


@frozen
class Headroom:
    """Signed distance to the limit; negative is beyond it.

    ``nominal`` and ``worst`` are exact, in SI; ``unit`` is that of the figures compared, so that of a temperature
    is degC and its headroom is shown in K. ``figure`` is what is held against the ``limit``, both nominal, in SI;
    shares are headroom over limit, None where the limit is zero. ``worst`` is None where it has no bound.
    ``tight`` is False where ``worst`` is only known to be no worse than stated. ``reached`` is the exact headroom at
    the witness (None: it has no exact value there); where ``is_open``, ``worst`` is neared and nowhere taken.
    """

    nominal: Fraction | None
    worst: Fraction | None
    unit: Unit
    limit: Fraction | None = None
    tight: bool = True
    figure: Fraction | None = None
    reached: Fraction | None = None
    is_open: bool = False

    @property
    def share_nominal(self) -> Fraction | None:
        return self.nominal / abs(self.limit) if self.limit and self.nominal is not None else None

    @property
    def share_worst(self) -> Fraction | None:
        return self.worst / abs(self.limit) if self.limit and self.worst is not None else None


@frozen
class Reason:
    """One step of the argument: a clause of the rule, its value, and the steps below it.

    ``text`` is the clause as written; ``value`` its value for people (``94.56 A .. 97.44 A``, ``does not hold``),
    worked out when it is first asked for; ``note`` a remark (``governs``, ``assumed: 0.006``, ``missing``); ``path``
    the place in the system document where the step reads a value, with ``stated`` the value as written, ``origin``
    its grade and ``span`` its line.
    """

    text: str
    _value: str | Callable[[], str] = field(default="", alias="value", eq=False, repr=False)
    note: str = ""
    path: str = ""
    stated: str = ""
    origin: str = ""
    span: Span | None = None
    parts: tuple[Reason, ...] = ()

    @property
    def value(self) -> str:
        return self._value() if callable(self._value) else self._value


@frozen
class Assumption:
    """A value that the rule assumed because the document does not state it."""

    text: str
    value: str


@frozen
class Concession:
    """An accepted finding. ``until`` is an ISO date; an expired one no longer counts."""

    rule: str
    subject: str
    who: str
    why: str
    until: str
    span: Span | None = None
    expired: bool = False


@frozen
class Finding:
    """One rule on one set of subjects.

    ``subjects`` maps the rule's names to paths (``p`` to ``packs.north``); ``missing`` are the paths that keep
    it from a verdict; ``governing`` names the members that govern; ``witness`` maps paths to the exact SI
    values at which the worst headroom occurs, and ``losses`` says how much of the nominal headroom (SI) each of them
    takes away; ``sentence`` is the explanation with figures filled in. Sentence, reasons, governing members and
    losses are worked out when they are first asked for.
    """

    rulepack: str
    rule: str
    title: str
    consequence: Consequence
    subjects: Mapping[str, str]
    verdict: Verdict
    headroom: Headroom | None
    _sentence: str | Callable[[], str] = field(alias="sentence", eq=False, repr=False)
    remedies: tuple[str, ...] = ()
    caution: str = ""
    basis: tuple[str, ...] = ()
    evidence: str = ""
    _reasons: tuple[Reason, ...] | Callable[[], tuple[Reason, ...]] = field(
        default=(), alias="reasons", eq=False, repr=False
    )
    missing: tuple[str, ...] = ()
    assumed: tuple[Assumption, ...] = ()
    _governing: tuple[str, ...] | Callable[[], tuple[str, ...]] = field(
        default=(), alias="governing", eq=False, repr=False
    )
    witness: Mapping[str, Fraction] | None = None
    _losses: Mapping[str, Fraction] | Callable[[], Mapping[str, Fraction]] = field(
        factory=dict, alias="losses", eq=False, repr=False
    )
    concession: Concession | None = None
    span: Span | None = None

    @property
    def sentence(self) -> str:
        return self._sentence() if callable(self._sentence) else self._sentence

    @property
    def reasons(self) -> tuple[Reason, ...]:
        return self._reasons() if callable(self._reasons) else self._reasons

    @property
    def governing(self) -> tuple[str, ...]:
        return self._governing() if callable(self._governing) else self._governing

    @property
    def losses(self) -> Mapping[str, Fraction]:
        return self._losses() if callable(self._losses) else self._losses

    @property
    def subject(self) -> str:
        """The subjects in words: ``packs.north, converters.main``; empty for the site as a whole."""
        return ", ".join(self.subjects.values())

    @property
    def conceded(self) -> bool:
        return self.concession is not None and not self.concession.expired


@frozen
class NotApplicable:
    """A rule that found no subject, or whose subjects are outside its scope, and why."""

    rulepack: str
    rule: str
    title: str
    consequence: Consequence
    subject: str
    because: str


@frozen
class MissingValue:
    """A value the document does not state, and what stating it would decide.

    ``findings`` are (rule, subject) pairs that need it; ``decides`` counts those that need nothing else.
    """

    path: str
    meaning: str
    findings: tuple[tuple[str, str], ...]
    decides: int
    worst: Consequence
    span: Span | None = None


@frozen
class RulepackUsed:
    """Name, version and content hash of a rulepack that took part."""

    name: str
    version: str
    content: str


@frozen
class SurveyResult:
    """Everything that a survey of one system found. Findings stand worst first."""

    system: str
    file: str
    rulepacks: tuple[RulepackUsed, ...]
    findings: tuple[Finding, ...]
    not_applicable: tuple[NotApplicable, ...]
    missing: tuple[MissingValue, ...]
    notes: tuple[str, ...] = ()

    def failing(self, at: Consequence) -> tuple[Finding, ...]:
        """The findings that fail a survey at a class.

        Breached and marginal ones at or above the class, and undetermined ones of class hazard; a concession
        in force takes a finding out.
        """
        return tuple(item for item in self.findings if _fails(item, at))


def _fails(finding: Finding, at: Consequence) -> bool:
    if finding.conceded or finding.verdict is Verdict.MET:
        return False
    if finding.verdict is Verdict.UNDETERMINED:
        return finding.consequence is Consequence.HAZARD
    return finding.consequence.at_least(at)
