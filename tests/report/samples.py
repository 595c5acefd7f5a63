"""A survey result with everything in it that a report has to show, built by hand."""

from __future__ import annotations

from fractions import Fraction

from limitrules.foundation.source import Source, Span
from limitrules.foundation.units import parse_unit
from limitrules.rules.findings import (
    Assumption,
    Concession,
    Consequence,
    Finding,
    Headroom,
    MissingValue,
    NotApplicable,
    Reason,
    RulepackUsed,
    SurveyResult,
    Verdict,
)

DOCUMENT = Source(
    "lakeside.yaml",
    "limitrules: system/1\n"
    "name: Lakeside research station\n"
    "packs:\n"
    "  north:\n"
    "    charge: {ceiling: 96 A ± 1.5 %}\n"
    "    protection:\n"
    "      charge_current: {threshold: 93 A .. 97 A, delay: 3.2 s ± 5 %}\n"
    "  south: {like: north, fault_current: unknown}\n",
)
RULEPACK = Source(
    "governing/rulepack.yaml",
    "parameters:\n"
    "  ladder_gap: {value: 5 %}\n"
    "rules:\n"
    "  limit-ladder-ordered:\n"
    "    require: p.charge.ceiling at or below"
    " lowest of (p.protection.charge_current.threshold less ladder_gap, 120 A)\n",
)
CONCESSIONS = Source("accepted.yaml", "- rule: cable-drop\n- rule: winter-charge\n- rule: label-present\n")

AMPERE, VOLT, SECOND, KELVIN, CELSIUS = (parse_unit(symbol) for symbol in ("A", "V", "s", "K", "degC"))
KILOAMPERE, PERCENT, MILLIOHM, HOUR = (parse_unit(symbol) for symbol in ("kA", "%", "mohm", "h"))


def at(text: str, source: Source = DOCUMENT) -> Span:
    """The place of a text in a sample document."""
    start = source.text.index(text)
    return source.span(start, start + len(text))


def decimal(text: str) -> Fraction:
    return Fraction(text)


def finding(rule: str, verdict: Verdict, consequence: Consequence = Consequence.OUTAGE, **more: object) -> Finding:
    """A finding of which only what matters is stated."""
    values: dict[str, object] = {
        "rulepack": "governing",
        "title": f"The title of {rule}",
        "subjects": {"p": "packs.north"},
        "headroom": None,
        "sentence": "",
        **more,
    }
    return Finding(rule=rule, verdict=verdict, consequence=consequence, **values)  # type: ignore[arg-type]


def result(*findings: Finding, **more: object) -> SurveyResult:
    """A survey with these findings and nothing else."""
    values: dict[str, object] = {
        "system": "Lakeside research station",
        "file": "lakeside.yaml",
        "rulepacks": (RulepackUsed("governing", "1.0.0", "sha256:00"),),
        "not_applicable": (),
        "missing": (),
        **more,
    }
    return SurveyResult(findings=findings, **values)  # type: ignore[arg-type]


def ladder() -> Finding:
    """Breached, with a single comparison, a whole argument and a witness."""
    figure = Reason(
        "p.charge.ceiling", "94.56 A .. 97.44 A", "", "packs.north.charge.ceiling", "96 A ± 1.5 %", "reported",
        at("96 A ± 1.5 %"),
    )  # fmt: skip
    threshold = Reason(
        "p.protection.charge_current.threshold", "93 A .. 97 A", "", "packs.north.protection.charge_current.threshold",
        "93 A .. 97 A", "rated", at("93 A .. 97 A"),
    )  # fmt: skip
    margin = Reason("ladder_gap", "5 %", "parameter of governing", span=at("ladder_gap: {", RULEPACK))
    limit = Reason(
        "lowest of (p.protection.charge_current.threshold less ladder_gap, 120 A)", "88.35 A .. 92.15 A",
        "governs: p.protection.charge_current.threshold less ladder_gap", parts=(threshold, margin),
        span=at("lowest of", RULEPACK),
    )  # fmt: skip
    clause = "p.charge.ceiling at or below lowest of (p.protection.charge_current.threshold less ladder_gap, 120 A)"
    return finding(
        "limit-ladder-ordered",
        Verdict.BREACHED,
        Consequence.DAMAGE,
        title="The ceiling of a pack stays below the threshold of its protection",
        headroom=Headroom(decimal("-5.75"), decimal("-9.09"), AMPERE, decimal("90.25"), figure=decimal("96")),
        sentence=(
            "Pack packs.north asks for 94.56 A .. 97.44 A; its protection acts from 93 A .. 97 A, which leaves"
            " 88.35 A .. 92.15 A after the gap of 5 %."
        ),
        remedies=("Lower the charge ceiling of the pack to 88 A", "Raise the threshold if the maker allows it"),
        caution="Never raise a protection threshold above what the cells and the conductors bear.",
        basis=("coordination of overcurrent protection",),
        reasons=(Reason(clause, "does not hold", parts=(figure, limit), span=at("p.charge.ceiling", RULEPACK)),),
        governing=("packs.north.protection.charge_current.threshold",),
        witness={
            "packs.north.charge.ceiling": decimal("97.44"),
            "packs.north.protection.charge_current.threshold": decimal("93"),
        },
        span=at("limit-ladder-ordered", RULEPACK),
    )


def rich() -> SurveyResult:
    """Every verdict, class and special case at once, in the order in which an engine might give them."""
    return result(
        *_failing(), *_others(), *_conceded(), *_met(),
        rulepacks=(RulepackUsed("governing", "1.0.0", "sha256:51ab"), RulepackUsed("house", "0.3.1", "sha256:9c02")),
        not_applicable=_not_applicable(),
        missing=_missing(),
        notes=("The search for the worst corner of fault-clearing ended at its budget.",),
    )  # fmt: skip


