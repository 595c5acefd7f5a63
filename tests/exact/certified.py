"""Surveys, certificates of their findings, and a rulepack of conditions that put the checker to work."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from fractions import Fraction
from functools import cache
from pathlib import Path
from typing import Any

import attrs

from limitrules.api import Survey, load_rulepacks, read_system
from limitrules.engine.certify import certificates
from limitrules.engine.check import Check
from limitrules.foundation.source import Source
from limitrules.recheck import recheck
from limitrules.reread.claim import Claimed, claimed
from limitrules.rules.rule import Rulepack

ROOT = Path(__file__).resolve().parents[2]
EXAMPLES = tuple(sorted((ROOT / "docs" / "examples").glob("*.yaml")))
BASES = tuple(sorted(ROOT.glob("rulepacks/*/base.yaml")))
CLOSE = ROOT / "tests" / "exact" / "close.yaml"
Certificate = dict[str, Any]

# Rules over one small system: phrases that the shipped rules do not use, and conditions that need their box cut.
CONDITIONS = {
    "cut-met": ("each pack p", "p.charge.ceiling - p.charge.ceiling * 0.5 at or above 46 A"),
    "cut-breached": ("each pack p", "p.charge.ceiling - p.charge.ceiling * 0.5 above 49 A"),
    "cut-marginal": ("each pack p", "p.charge.ceiling - p.charge.ceiling * 0.5 above 47.9 A"),
    "cut-joined": (
        "each converter c",
        "c.charge.ceiling * 2 - c.charge.ceiling above 105 A and c.discharge.ceiling / c.charge.ceiling below 1.6",
    ),
    "narrow-hole": ("each pack p", "abs(p.charge.ceiling - 95.3 A) above 0.01 A"),
    "between": ("each pack p", "p.charge.ceiling between 90 A and 100 A"),
    "within": ("each pack p", "p.charge.ceiling within 2 A of 96 A"),
    "equal": ("each pack p", "p.cells_series equals 24"),
    "unequal": ("each pack p", 'p.charge.ceiling differs from 99 A and p.cell.chemistry differs from "lto"'),
    "pairs": (
        "each pair p, q in packs",
        "p.charge.ceiling - q.charge.ceiling at or below 1 A and p.cell equals q.cell",
    ),
    "quantified": ("the site", "every p in packs where p.charge.ceiling above 95 A: p.charge.rated above 100 A"),
    "none": ("the site", "no p in packs: p.charge.ceiling above 99 A"),
    "counted": ("the site", "count of p over p in packs where p.charge.ceiling above 96 A at or below 2.5"),
    "counted-truths": ("the site", "count of (p.charge.ceiling above 96 A) over p in packs at or below 1"),
    "extremes": ("each pack p", "highest of (p.charge.ceiling, 50 A) - max(p.charge.ceiling, 95 A) at or below 1 A"),
    "chosen": ("each pack p", "(if p.charge.ceiling above 96 A then 2 A else 1 A) less 10 % below 1.85 A"),
    "chosen-truth": ("each pack p", "if p.charge.ceiling above 96 A then p.charge.rated above 1 A else yes"),
    "negative": ("each pack p", "-(p.charge.ceiling - 96 A) plus 5 % at or above -1 A"),
    "margins": ("each pack p", "(p.charge.ceiling - 96 A) less 5 % below 2 A plus 1 A"),
    "error": ("each pack p", "p.charge.ceiling plus or minus 1 % below 99 A"),
    "origin": ("each pack p", "p.charge.ceiling is measured or p.charge is stated and p.charge.rated is missing"),
    "flag": ("each pack p", "p.limiter.fitted equals (p.charge.ceiling above 1 A)"),
    "roots": ("each pack p", "sqrt(p.charge.ceiling * p.charge.ceiling) at or below 97.44 A"),
    "unknown": ("each pack p", "max(p.charge.measured, 3 A) above 2 A and not (p.charge.measured below -5 A)"),
    "missing": ("each pack p", "p.charge.measured above 2 A"),
    "defaulted": ("each pack p", "(p.charge.measured otherwise 90 A) below 91 A"),
    "divided": ("each pack p", "100 A / (p.charge.ceiling - 96 A) below 900"),
    "curve": ("each pack p", "(p.cell.rest_voltage at 25 %) * p.cells_series above 77.9 V"),
    "curve-end": ("each pack p", "(p.cell.rest_voltage at (p.charge.ceiling / 96 A)) above 1 V"),
    "strange": ("each pack p", "exp(p.charge.ceiling / 96 A) above 1"),
    "regulated": (
        "each regulator r, each pack p in r.feeds",
        "p in r.feeds and r.charge.ceiling below p.charge.ceiling / 2",
    ),
}


def write_rulepack(folder: Path, conditions: Mapping[str, tuple[str, str]]) -> Path:
    """A rulepack of conditions, each with its subjects."""
    rules = "".join(
        f"  {name}:\n    title: A condition for tests\n    consequence: advice\n    about: {about}\n"
        f"    let: {{named: '{require}'}}\n    require: named\n    because: It is so.\n"
        for name, (about, require) in conditions.items()
    )
    head = "limitrules: rulepack/1\nname: conditions\nversion: 1.0.0\nvocabulary: storage\n"
    folder.joinpath("rulepack.yaml").write_text(f"{head}rules:\n{rules}", "utf-8")
    return folder


def written(value: Fraction) -> str:
    return f"{value.numerator}/{value.denominator}"


@attrs.frozen
class Surveyed:
    """A survey with the bytes of what it was made from."""

    survey: Survey
    document: bytes
    packs: dict[str, bytes]

    def head(self, check: Check) -> Certificate:
        """A certificate that says what it is about and nothing else."""
        rule = check.binder.rule
        pack = next(pack for pack in self.survey.rulepacks if pack.name == rule.rulepack)
        sums = {"system": self.document, "rulepack": self.packs[pack.name]}
        named: Certificate = {name: {"sha256": hashlib.sha256(data).hexdigest()} for name, data in sums.items()}
        named["rulepack"] |= {"name": pack.name, "version": pack.version}
        subjects = {name: record.path for name, record in check.binder.names.components.items()}
        return named | {"limitrules": "certificate/1", "rule": rule.id, "subjects": subjects}

    def claim(self, check: Check) -> Claimed:
        return claimed(self.head(check), self.document, self.packs[check.binder.rule.rulepack])

    def recheck(self, certificate: Certificate) -> str:
        return recheck(certificate, self.document, self.packs[certificate["rulepack"]["name"]])


def source_of(pack: Rulepack) -> Source:
    """The document of a rulepack as it was read."""
    return next(rule.span.source for rule in pack.rules.values()) if pack.rules else Source(pack.folder, "")


@cache
def surveyed(path: Path, *folders: Path) -> Surveyed:
    packs = load_rulepacks(folders)
    texts = {pack.name: source_of(pack).text.encode() for pack in packs}
    return Surveyed(Survey(read_system(path, packs), packs), path.read_bytes(), texts)


@cache
def made(path: Path, *folders: Path) -> list[Certificate]:
    return certificates(surveyed(path, *folders).survey)
