"""The same dozen conditions for evaluators of expressions, over intervals as by hand, and over nominal values alone.

Both evaluators are given what suits them best: flat names, one table of values per check, each text parsed once, and
texts that are written for the example, so that who charges whom is settled in them.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from importlib import import_module
from math import inf, nan
from typing import Any

from tests.bench import by_hand
from tests.bench.by_hand import DOZEN, VOLTAGE_ERROR, Answer, Points, read_high, read_low
from tests.bench.things import Thing, Things

Names = dict[str, object]
Checks = list[tuple[str, Names]]


class Interval:
    """Every number from ``low`` to ``high``; comparisons give None where they hold in a part of it."""

    __slots__ = ("high", "low")

    def __init__(self, low: float, high: float) -> None:
        self.low = low
        self.high = high

    def __repr__(self) -> str:
        return f"{self.low!r} .. {self.high!r}"

    def __add__(self, other: Interval | float) -> Interval:
        if isinstance(other, Interval):
            return Interval(self.low + other.low, self.high + other.high)
        return Interval(self.low + other, self.high + other)

    __radd__ = __add__

    def __sub__(self, other: Interval | float) -> Interval:
        if isinstance(other, Interval):
            return Interval(self.low - other.high, self.high - other.low)
        return Interval(self.low - other, self.high - other)

    def __rsub__(self, other: float) -> Interval:
        return Interval(other - self.high, other - self.low)

    def __mul__(self, other: Interval | float) -> Interval:
        if not isinstance(other, Interval):
            low, high = self.low * other, self.high * other
            return Interval(low, high) if other > 0.0 else Interval(high, low) if other < 0.0 else Interval(0.0, 0.0)
        if 0.0 <= self.low and 0.0 <= other.low and self.high < inf and other.high < inf:
            return Interval(self.low * other.low, self.high * other.high)
        corners = [
            x * y if x and y else 0.0  # nought times anything is nought, however large that may be
            for x in (self.low, self.high) for y in (other.low, other.high)
        ]  # fmt: skip
        return Interval(min(corners), max(corners))

    __rmul__ = __mul__

    def __truediv__(self, other: Interval | float) -> Interval:
        if not isinstance(other, Interval):
            other = Interval(other, other)
        if 0.0 < other.low and 0.0 <= self.low and self.high < inf:
            return Interval(self.low / other.high, self.high / other.low)
        return self * _inverse(other)

    def __rtruediv__(self, other: float) -> Interval:
        if 0.0 < self.low and 0.0 <= other:
            return Interval(other / self.high, other / self.low)
        return _inverse(self) * other

    def __le__(self, other: Interval | float) -> Answer:
        low, high = (other.low, other.high) if isinstance(other, Interval) else (other, other)
        return True if self.high <= low else False if self.low > high else None

    def __lt__(self, other: Interval | float) -> Answer:
        low, high = (other.low, other.high) if isinstance(other, Interval) else (other, other)
        return True if self.high < low else False if self.low >= high else None

    def __ge__(self, other: Interval | float) -> Answer:
        low, high = (other.low, other.high) if isinstance(other, Interval) else (other, other)
        return True if self.low >= high else False if self.high < low else None

    def __gt__(self, other: Interval | float) -> Answer:
        low, high = (other.low, other.high) if isinstance(other, Interval) else (other, other)
        return True if self.low > high else False if self.high <= low else None


def _inverse(value: Interval) -> Interval:
    if value.low <= 0.0 <= value.high:
        return Interval(-inf, inf)
    return Interval(1.0 / value.high, 1.0 / value.low)


# functions of the expressions


def least(*values: Interval) -> Interval:
    return Interval(min([value.low for value in values]), min([value.high for value in values]))


def most(*values: Interval) -> Interval:
    return Interval(max([value.low for value in values]), max([value.high for value in values]))


def all_of(*found: Answer) -> Answer:
    """Python's `and` gives None where a later condition is False, so it cannot be used."""
    return False if False in found else None if None in found else True


def with_error(value: Interval, error: Interval) -> Interval:
    """A value as a device reads it."""
    return Interval(value.low * (1.0 - error.high), value.high * (1.0 + error.high))


def current_at_power(power: Interval, rest: Interval, resistance: Interval) -> Interval:
    return Interval(
        by_hand.current_at_power(power.low, rest.high, resistance.low),
        by_hand.current_at_power(power.high, rest.low, resistance.high),
    )