def _failing() -> tuple[Finding, ...]:
    return (
        finding(
            "fault-clearing", Verdict.UNDETERMINED, Consequence.HAZARD,
            subjects={"p": "packs.south"},
            sentence="Whether the fuse of packs.south clears a fault cannot be told.",
            missing=("packs.south.fault_current", "conductors.main.resistance"),
            remedies=("Measure the loop resistance with the bank at rest",),
            caution="Measure with insulated tools, arc-rated clothing and a second person.",
        ),
        ladder(),
        finding(
            "interrupting-rating", Verdict.MARGINAL, Consequence.HAZARD,
            subjects={"f": "fuses.main"},
            headroom=Headroom(decimal("1850"), decimal("-0.0000004"), KILOAMPERE, decimal("20000"), tight=False),
            sentence="The fuse interrupts 20 kA; the prospective current is 18.15 kA ± 12 %.",
            assumed=(Assumption("c.contact_resistance", "0.2 mohm"), Assumption("c.source_factor", "1.1")),
            remedies=("Fit a fuse with a higher interrupting rating",),
        ),
        finding(
            "cold-charge-blocked", Verdict.BREACHED, Consequence.OUTAGE,
            subjects={"p": "packs.north", "c": "converters.main"},
            headroom=Headroom(decimal("-4"), decimal("-6.5"), CELSIUS, decimal("273.15")),
            sentence="At -4 degC ± 2.5 K packs.north is charged although its cells must stay above 0 degC.",
            remedies=("Heat the room", "Block charging in the converter", "Move the sensor to the cells"),
            concession=Concession("cold-charge-blocked", "packs.north", "R. Vale", "Heater on order", "2025-10-31",
                                  at("- rule: winter-charge", CONCESSIONS), expired=True),
        ),
    )  # fmt: skip


def _others() -> tuple[Finding, ...]:
    return (
        finding(
            "capacity-usable", Verdict.MARGINAL, Consequence.STRANDED,
            subjects={},
            headroom=Headroom(decimal("0"), None, PERCENT, decimal("0")),
            sentence="The window of use may leave capacity that is never reached.",
        ),
        finding(
            "label-present", Verdict.BREACHED, Consequence.ADVICE,
            rulepack="house",
            sentence="The disconnect of packs.north carries no label.",
            remedies=("Fix a label",),
        ),
        finding(
            "soc-drift", Verdict.UNDETERMINED, Consequence.OUTAGE,
            subjects={"p": "packs.south"},
            sentence="The reading lies outside the rest-voltage curve of the cell.",
        ),
    )  # fmt: skip


def _conceded() -> tuple[Finding, ...]:
    return (
        finding(
            "cable-drop", Verdict.BREACHED, Consequence.OUTAGE,
            subjects={"k": "conductors.main"},
            headroom=Headroom(decimal("-0.12"), decimal("-0.12"), VOLT, decimal("1.2")),
            sentence="The conductor drops 1.32 V at 150 A.",
            concession=Concession("cable-drop", "conductors.main", "M. Okafor", "Replaced with the bank in spring",
                                  "2026-04-30", at("- rule: cable-drop", CONCESSIONS)),
        ),
        finding(
            "label-legible", Verdict.MET, Consequence.ADVICE,
            concession=Concession("label-legible", "packs.north", "M. Okafor", "New labels ordered", "2026-01-31",
                                  at("- rule: label-present", CONCESSIONS)),
        ),
    )  # fmt: skip


def _met() -> tuple[Finding, ...]:
    return (
        finding(
            "rebound-hysteresis", Verdict.MET,
            headroom=Headroom(decimal("0.25"), Fraction(1, 3), VOLT, decimal("2")),
        ),
        finding(
            "label-present", Verdict.MET, Consequence.ADVICE,
            subjects={"p": "packs.south"}, headroom=Headroom(decimal("0"), decimal("0"), AMPERE, decimal("40")),
        ),
        finding(
            "heat-integral", Verdict.MET, Consequence.DAMAGE,
            subjects={"f": "fuses.main", "k": "conductors.main"},
            headroom=Headroom(decimal("3.1e15"), Fraction(29999, 10) * 10**12, parse_unit("A2s"), decimal("4e15")),
            assumed=(Assumption("k.temperature", "70 degC"),),
        ),
        finding(
            "hold-time", Verdict.MET, Consequence.ADVICE,
            headroom=Headroom(decimal("7200"), decimal("1e-9"), HOUR, decimal("14400")),
        ),
    )  # fmt: skip


def _not_applicable() -> tuple[NotApplicable, ...]:
    def item(rule: str, subject: str, because: str) -> NotApplicable:
        return NotApplicable("governing", rule, f"The title of {rule}", Consequence.OUTAGE, subject, because)

    return (
        item("link-fallback", "converters.main", "it has no link"),
        item("solar-sum", "", "the system has no regulators"),
        item("link-fallback", "converters.spare", "it has no link"),
    )


def _missing() -> tuple[MissingValue, ...]:
    return (
        MissingValue(
            "site.ambient.min", "The coldest air that the bank meets.", (("cold-start", ""),), 1, Consequence.STRANDED
        ),
        MissingValue(
            "conductors.main.resistance", "Resistance of the loop, both ways.",
            (("fault-clearing", "packs.south"), ("cable-drop", "conductors.main")), 0, Consequence.HAZARD,
        ),
        MissingValue(
            "packs.south.fault_current", "The current that the pack drives into a dead short at its terminals.",
            (("fault-clearing", "packs.south"), ("fault-share", "packs.south")), 1, Consequence.HAZARD,
            at("unknown"),
        ),
    )  # fmt: skip
