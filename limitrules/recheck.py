"""A small checker of certificates that trusts nobody: the rule's own clauses, evaluated anew in rational intervals.

It shares the grammar and the readers of documents with the survey, and nothing that evaluates or decides there.
`python -m limitrules.recheck CERTIFICATES SYSTEM [RULEPACK...]` (files and folders; the bundled rulepacks unless some
are named) exits with 0 where all is confirmed, 1 where something is not, and 2 where a file cannot be read.
"""

from __future__ import annotations

import hashlib
import json
import re
import sys
from collections.abc import Iterator, Mapping
from fractions import Fraction
from pathlib import Path
from typing import Any

from limitrules.foundation.diagnostics import InputError
from limitrules.foundation.shipped import shipped
from limitrules.reread.claim import Claimed, claimed
from limitrules.reread.clauses import Box
from limitrules.reread.ranges import Range, Refused

FORMAT = "certificate/1"
_MALFORMED = (LookupError, TypeError, ValueError, ArithmeticError, AttributeError, RecursionError)


def _leaves(cover: Any, box: Box) -> Iterator[Box]:
    """The pieces into which a cover cuts a box: no point of the box lies outside all of them."""
    if cover == "decided":
        yield box
        return
    path, at = cover["cut"], _ratio(cover["at"])
    low, high = box[path]
    if not low < at < high:
        raise Refused(f"the cover cuts `{path}` outside its range")
    yield from _leaves(cover["below"], {**box, path: (low, at)})
    yield from _leaves(cover["above"], {**box, path: (at, high)})


def _pieces(claim: Claimed, cover: Any, box: Box, expected: bool | None) -> int:
    """How many pieces a cover has, where the rule is decided as expected on each, and applies on one at least."""
    pieces = [claim.over(piece)[:2] for piece in _leaves(cover, box)]
    if not all(truth_of(whole) is expected for _, whole in pieces):
        raise Refused("on a piece of the cover the rule is not decided as claimed")
    if all(applies.high <= 0 for applies, _ in pieces):
        raise Refused("the rule applies nowhere in the ranges")
    return len(pieces)


def _ratio(text: str) -> Fraction:
    if not re.fullmatch(r"-?\d{1,4000}/\d{1,4000}", text, re.ASCII):
        raise Refused(f"`{text[:40]}` is no exact number such as 93/1")
    return Fraction(text)


def _point(claim: Claimed, place: Mapping[str, str], box: Box) -> tuple[Box, Range]:
    at = {path: (_ratio(text), _ratio(text)) for path, text in place.items()}
    if at.keys() != box.keys() or not all(box[path][0] <= end <= box[path][1] for path, (end, _) in at.items()):
        raise Refused("a point lies outside the ranges, or does not name each variable")
    return at, claim.over(at)[1]


def recheck(certificate: Mapping[str, Any], document: bytes | Path, rulepack: bytes | Path) -> str:
    """What a certificate proves, in a sentence, found true by evaluating it here; raises Refused for anything less."""
    contents = [item.read_bytes() if isinstance(item, Path) else item for item in (document, rulepack)]
    try:
        return _recheck(certificate, claimed(certificate, *contents))
    except _MALFORMED as error:
        raise Refused(f"the certificate is not well formed ({type(error).__name__}: {error})") from error


def _recheck(certificate: Mapping[str, Any], claim: Claimed) -> str:
    _, whole, reading = claim.over({})
    box, verdict = reading.seen, certificate["verdict"]
    if certificate["limitrules"] != FORMAT:
        raise Refused(f"it is no {FORMAT}")
    if {path: tuple(map(_ratio, ends)) for path, ends in certificate["variables"].items()} != box:
        raise Refused("the variables or their ranges are not those of the system document")
    expected = {"met": True, "breached": False, "marginal": False, "undetermined": None}[verdict]
    at, here = _point(claim, certificate["witness"], box)
    if truth_of(here) is not expected:
        raise Refused(f"at the witness the rule does not turn out as `{verdict}` says")
    if verdict == "undetermined":
        if truth_of(whole) is not None or not reading.lost.issuperset(certificate["missing"]):
            raise Refused("it is decided, or what is named as missing is stated or is not read")
        named = ", ".join(certificate["missing"]) or "nothing by name"
        return f"{verdict}: open at the witness, missing is {named}; no more is proven"
    if verdict == "marginal" and certificate["holds_at"] is None:
        if truth_of(whole) is False:
            raise Refused("it holds nowhere, which is more than marginal")
        verdict, said = "not met", "fails at the witness; that it holds anywhere is not claimed"
    elif verdict == "marginal":
        if truth_of(_point(claim, certificate["holds_at"], box)[1]) is not True:
            raise Refused("it does not hold where it is said to hold")
        said = "fails at the witness and holds at another point"
    else:
        pieces = _pieces(claim, certificate["cover"], box, expected)
        said = f"{'holds' if expected else 'fails'} everywhere, on {pieces} piece{'s' * (pieces > 1)}"
    if "headroom" not in certificate:
        return f"{verdict}: {said}; no exact headroom is claimed"
    distance, headroom = claim.headroom(at), _ratio(certificate["headroom"])
    if not distance.low == headroom == distance.high:
        raise Refused("the headroom at the witness is another one")
    return f"{verdict}: {said}; the headroom at the witness is exact"


def truth_of(found: Range) -> bool | None:
    """True or False where that is certain, else None."""
    return True if found.low >= 1 else False if found.high <= 0 else None


def main(arguments: list[str]) -> int:
    """Check a file of certificates against a system document and rulepack folders, a line for each finding."""
    if len(arguments) < 2:
        sys.stderr.write(f"{__doc__}\n")
        return 2
    folders = [*map(Path, arguments[2:])] or [path.parent for path in shipped("rulepacks").glob("*/rulepack.yaml")]
    try:
        findings = json.loads(Path(arguments[0]).read_text("utf-8"))["findings"]
        document = Path(arguments[1]).read_bytes()
        packs = [(folder / "rulepack.yaml").read_bytes() for folder in folders]
        by_hash = {hashlib.sha256(pack).hexdigest(): pack for pack in packs}
        is_proven, lines = True, []
        for item in findings:
            try:
                said = "confirmed: " + recheck(item, document, by_hash.get(item["rulepack"]["sha256"], b""))
            except Refused as refusal:
                said, is_proven = f"not confirmed: {refusal}", False
            lines.append(f"{item['rule']} [{', '.join(item['subjects'].values())}] {said}\n")
    except (*_MALFORMED, OSError, InputError) as error:
        sys.stderr.write(f"cannot be read: {error}\n")
        return 2
    sys.stdout.writelines(lines)
    return 0 if is_proven else 1


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