def _rising(points: Points) -> Callable[[Interval], Interval]:
    """A curve read where it rises."""
    return lambda at: Interval(read_low(points, at.low), read_high(points, at.high))


def functions(things: Things) -> dict[str, Callable[..., object]]:
    """What the evaluators need besides operators. The packs of the example have the same curves."""
    (cell,) = things.all("cells")
    (derating,) = {pack.charge_derating_temperature for pack in things.all("packs")}
    rest: Points = cell.rest_voltage
    if things.nominal:
        return {"min": min, "max": max, "current_at_power": by_hand.current_at_power,
                "rest_at": lambda at: read_low(rest, at), "derated_at": lambda at: read_low(derating, at)}  # fmt: skip
    return {"min": least, "max": most, "current_at_power": current_at_power, "rest_at": _rising(rest),
            "derated_at": _rising(derating), "with_error": with_error, "all_of": all_of}  # fmt: skip


# texts

_FED = ("q0", "q1", "q2")
_CELL = "(p_cells - 1) / p_cells"
_AGED = " + ".join(f"1 / ({q}_resistance_pulse * {q}_resistance_growth + {q}_lead_resistance)" for q in _FED)
_FRESH = " + ".join(f"1 / ({q}_resistance_pulse + {q}_lead_resistance)" for q in _FED)
_REST = ", ".join(f"{q}_cells * rest_at(c_reserve_floor)" for q in _FED)
_UP = ", ".join(f"{q}_cells * {q}_relaxation" for q in _FED)
_BEARS = ", ".join(f"{q}_cells * {q}_voltage_charge_max" for q in _FED)
_TRIP, _WARNING = "p_protection_charge_current_threshold", "p_protection_charge_current_warning_threshold"
_OVER, _UNDER = "p_protection_cell_over_voltage_threshold", "p_protection_cell_under_voltage_threshold"
_SHIFT = "r_temperature_compensation_coefficient * (site_ambient_{} - r_temperature_compensation_reference)"
_COLDEST = "max(site_ambient_min, p_protection_charge_cold_threshold - p_temperature_sensor_allowance)"


def conditions(*, nominal: bool) -> dict[str, str]:
    """The texts by rule. With intervals, conditions that may be None are joined by a function."""

    def joined(*parts: str) -> str:
        return " and ".join(f"({part})" for part in parts) if nominal else f"all_of({', '.join(parts)})"

    def real(value: str, device: str) -> str:
        return f"({value})" if nominal else f"with_error({value}, {device}_voltage_error)"

    cutoff, restart = real("c_voltage_cutoff", "c"), real("c_voltage_restart - c_voltage_cutoff", "c")
    target, stop = real("c_voltage_target", "c"), real("r_voltage_target", "r")
    return {
        "charge-sources-sum-within-pack": " + ".join(f"s{i}_charge_ceiling / s{i}_shares" for i in range(4))
        + " <= p_charge_ceiling",
        "limit-ladder-ordered": joined(
            f"p_charge_ceiling <= {_WARNING} * 0.98",
            f"{_WARNING} <= {_TRIP} * 0.98",
            f"not p_limiter_fitted or {_WARNING} <= p_limiter_engage * 0.98",
            f"not p_limiter_fitted or p_limiter_engage <= {_TRIP} * 0.98",
            f"{_TRIP} <= f0_conventional_nonfusing * 0.98",
        ),
        "setting-not-above-nameplate": joined(
            "p_charge_configured <= p_charge_rated",
            "p_discharge_configured <= p_discharge_rated",
            "p_charge_ceiling <= p_charge_configured * 1.02",
            "p_discharge_ceiling <= p_discharge_configured * 1.02",
        ),
        "power-limit-becomes-current-at-lowest-voltage": "min(current_at_power(c_power_ceiling"
        f" / c_efficiency_discharge, min({_REST}), 1 / ({_AGED}) + c_lead_resistance), c_discharge_ceiling)"
        " <= c_shares * min(q0_discharge_ceiling, q1_discharge_ceiling, q2_discharge_ceiling)",
        "every-source-obeys-or-is-budgeted": f"p_charge_ceiling * derated_at({_COLDEST}) - ("
        + " + ".join(f"(0 if s{i}_obeys_dynamic_limit else s{i}_charge_ceiling / s{i}_shares)" for i in range(4))
        + ") >= 0",
        "charge-voltage-below-cell-protection-with-spread": f"{target} / p_cells + p_spread_near_full * {_CELL}"
        f" <= {_OVER}",
        "regulator-charge-voltage-below-cell-protection-with-spread": f"{stop} / p_cells"
        f" + p_spread_near_full * {_CELL} <= {_OVER}",
        "regulator-temperature-compensation-off": f"not r_temperature_compensation_enabled or {stop}"
        f" + max({_SHIFT.format('min')}, {_SHIFT.format('max')}) <= min({_BEARS})",
        "sense-drop-and-compensation-safe": joined(
            f"c_remote_sense or {target} - p_full_detect_tail_current * (c_lead_resistance + p_lead_resistance)"
            " >= p_cells * cell_voltage_full_min",
            f"not c_lead_compensation_enabled or {target} + c_charge_ceiling * c_lead_compensation_resistance"
            " <= p_cells * cell_voltage_charge_max",
        ),
        "low-voltage-ladder-ordered": f"{cutoff} / p_cells - p_spread_near_empty * {_CELL} >= {_UNDER}",
        "restart-hysteresis-exceeds-rebound": 'c_voltage_restart_condition == "charge-current"'
        f' or c_voltage_restart_condition == "manual" or {restart}'
        f" >= c_discharge_ceiling * (1 / ({_FRESH}) + c_lead_resistance) + max({_UP})",
        "charger-targets-coherent": joined(
            "r_voltage_target >= c_voltage_target * 0.997", "r_voltage_target <= c_voltage_target * 1.003"
        ),
    }


