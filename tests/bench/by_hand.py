"""A dozen of the bundled rules as one would write them by hand: plain functions over (low, high) pairs.

They read attributes of plain objects, keep everything in local variables and give True, False or None (holds in a
part of the tolerances, or something is unknown). They round nothing outwards and explain nothing. What does not
change with a number, such as who charges a pack, is worked out beforehand, as the survey does when it binds.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from math import inf, sqrt
from typing import Any

from tests.bench.things import Thing, Things

Pair = tuple[float, float]
Points = tuple[tuple[float, float, float], ...]
Answer = bool | None

LADDER_GAP, REPORTED_EXCESS, TARGET_BAND = 0.98, 1.02, 0.003
VOLTAGE_ERROR, RELAXATION, RESISTANCE_GROWTH, MANAGED_MINIMUM = 0.006, 0.03, 2.0, 0.0
_BLOCKING = ("block-charge", "block-both")


def current_at_power(power: float, rest: float, resistance: float) -> float:
    """The DC current that delivers a power from a source; more than any limit where none does."""
    left = rest * rest - 4.0 * resistance * power
    return 2.0 * power / (rest + sqrt(left)) if left > 0.0 else inf


def read_low(points: Points, x: float) -> float:
    return _read(points, x, 1)


def read_high(points: Points, x: float) -> float:
    return _read(points, x, 2)


def _read(points: Points, x: float, column: int) -> float:
    before = points[0]
    for point in points:
        if x <= point[0]:
            if point is before:
                return point[column]
            share = (x - before[0]) / (point[0] - before[0])
            return before[column] + (point[column] - before[column]) * share
        before = point
    raise ValueError("outside the table")


def charge_sources_sum(p: Thing) -> Answer:
    low = high = 0.0
    for s in p.chargers:
        a, b = s.charge_ceiling
        low += a / s.shares
        high += b / s.shares
    a, b = p.charge_ceiling
    return True if high <= a else False if low > b else None


def limit_ladder(p: Thing) -> Answer:
    ceiling, trip = p.charge_ceiling, p.protection_charge_current_threshold
    warning = p.protection_charge_current_warning_threshold
    fuse_low, fuse_high = inf, inf
    for f in p.own_fuses:
        a, b = f.conventional_nonfusing
        fuse_low, fuse_high = min(fuse_low, a), min(fuse_high, b)
    inner = ceiling if warning is None else warning
    sure = inner[1] <= trip[0] * LADDER_GAP and trip[1] <= fuse_low * LADDER_GAP
    never = inner[0] > trip[1] * LADDER_GAP or trip[0] > fuse_high * LADDER_GAP
    if warning is not None:
        sure = sure and ceiling[1] <= warning[0] * LADDER_GAP
        never = never or ceiling[0] > warning[1] * LADDER_GAP
    if p.limiter_fitted:
        engage = p.limiter_engage
        sure = sure and inner[1] <= engage[0] * LADDER_GAP and engage[1] <= trip[0] * LADDER_GAP
        never = never or inner[0] > engage[1] * LADDER_GAP or engage[0] > trip[1] * LADDER_GAP
    return True if sure else False if never else None


def setting_not_above_nameplate(p: Thing) -> Answer:
    rated, configured, ceiling = p.charge_rated, p.charge_configured, p.charge_ceiling
    rated_out, configured_out, ceiling_out = p.discharge_rated, p.discharge_configured, p.discharge_ceiling
    if (
        configured[1] <= rated[0] and configured_out[1] <= rated_out[0]
        and ceiling[1] <= configured[0] * REPORTED_EXCESS and ceiling_out[1] <= configured_out[0] * REPORTED_EXCESS
    ):  # fmt: skip
        return True
    if (
        configured[0] > rated[1] or configured_out[0] > rated_out[1]
        or ceiling[0] > configured[1] * REPORTED_EXCESS or ceiling_out[0] > configured_out[1] * REPORTED_EXCESS
    ):  # fmt: skip
        return False
    return None


def power_limit_at_lowest_voltage(c: Thing) -> Answer:
    floor_low, floor_high = c.reserve_floor
    rest_low, rest_high = inf, inf
    sum_low = sum_high = 0.0
    least_low, least_high = inf, inf
    for q in c.fed:
        points = q.cell.rest_voltage
        rest_low = min(rest_low, q.cells * read_low(points, floor_low))
        rest_high = min(rest_high, q.cells * read_high(points, floor_high))
        a, b = q.resistance_pulse
        g, h = q.resistance_growth or (RESISTANCE_GROWTH, RESISTANCE_GROWTH)
        e, f = q.lead_resistance
        sum_low += 1.0 / (b * h + f)
        sum_high += 1.0 / (a * g + e)
        a, b = q.discharge_ceiling
        least_low, least_high = min(least_low, a), min(least_high, b)
    a, b = c.lead_resistance
    bank_low, bank_high = 1.0 / sum_high + a, 1.0 / sum_low + b
    a, b = c.power_ceiling or c.power_rated
    e, f = c.efficiency_discharge
    g, h = c.discharge_ceiling
    low = min(current_at_power(a / f, rest_high, bank_low), g)
    high = min(current_at_power(b / e, rest_low, bank_high), h)
    return True if high <= c.shares * least_low else False if low > c.shares * least_high else None


def every_source_obeys(p: Thing, site: Thing) -> Answer:
    low = high = 0.0
    for s in p.unmanaged:
        a, b = s.charge_ceiling
        low += a / s.shares
        high += b / s.shares
    a, b = p.charge_ceiling
    curve = p.charge_derating_temperature
    if curve is not None:
        c, d = site.ambient_min
        if p.protection_charge_cold_enabled and p.protection_charge_cold_action in _BLOCKING:
            g, h = p.protection_charge_cold_threshold
            e, f = p.temperature_sensor_allowance
            c, d = max(c, g - f), max(d, h - e)
        a, b = a * read_low(curve, c), b * read_high(curve, d)
    return True if a - high >= MANAGED_MINIMUM else False if b - low < MANAGED_MINIMUM else None


def target_below_cell_protection(c: Thing, p: Thing) -> Answer:
    a, b = c.voltage_target
    error = c.voltage_error
    e = VOLTAGE_ERROR if error is None else error[1]
    g, h = p.spread_near_full
    cells = p.cells
    rest = (cells - 1.0) / cells
    low, high = a * (1.0 - e) / cells + g * rest, b * (1.0 + e) / cells + h * rest
    a, b = p.protection_cell_over_voltage_threshold
    return True if high <= a else False if low > b else None


def temperature_compensation_off(r: Thing, site: Thing) -> Answer:
    if not r.temperature_compensation_enabled:
        return True
    g, h = r.temperature_compensation_coefficient
    zero_low, zero_high = r.temperature_compensation_reference
    shift_low = shift_high = -inf
    for a, b in (site.ambient_min, site.ambient_max):
        a, b = a - zero_high, b - zero_low
        corners = (g * a, g * b, h * a, h * b)
        shift_low, shift_high = max(shift_low, min(corners)), max(shift_high, *corners)
    a, b = r.voltage_target
    error = r.voltage_error
    e = VOLTAGE_ERROR if error is None else error[1]
    low, high = a * (1.0 - e) + shift_low, b * (1.0 + e) + shift_high
    bear_low, bear_high = inf, inf
    for p in r.fed:
        a, b = p.cell.voltage_charge_max
        bear_low, bear_high = min(bear_low, p.cells * a), min(bear_high, p.cells * b)
    return True if high <= bear_low else False if low > bear_high else None


def sense_drop_safe(c: Thing, p: Thing) -> Answer:
    a, b = c.voltage_target
    error = c.voltage_error
    e = VOLTAGE_ERROR if error is None else error[1]
    low, high = a * (1.0 - e), b * (1.0 + e)
    cell, cells = p.cell, p.cells
    sure, never = True, False
    if not c.remote_sense:
        g, h = p.full_detect_tail_current
        c_low, c_high = c.lead_resistance
        p_low, p_high = p.lead_resistance
        full_low, full_high = cell.voltage_full_min
        sure = low - h * (c_high + p_high) >= cells * full_high
        never = high - g * (c_low + p_low) < cells * full_low
    if c.lead_compensation_enabled:
        g, h = c.charge_ceiling
        a, b = c.lead_compensation_resistance
        max_low, max_high = cell.voltage_charge_max
        sure = sure and high + h * b <= cells * max_low
        never = never or low + g * a > cells * max_high
    return True if sure else False if never else None


def low_voltage_ladder(c: Thing, p: Thing) -> Answer:
    a, b = c.voltage_cutoff
    error = c.voltage_error
    e = VOLTAGE_ERROR if error is None else error[1]
    g, h = p.spread_near_empty
    cells = p.cells
    rest = (cells - 1.0) / cells
    low, high = a * (1.0 - e) / cells - h * rest, b * (1.0 + e) / cells - g * rest
    a, b = p.protection_cell_under_voltage_threshold
    return True if low >= b else False if high < a else None


def restart_hysteresis(c: Thing) -> Answer:
    if c.voltage_restart_condition in ("charge-current", "manual"):
        return True
    a, b = c.voltage_restart
    g, h = c.voltage_cutoff
    error = c.voltage_error
    e = VOLTAGE_ERROR if error is None else error[1]
    low, high = (a - h) * (1.0 - e), (b - g) * (1.0 + e)
    sum_low = sum_high = 0.0
    up_low = up_high = -inf
    for q in c.fed:
        a, b = q.resistance_pulse
        g, h = q.lead_resistance
        sum_low += 1.0 / (b + h)
        sum_high += 1.0 / (a + g)
        a, b = q.cell.relaxation or (RELAXATION, RELAXATION)
        up_low, up_high = max(up_low, q.cells * a), max(up_high, q.cells * b)
    a, b = c.lead_resistance
    bank_low, bank_high = 1.0 / sum_high + a, 1.0 / sum_low + b
    a, b = c.discharge_ceiling
    return True if low >= b * bank_high + up_high else False if high < a * bank_low + up_low else None


def targets_coherent(c: Thing, r: Thing) -> Answer:
    a, b = c.voltage_target
    g, h = r.voltage_target
    if g >= b * (1.0 - TARGET_BAND) and h <= a * (1.0 + TARGET_BAND):
        return True
    return False if h < a * (1.0 - TARGET_BAND) or g > b * (1.0 + TARGET_BAND) else None


DOZEN: dict[str, tuple[Callable[..., Answer], str]] = {
    "charge-sources-sum-within-pack": (charge_sources_sum, "p"),
    "limit-ladder-ordered": (limit_ladder, "p"),
    "setting-not-above-nameplate": (setting_not_above_nameplate, "p"),
    "power-limit-becomes-current-at-lowest-voltage": (power_limit_at_lowest_voltage, "c"),
    "every-source-obeys-or-is-budgeted": (every_source_obeys, "p site"),
    "charge-voltage-below-cell-protection-with-spread": (target_below_cell_protection, "c p"),
    "regulator-charge-voltage-below-cell-protection-with-spread": (target_below_cell_protection, "r p"),
    "regulator-temperature-compensation-off": (temperature_compensation_off, "r site"),
    "sense-drop-and-compensation-safe": (sense_drop_safe, "c p"),
    "low-voltage-ladder-ordered": (low_voltage_ladder, "c p"),
    "restart-hysteresis-exceeds-rebound": (restart_hysteresis, "c"),
    "charger-targets-coherent": (targets_coherent, "c r"),
}
"""The function of a rule and whom it is given."""


def plan(things: Things, subjects: Iterator[tuple[str, dict[str, str]]]) -> list[tuple[Callable[..., Answer], Any]]:
    """Each check as a function and what it is called with. ``subjects`` gives rule and paths by name."""
    found = []
    for rule, paths in subjects:
        function, names = DOZEN[rule]
        found.append((function, tuple(things.by_path[paths.get(name, name)] for name in names.split())))
    return found
