"""Certificates of findings: what a small checker needs to prove a verdict anew from the documents alone."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator, Mapping
from fractions import Fraction
from pathlib import Path
from typing import Any

from attrs import define, field, frozen

from limitrules.engine.check import Check
from limitrules.engine.survey import Survey
from limitrules.foundation.diagnostics import InputError
from limitrules.foundation.source import Source
from limitrules.language import ground as g
from limitrules.language import nodes as n
from limitrules.recheck import FORMAT, recheck, truth_of
from limitrules.reread.claim import Claimed, claimed
from limitrules.reread.clauses import Box, Names, Reading
from limitrules.reread.ranges import Range, Refused
from limitrules.rules.findings import Verdict

PIECES = 200
"""How many pieces a box is cut into at most until each decides."""

_AT_WITNESS = {Verdict.MET: True, Verdict.BREACHED: False, Verdict.MARGINAL: False, Verdict.UNDETERMINED: None}

Entry = dict[str, Any]
Place = Mapping[str, Fraction]


def certificate_file(survey: Survey, pieces: int = PIECES) -> Entry:
    """What is written to a file of certificates, ready for JSON."""
    return {"limitrules": "certificates/1", "findings": certificates(survey, pieces)}


def certificates(survey: Survey, pieces: int = PIECES) -> list[Entry]:
    """A certificate for each finding that has subjects.

    One that the checker does not confirm is kept with the reason under `unproven`. The documents must be as they were
    read: a survey with changed values is not certified by the document it was read from.
    """
    system = survey.system
    document = _content(system.source)
    return [_certificate(survey, check, document, pieces) for check in survey.checks if check.verdict is not None]


def _content(source: Source) -> bytes:
    """The bytes of a document: those of its file while it still holds the text that was read."""
    text = source.text.encode()
    path = Path(source.name)
    if path.is_file():
        found = path.read_bytes()
        return found if found.decode("utf-8-sig", "replace") == source.text else text
    return text


def _certificate(survey: Survey, check: Check, document: bytes, pieces: int) -> Entry:
    rule = check.binder.rule
    rulepack = next(pack for pack in survey.rulepacks if pack.name == rule.rulepack)
    content = _content(rule.span.source)
    assert check.verdict is not None
    entry: Entry = {
        "limitrules": FORMAT,
        "system": {"sha256": hashlib.sha256(document).hexdigest()},
        "rulepack": {
            "name": rulepack.name,
            "version": rulepack.version,
            "sha256": hashlib.sha256(content).hexdigest(),
        },
        "rule": rule.id,
        "subjects": {name: record.path for name, record in check.binder.names.components.items()},
        "verdict": check.verdict.value,
    }
    try:
        if any(parameter.set_by for parameter in rule.parameters.values()):
            raise Refused("another rulepack sets parameters of this one, which this checker does not read")
        claim = claimed(entry, document, content)
        entry.update(_proof(survey, check, claim, pieces))
        if entry.get("cover", "decided") is None:
            raise Refused(f"no cover was found within {pieces} piece{'s' * (pieces != 1)}")
        recheck(entry, document, content)
    except Refused as refusal:
        entry["unproven"] = str(refusal)
    except InputError:
        entry["unproven"] = "this checker cannot read the documents: it knows nothing that a rulepack adds to them"
    except ArithmeticError:
        entry["unproven"] = "this checker cannot count with figures as large as these"
    return entry


def _proof(survey: Survey, check: Check, claim: Claimed, pieces: int) -> Entry:
    assert check.verdict is not None
    _, whole, reading = claim.over({})
    box: Box = dict(reading.seen)
    proof: Entry = {"variables": {path: [_exact(low), _exact(high)] for path, (low, high) in box.items()}}
    search, places = Search(claim, box, pieces), [*_places(survey, check, box)]
    if check.verdict is Verdict.UNDETERMINED:
        proof["missing"] = [path for path in g.gaps_of(check.whole) if path in reading.lost]
    elif check.verdict is Verdict.MARGINAL:
        holding = search.point(True, places)
        proof["holds_at"] = None if holding is None else _written(holding)
    else:
        proof["cover"] = "decided" if truth_of(whole) is not None else search.cover()
    witness = search.point(_AT_WITNESS[check.verdict], places)
    if witness is None:
        raise Refused("no point was found where the rule turns out so")
    proof["witness"] = _written(witness)
    if check.verdict is Verdict.UNDETERMINED:
        return proof
    headroom = _headroom(claim, witness)
    return proof if headroom is None else proof | {"headroom": _exact(headroom)}


def _places(survey: Survey, check: Check, box: Box) -> Iterator[Place]:
    """Points worth trying: the worst place that the survey found, the nominal one, and corners."""
    slots = survey.slots
    nominal = {
        path: slots.nominal[slots.index[path]] if path in slots.index else (low + high) / 2
        for path, (low, high) in box.items()
    }
    worst = slots.named(check.worst(slots).place)
    found = nominal | {path: value for path, value in worst.items() if path in nominal}
    yield found
    yield nominal
    yield {path: low + high - found[path] for path, (low, high) in box.items()}
    for side in range(2):
        yield {path: ends[side] for path, ends in box.items()}


def _headroom(claim: Claimed, witness: Place) -> Fraction | None:
    """The exact headroom at a place, where the requirement is a single comparison of rationals."""
    try:
        found = claim.headroom(_at(witness))
    except Refused:
        return None
    return found.low if found.low == found.high else None


def _at(place: Place) -> Box:
    return {path: (value, value) for path, value in place.items()}


def _written(place: Place) -> dict[str, str]:
    return {path: _exact(value) for path, value in place.items()}


def _exact(value: Fraction) -> str:
    return f"{value.numerator}/{value.denominator}"


@define
class Watched(Reading):
    """Notes how wide each comparison is that its box leaves open."""

    widths: dict[int, Fraction | float] = field(factory=dict, init=False)

    def distance(self, node: n.Node, names: Names) -> tuple[Range, bool]:
        found, or_zero = super().distance(node, names)
        if found.low <= 0 <= found.high:
            self.widths[id(node)] = self.widths.get(id(node), Fraction(0)) + found.high - found.low
        return found, or_zero


@frozen
class Search:
    """Cuts a box until the checker's own evaluation decides each piece."""

    claim: Claimed
    box: Box
    most: int
    widths: Mapping[int, Fraction | float] = field(init=False)

    @widths.default
    def _widths(self) -> Mapping[int, Fraction | float]:
        return self.looked(self.box)[1]

    def looked(self, box: Box) -> tuple[bool | None, Mapping[int, Fraction | float]]:
        """Whether the rule holds on a box, and the widths of the comparisons that stay open."""
        _, whole, reading = self.claim.over(box, Watched)
        assert isinstance(reading, Watched)
        return truth_of(whole), reading.widths

    def openness(self, box: Box) -> tuple[bool, float]:
        """How far a box is from being decided: the widths of what is open as shares of those at the start."""
        found, widths = self.looked(box)
        if found is not None:
            return False, 0.0
        shares = (_share(width, self.widths.get(key, width)) for key, width in widths.items())
        return True, sum(shares)

    def cut(self, box: Box) -> tuple[str, Fraction, Box, Box] | None:
        """The halves of a box, cut through the variable that leaves least open; None where nothing is left to cut."""
        best, found = None, None
        for path, (low, high) in box.items():
            if low == high:
                continue
            at = (low + high) / 2
            below, above = {**box, path: (low, at)}, {**box, path: (at, high)}
            one, other = self.openness(below), self.openness(above)
            score = (one[0] + other[0], one[1] + other[1])
            if best is None or score < best:
                best, found = score, (path, at, below, above)
        return found

    def cover(self) -> Any:
        """The tree of cuts, or None where the pieces do not suffice."""
        left = [self.most]

        def covered(box: Box) -> Any:
            if self.looked(box)[0] is not None:
                return "decided"
            halves = self.cut(box) if left[0] > 1 else None
            if halves is None:
                return None
            left[0] -= 1
            path, at, below, above = halves
            under = covered(below)
            over = covered(above) if under is not None else None
            return None if over is None else {"cut": path, "at": _exact(at), "below": under, "above": over}

        return covered(self.box)

    def point(self, wanted: bool | None, places: list[Place]) -> Place | None:
        """A place where the rule holds, fails or is open, as wanted: one of those given, or one found by cutting."""
        for place in places:
            if self.looked(_at(place))[0] is wanted:
                return place
        boxes = [self.box] if self.looked(self.box)[0] is None else []
        for _ in range(self.most // 12):
            halves = self.cut(boxes.pop(0)) if boxes else None
            for half in halves[2:] if halves is not None else ():
                middle = {path: (low + high) / 2 for path, (low, high) in half.items()}
                if self.looked(_at(middle))[0] is wanted:
                    return middle
                if self.looked(half)[0] is None:
                    boxes.append(half)
        return None


def _share(width: Fraction | float, start: Fraction | float) -> float:
    if isinstance(width, float) or not start:
        return 1.0
    return float(width / start)