# values


def values(rule: str, text: str, things: Things, paths: dict[str, str]) -> Names:
    """The names that the condition of a check reads, as intervals or with nominal values."""
    named: dict[str, Thing] = {name: things.by_path[path] for name, path in paths.items()}
    named["site"] = things.by_path["site"]
    if "p" in named:
        named["cell"] = named["p"].cell
        named |= {f"s{i}": charger for i, charger in enumerate(named["p"].chargers)}
        named |= {f"f{i}": fuse for i, fuse in enumerate(named["p"].own_fuses)}
    for source in [named[name] for name in ("c", "r") if name in named]:
        named |= {f"q{i}": pack for i, pack in enumerate(source.fed)}
    found: Names = {}
    for name, thing in named.items():
        for attribute, value in vars(thing).items():
            found[f"{name}_{attribute}"] = _given(value, things.nominal)
        if name.startswith("q"):
            for attribute in ("relaxation", "voltage_charge_max"):
                found[f"{name}_{attribute}"] = _given(getattr(thing.cell, attribute), things.nominal)
        found.setdefault(f"{name}_voltage_error", _given((VOLTAGE_ERROR, VOLTAGE_ERROR), things.nominal))
    words = text.replace("(", " ").replace(")", " ").replace(",", " ").split()
    return {word: found.get(word) for word in words if word.isidentifier() and word in found}


def _given(value: object, nominal: bool) -> object:
    """A pair as an interval, or as the number that both its ends are; what is unknown is no number."""
    if not isinstance(value, tuple) or len(value) != 2 or not isinstance(value[0], float):
        return value
    if not nominal:
        return Interval(*value)
    return value[0] if value[0] == value[1] else nan


# evaluators


def simpleeval_plan(texts: dict[str, str], checks: Checks, known: dict[str, Any]) -> list[Callable[[], object]]:
    """One evaluator per check, its text parsed."""
    module = import_module("simpleeval")
    found: list[Callable[[], object]] = []
    for rule, names in checks:
        evaluator = module.SimpleEval(names=names, functions=known)
        found.append(partial(evaluator.eval, texts[rule], evaluator.parse(texts[rule])))
    return found


def asteval_plan(texts: dict[str, str], checks: Checks, known: dict[str, Any]) -> list[Callable[[], object]]:
    """One interpreter per check, its text parsed."""
    module = import_module("asteval")
    found: list[Callable[[], object]] = []
    for rule, names in checks:
        interpreter = module.Interpreter(use_numpy=False)
        interpreter.symtable.update({**names, **known})
        found.append(partial(interpreter.run, interpreter.parse(texts[rule])))
    return found


EVALUATORS = {"simpleeval": simpleeval_plan, "asteval": asteval_plan}
assert set(conditions(nominal=True)) == set(conditions(nominal=False)) == set(DOZEN)
