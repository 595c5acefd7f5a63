"""Ways to forge a certificate, each as well as a forger can. A forgery that would change nothing is not made."""

from __future__ import annotations

import copy
import hashlib
import random
from collections.abc import Callable
from fractions import Fraction
from typing import Any

from tests.exact.certified import Certificate, written


def other_than(chance: random.Random, text: str) -> str:
    """Another exact number: beside it by far or by a hair."""
    step = chance.choice([Fraction(1, 10**30), Fraction(1, 7), Fraction(40)])
    return written(Fraction(text) + chance.choice([1, -1]) * step)


def deepest(cover: Any) -> list[tuple[dict[str, Any], str]]:
    """The places in a tree of cuts at which a leaf stands."""
    found: list[tuple[dict[str, Any], str]] = []
    for side in ("below", "above"):
        found += deepest(cover[side]) if isinstance(cover[side], dict) else [(cover, side)]
    return found


def another_verdict(item: Certificate, chance: random.Random) -> bool:
    item["verdict"] = chance.choice([word for word in ("met", "marginal", "breached", "undetermined")
                                     if word != item["verdict"]])  # fmt: skip
    # As well as a forger can: with all that the other verdict asks for.
    middle = {path: chance.choice(ends) for path, ends in item["variables"].items()}
    item.setdefault("witness", middle)
    if item["verdict"] in ("met", "breached"):
        item.setdefault("cover", "decided")
    nowhere = [None] if item.get("cover") == "decided" else []
    item.setdefault("holds_at", chance.choice([item["witness"], middle, *nowhere]))
    item.setdefault("missing", [chance.choice([*item["variables"], "packs"])])
    return True


def another_range(item: Certificate, chance: random.Random) -> bool:
    if not item["variables"]:
        return False
    path, way = chance.choice([*item["variables"]]), chance.randrange(3)
    if way == 0:
        ends, side = item["variables"][path], chance.randrange(2)
        ends[side] = other_than(chance, ends[side])
    elif way == 1:
        del item["variables"][path]
    else:
        item["variables"][f"{path}.more"] = ["0/1", "1/1"]
    return True


def a_hole(item: Certificate, chance: random.Random) -> bool:
    if "cover" not in item:
        return False
    nothing: Any = chance.choice([None, {}, "", [], "met", True])
    if not isinstance(item["cover"], dict):
        item["cover"] = nothing
        return True
    cover, side = chance.choice(deepest(item["cover"]))
    if chance.random() < 0.3:
        del cover[side]
    else:
        cover[side] = nothing
    return True


def a_cut_outside(item: Certificate, chance: random.Random) -> bool:
    if "cover" not in item or not item["variables"]:
        return False
    path = chance.choice([*item["variables"]])
    low, high = map(Fraction, item["variables"][path])
    at = chance.choice([low, high, low - 1, high + Fraction(1, 10**30)])
    halves = {side: copy.deepcopy(item["cover"]) for side in ("below", "above")}
    item["cover"] = {"cut": path, "at": written(at), **halves}
    return True


def a_leaf_that_does_not_decide(item: Certificate, chance: random.Random) -> bool:
    if not isinstance(item.get("cover"), dict):
        return False
    item["cover"] = "decided"
    return True


def another_witness(item: Certificate, chance: random.Random) -> bool:
    if not item.get("witness"):
        return False
    if item["verdict"] == "marginal" and item["holds_at"] and chance.random() < 0.5:
        item["witness"], item["holds_at"] = item["holds_at"], item["witness"]
        return True
    path = chance.choice([*item["witness"]])
    low, high = map(Fraction, item["variables"][path])
    if chance.random() < 0.3:
        del item["witness"][path]
        return True
    at = chance.choice([low - Fraction(1, 10**30), high + Fraction(1, 10**30), 2 * high + 1])
    item["witness"][path] = written(at)
    return True


def another_headroom(item: Certificate, chance: random.Random) -> bool:
    if "headroom" not in item:
        return False
    item["headroom"] = written(Fraction(item["headroom"]) + chance.choice([1, -1]) * Fraction(1, 10**30))
    return True


def another_document(item: Certificate, chance: random.Random) -> bool:
    part = item[chance.choice(["system", "rulepack"])]
    part["sha256"] = hashlib.sha256(chance.randbytes(8)).hexdigest()
    return True


def another_subject(item: Certificate, chance: random.Random) -> bool:
    way = chance.randrange(3)
    if way == 0 and item["subjects"]:
        name = chance.choice([*item["subjects"]])
        item["subjects"][name] = chance.choice(["packs.nowhere", "cells.nowhere", "site"])
    elif way == 1 and item["subjects"]:
        item["subjects"].pop(chance.choice([*item["subjects"]]))
    else:
        item["subjects"]["more"] = "packs.north"
    return True


def another_missing(item: Certificate, chance: random.Random) -> bool:
    if "missing" not in item:
        return False
    item["missing"].append(chance.choice(["site.mode", "packs.nowhere.charge.rated", *item["variables"]]))
    return True


def another_format(item: Certificate, chance: random.Random) -> bool:
    part, name = chance.choice(
        [(item, "limitrules"), (item, "rule"), (item["rulepack"], "version"), (item["rulepack"], "name")]
    )
    part[name] = f"{part[name]}x"
    return True


FORGERIES: tuple[Callable[[Certificate, random.Random], bool], ...] = (
    another_verdict, another_range, a_hole, a_cut_outside, a_leaf_that_does_not_decide, another_witness,
    another_headroom, another_document, another_subject, another_missing, another_format,
)  # fmt: skip
