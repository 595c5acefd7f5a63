"""Small systems written in place, to be varied by path."""

from __future__ import annotations

from typing import Any

import yaml

from limitrules.foundation.source import Source
from limitrules.model.system import System, parse_system
from limitrules.model.vocabulary import load_vocabulary

GONE = object()
"""In place of a value: the line is left out."""

# The figures of the worked example of a load rejection: 83 V on the bus, 171 A allowed, 6.9 kW that drop.
STATION = """
limitrules: system/1
name: Trial
site: {mode: island, ambient: {min: -5 degC}, dc: {capacitance: 20 mF}, load: {peak: 6900 W}}
cells: {c: {capacity: 210 Ah, voltage: {nominal: 3.4512083333333 V}}}
packs:
  north:
    cell: c
    cells_series: 24
    separate_paths: "yes"
    capacity: {rated: 210 Ah}
    charge: {ceiling: 171 A}
    discharge: {ceiling: 400 A}
    resistance: {pulse: 1 mohm}
    lead: {resistance: 0 mohm}
    protection: {charge_current: {enabled: "yes", threshold: 205 A, delay: 3.2 s}}
converters:
  main: {feeds: [north], efficiency: {discharge: 94 %}, power: {ceiling: 14 kW}}
regulators:
  roof:
    feeds: [north]
    charge: {ceiling: 300 A}
    obeys_dynamic_limit: "yes"
    regulator: {dead_time: 1.1 s, time_constant: 1.7 s, slew: 45 A/s}
loads: {house: {power: {rated: 6900 W}}}
"""


class _Plain(yaml.SafeDumper):
    def ignore_aliases(self, data: object) -> bool:
        return True


def site(changes: dict[str, Any] | None = None, document: str = STATION) -> System:
    """A system with some values changed: maps by path, any depth."""
    tree = yaml.safe_load(document)
    for path, value in (changes or {}).items():
        *way, last = path.split(".")
        place = tree
        for step in way:
            place = place.setdefault(step, {})
        if value is GONE:
            place.pop(last)
        else:
            place[last] = value
    text = yaml.dump(tree, Dumper=_Plain, sort_keys=False, allow_unicode=True)
    text = text.replace("'yes'", "yes").replace("'no'", "no")
    return parse_system(Source("trial.yaml", text), load_vocabulary())
