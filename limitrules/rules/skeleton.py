"""A small rulepack to begin with: one rule, a base system, and cases that notice every small fault of the rule."""

from __future__ import annotations

import re
from pathlib import Path

from limitrules.foundation.diagnostics import refuse

_NAME = re.compile(r"[a-z][a-z0-9-]*\Z")

RULEPACK = """\
limitrules: rulepack/1
name: NAME
version: 0.1.0
vocabulary: storage
title: What we ask for at our sites
meaning: One sentence on what these rules look at.

# Figures that a rule leaves open. Another rulepack may set a local one; the others only with a written reason.
parameters:
  gap:
    value: 5 %
    local: true
    meaning: Share of the threshold that the ceiling keeps away from it.

rules:
  ceiling-keeps-its-distance:
    title: The charge ceiling keeps its distance from the protection
    consequence: outage
    about: each pack p
    when: p.protection.charge_current.threshold is stated
    require: p.charge.ceiling at or below p.protection.charge_current.threshold less gap
    because: >-
      Pack {p} allows {p.charge.ceiling}; its protection acts at {p.protection.charge_current.threshold}, and {gap} of
      that are to stay free.
    remedy:
      - Lower the charge ceiling.
      - Ask the pack maker whether the threshold may be higher.
    caution: A protection that trips takes the pack off; it is no limit to work at.
    basis: ["charge control and battery protection (IEC 62619)"]
    evidence: Ceiling and threshold read back, and the current at full charge on a clamp meter.
"""

BASE = """\
# The system that the cases change a little. Every rule holds on it.
limitrules: system/1
name: Harbour ferry berth
packs:
  a: {charge: {ceiling: 90 A ± 2 %, rated: 91 A}, protection: {charge_current: {threshold: 100 A ± 1 %}}}
  b: {charge: {ceiling: 80 A ± 2 %, rated: 91 A}}
"""

CASES = """\
# Small changes to the base, and the verdict that the rule must come to. `limitrules rulepack prove` runs them and
# tries small faults in every rule: a comparison turned round, a margin dropped. The cases have to notice each.
limitrules: cases/1
base: base.yaml
cases:
  ceiling-keeps-its-distance:
    - {expect: met}
    - {expect: breached, set: {packs.a.charge.ceiling: 99 A}}
    - {expect: marginal, set: {packs.a.charge.ceiling: 93 A ± 2 %}}
    - {expect: marginal, set: {packs.a.charge.ceiling: 94 A ± 2 %}}
    - {expect: breached, set: {packs.a.charge.ceiling: 120 A}}
    - {expect: met, set: {packs.a.charge.ceiling: 60 A, packs.a.charge.rated: 96 A}}
    - {expect: undetermined, set: {packs.a.charge.ceiling: unknown}}
    - {expect: not applicable, subject: packs.b}
"""


def write_skeleton(folder: Path) -> tuple[Path, ...]:
    """Write a rulepack named like its folder; the files. Raises InputError where the folder is there already."""
    name = folder.name
    if not _NAME.match(name):
        raise refuse("bad-name", f"`{name}` is no name of a rulepack", where=str(folder),
                     expected="small letters, digits and hyphens, such as `our-sites`")  # fmt: skip
    if folder.exists():
        raise refuse("folder-exists", "this is there already, and nothing in it is touched", where=str(folder),
                     advice="name a folder that does not exist yet")  # fmt: skip
    try:
        folder.mkdir(parents=True)
        files = {"rulepack.yaml": RULEPACK.replace("NAME", name), "base.yaml": BASE, "cases.yaml": CASES}
        for file, text in files.items():
            (folder / file).write_text(text, encoding="utf-8")
    except OSError as error:
        raise refuse("cannot-write", f"the folder cannot be made: {error.strerror}", where=str(folder)) from error
    return tuple(folder / file for file in files)
