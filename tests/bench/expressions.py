"""The same dozen conditions for evaluators of expressions: nominal numbers, no tolerances, names looked up beforehand.

Both are given what suits them best: flat names, one table of numbers per check, and each text parsed once.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from importlib import import_module
from math import nan
from typing import Any

from tests.bench.by_hand import DOZEN, Thing, Things, current_at_power, read_low

_CELL = "(p_cells - 1) / p_cells"
_PULSE = "1 / ({q}_resistance_pulse{growth} + {q}_lead_resistance)"
_AGED = " + ".join(_PULSE.format(q=f"q{i}", growth=f" * q{i}_resistance_growth") for i in range(3))
_FRESH = " + ".join(_PULSE.format(q=f"q{i}", growth="") for i in range(3))
_REST = ", ".join(f"q{i}_cells * rest_at(c_reserve_floor)" for i in range(3))
_UP = ", ".join(f"q{i}_cells * q{i}_relaxation" for i in range(3))
_BEARS = ", ".join(f"q{i}_cells * q{i}_voltage_charge_max" for i in range(3))
_TRIP, _WARNING = "p_protection_charge_current_threshold", "p_protection_charge_current_warning_threshold"
_OVER, _UNDER = "p_protection_cell_over_voltage_threshold", "p_protection_cell_under_voltage_threshold"
_SHIFT = "{r}_temperature_compensation_coefficient * (site_ambient_{end} - {r}_temperature_compensation_reference)"

CONDITIONS = {
    "charge-sources-sum-within-pack": " + ".join(f"s{i}_charge_ceiling / s{i}_shares" for i in range(4))
    + " <= p_charge_ceiling",
    "limit-ladder-ordered": f"p_charge_ceiling <= {_WARNING} * 0.98 and {_WARNING} <= {_TRIP} * 0.98"
    f" and (not p_limiter_fitted or ({_WARNING} <= p_limiter_engage * 0.98 and p_limiter_engage <= {_TRIP} * 0.98))"
    f" and {_TRIP} <= f0_conventional_nonfusing * 0.98",
    "setting-not-above-nameplate": "p_charge_configured <= p_charge_rated"
    " and p_discharge_configured <= p_discharge_rated and p_charge_ceiling <= p_charge_configured * 1.02"
    " and p_discharge_ceiling <= p_discharge_configured * 1.02",
    "power-limit-becomes-current-at-lowest-voltage": "min(current_at_power(c_power_ceiling / c_efficiency_discharge,"
    f" min({_REST}), 1 / ({_AGED}) + c_lead_resistance), c_discharge_ceiling)"
    " <= c_shares * min(q0_discharge_ceiling, q1_discharge_ceiling, q2_discharge_ceiling)",
    "every-source-obeys-or-is-budgeted": "p_charge_ceiling - ("
    + " + ".join(f"(0 if s{i}_obeys_dynamic_limit else s{i}_charge_ceiling / s{i}_shares)" for i in range(4))
    + ") >= 0",
    "charge-voltage-below-cell-protection-with-spread": f"c_voltage_target / p_cells + p_spread_near_full * {_CELL}"
    f" <= {_OVER}",
    "regulator-charge-voltage-below-cell-protection-with-spread": "r_voltage_target / p_cells"
    f" + p_spread_near_full * {_CELL} <= {_OVER}",
    "regulator-temperature-compensation-off": "not r_temperature_compensation_enabled or r_voltage_target"
    f" + max({_SHIFT.format(r='r', end='min')}, {_SHIFT.format(r='r', end='max')}) <= min({_BEARS})",
    "sense-drop-and-compensation-safe": "(c_remote_sense or c_voltage_target - p_full_detect_tail_current"
    " * (c_lead_resistance + p_lead_resistance) >= p_cells * cell_voltage_full_min) and"
    " (not c_lead_compensation_enabled or c_voltage_target"
    " + c_charge_ceiling * c_lead_compensation_resistance <= p_cells * cell_voltage_charge_max)",
    "low-voltage-ladder-ordered": f"c_voltage_cutoff / p_cells - p_spread_near_empty * {_CELL} >= {_UNDER}",
    "restart-hysteresis-exceeds-rebound": 'c_voltage_restart_condition == "charge-current"'
    ' or c_voltage_restart_condition == "manual" or c_voltage_restart - c_voltage_cutoff'
    f" >= c_discharge_ceiling * (1 / ({_FRESH}) + c_lead_resistance) + max({_UP})",
    "charger-targets-coherent": "r_voltage_target >= c_voltage_target * 0.997"
    " and r_voltage_target <= c_voltage_target * 1.003",
}


def numbers(rule: str, things: Things, paths: dict[str, str]) -> dict[str, object]:
    """The names that the condition of a check reads, with their nominal values; what is unknown is no number."""
    named: dict[str, Thing] = {name: things.by_path[path] for name, path in paths.items()}
    named["site"] = things.by_path["site"]
    if "p" in named:
        named["cell"] = named["p"].cell
        named |= {f"s{i}": charger for i, charger in enumerate(named["p"].chargers)}
        named |= {f"f{i}": fuse for i, fuse in enumerate(named["p"].own_fuses)}
    for source in [named[name] for name in ("c", "r") if name in named]:
        named |= {f"q{i}": pack for i, pack in enumerate(source.fed)}
    found: dict[str, object] = {}
    for name, thing in named.items():
        for attribute, value in vars(thing).items():
            if isinstance(value, tuple) and len(value) == 2 and isinstance(value[0], float):
                found[f"{name}_{attribute}"] = value[0] if value[0] == value[1] else nan
            elif isinstance(value, bool | float | str):
                found[f"{name}_{attribute}"] = value
        if name.startswith("q"):
            for attribute in ("relaxation", "voltage_charge_max"):
                found[f"{name}_{attribute}"] = getattr(thing.cell, attribute)[0]
    words = CONDITIONS[rule].replace("(", " ").replace(")", " ").replace(",", " ").split()
    return {word: found.get(word) for word in words if word.isidentifier() and word in found}


def functions(things: Things) -> dict[str, Callable[..., float]]:
    """What Python's evaluators need besides operators. The example has one sort of cell, so one curve."""
    (cell,) = things.all("cells")
    points = cell.rest_voltage
    return {"min": min, "max": max, "current_at_power": current_at_power, "rest_at": lambda at: read_low(points, at)}


def simpleeval_plan(checks: list[tuple[str, dict[str, object]]], known: dict[str, Any]) -> list[Callable[[], object]]:
    """One evaluator per check, its text parsed."""
    module = import_module("simpleeval")
    found: list[Callable[[], object]] = []
    for rule, names in checks:
        evaluator = module.SimpleEval(names=names, functions=known)
        text = CONDITIONS[rule]
        found.append(partial(evaluator.eval, text, evaluator.parse(text)))
    return found


def asteval_plan(checks: list[tuple[str, dict[str, object]]], known: dict[str, Any]) -> list[Callable[[], object]]:
    """One interpreter per check, its text parsed."""
    module = import_module("asteval")
    found: list[Callable[[], object]] = []
    for rule, names in checks:
        interpreter = module.Interpreter(symtable={**names, **known}, use_numpy=False)
        found.append(partial(interpreter.run, interpreter.parse(CONDITIONS[rule])))
    return found


EVALUATORS = {"simpleeval": simpleeval_plan, "asteval": asteval_plan}
assert set(CONDITIONS) == set(DOZEN)
