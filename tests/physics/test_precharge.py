"""Precharge, inrush and bus rise, against closed forms with many digits from complex roots, and against tiny steps."""

from __future__ import annotations

import math
from collections.abc import Callable
from fractions import Fraction

import mpmath
import pytest
from attrs import evolve
from hypothesis import assume, given
from hypothesis import strategies as st
from mpmath import mpf

from limitrules.engine.survey import Survey
from limitrules.foundation.source import Source
from limitrules.language.functions import STANDARD, Bounds, Direction, Function, refute
from limitrules.physics import precharge
from limitrules.rules.findings import Finding
from limitrules.rules.rulepack import check_drafts, parse_draft
from tests.rules.support import document, rule, system

BY_NAME = {item.name: item for item in precharge.FUNCTIONS}
EACH = pytest.mark.parametrize("function", precharge.FUNCTIONS, ids=lambda item: item.name)
WIDE = {
    "voltage": (0.0, 900.0), "resistance": (0.01, 200.0), "capacitance": (1e-4, 1e-1), "time": (0.0, 3.0),
    "share": (0.0, 1.0), "load_resistance": (1.0, 3000.0), "repetition": (0.1, 60.0), "inductance": (1e-7, 1e-2),
    "current": (0.0, 500.0), "power": (0.0, 1e5), "source_voltage": (0.0, 900.0),
}  # fmt: skip
NARROW = {
    "voltage": (440.0, 460.0), "resistance": (64.0, 72.0), "capacitance": (4e-3, 5.2e-3), "time": (0.25, 0.4),
    "share": (0.8, 0.96), "load_resistance": (900.0, 2000.0), "repetition": (10.0, 12.0), "inductance": (1e-5, 2e-5),
    "current": (80.0, 90.0), "power": (4e3, 5e3), "source_voltage": (430.0, 470.0),
}  # fmt: skip
Formula = Callable[..., mpf]


def divided(resistance: mpf, load: mpf, capacitance: mpf) -> tuple[mpf, mpf]:
    """End share and time constant by Norton: a current source into both resistances side by side."""
    parallel = 1 / (1 / resistance + 1 / load)
    return parallel / resistance, parallel * capacitance


def inrush(v: mpf, r: mpf, l: mpf, c: mpf) -> mpf:  # noqa: E741
    """From both roots of L s^2 + R s + 1 / C, real or not: the current is largest where its slope is zero."""
    root = mpmath.sqrt(mpmath.mpc(r * r - 4 * l / c))
    if root == 0:
        return 2 * v / r / mpmath.e
    a, b = (-r + root) / (2 * l), (-r - root) / (2 * l)
    t = mpmath.log(b / a) / (a - b)
    return (v / (l * (a - b)) * (mpmath.exp(a * t) - mpmath.exp(b * t))).real


def heat(v: mpf, r: mpf, c: mpf, t: mpf) -> mpf:
    """What the source gave less what the capacitor has."""
    end = v * (1 - mpmath.exp(-t / (r * c)))
    return v * c * end - c * end * end / 2


def rings(e: mpf, v: mpf, i: mpf, l: mpf, c: mpf) -> mpf:  # noqa: E741
    """Amplitude of (v - e) cos(w t) + i / (w c) sin(w t)."""
    return e + abs(mpmath.mpc(v - e, i / (mpmath.sqrt(1 / (l * c)) * c)))


FORMULAS: dict[str, Formula] = {
    "precharge_voltage": lambda v, r, c, t: v - v / mpmath.exp(t / (r * c)),
    "loaded_precharge_voltage": lambda v, r, load, c, t: (
        v * divided(r, load, c)[0] * (1 - mpmath.exp(-t / divided(r, load, c)[1]))
    ),
    "precharge_current": lambda v, r, c, t: (v - (v - v / mpmath.exp(t / (r * c)))) / r,
    "precharge_time": lambda s, r, c: r * c * mpmath.log(1 / (1 - s)),
    "loaded_precharge_time": lambda s, r, load, c: (
        divided(r, load, c)[1] * mpmath.log(1 / (1 - s / divided(r, load, c)[0]))
        if s < divided(r, load, c)[0]
        else mpmath.inf
    ),
    "precharge_energy_after": heat,
    "precharge_energy": lambda v, c: heat(v, mpf(1), c, 400 * c),
    "precharge_power": lambda v, c, t: heat(v, mpf(1), c, 400 * c) / t,
    "inrush_peak": inrush,
    "bus_voltage_at_current": lambda v, i, t, c: v + i * t / c,
    "bus_voltage_at_power": lambda v, p, t, c: mpmath.sqrt(2 * (c * v * v / 2 + p * t) / c),
    "bus_peak_behind_inductance": rings,
}


def drawn(function: Function, data: st.DataObject) -> list[float]:
    return [data.draw(st.floats(*WIDE[item.name])) for item in function.arguments]


def point(function: Function, values: list[float]) -> Bounds:
    assert function.point is not None
    return function.point(*values)


@EACH
@given(st.data())
def test_the_enclosure_holds_the_value(function: Function, data: st.DataObject) -> None:
    values = drawn(function, data)
    assume(not (function.name == "precharge_time" and values[0] == 1.0))
    low, high = point(function, values)
    with mpmath.workdps(400):
        true = FORMULAS[function.name](*map(mpf, values))
        assert low <= true <= high


@EACH
@given(st.data())
def test_the_enclosure_is_narrow(function: Function, data: st.DataObject) -> None:
    values = [data.draw(st.floats(*NARROW[item.name])) for item in function.arguments]
    low, high = point(function, values)
    assert math.isinf(high) or high - low <= 1e-12 * high


def test_a_share_that_the_divider_just_allows_is_never_reached() -> None:
    never = (math.inf, math.inf)
    reach = BY_NAME["loaded_precharge_time"]
    assert point(reach, [0.75, 1.0, 3.0, 1.0]) == never
    low, high = point(reach, [math.nextafter(0.75, 0.0), 1.0, 3.0, 1.0])
    assert low == pytest.approx(27.336838872918990, rel=1e-13)
    assert high - low <= 1e-12 * high


@EACH
def test_what_it_promises_is_not_refuted(function: Function) -> None:
    assert refute(function, WIDE, tries=2000) is None
    assert refute(function, NARROW, tries=2000) is None
    # Where the loop is overdamped, and where the precharge is far gone.
    late = {**NARROW, "time": (1.0, 9.0), "inductance": (1.0, 90.0), "resistance": (200.0, 400.0)}
    assert refute(function, late, tries=1000, seed=2) is None


@EACH
def test_a_wrong_direction_would_be_refuted(function: Function) -> None:
    for place, item in enumerate(function.arguments):
        if item.direction is Direction.NEITHER:
            continue
        turned = Direction.FALLS if item.direction is Direction.RISES else Direction.RISES
        arguments = (*function.arguments[:place], evolve(item, direction=turned), *function.arguments[place + 1 :])
        assert refute(evolve(function, arguments=arguments), WIDE, tries=500) is not None


@EACH
@given(st.data())
def test_no_point_of_a_box_lies_outside_its_enclosure(function: Function, data: st.DataObject) -> None:
    box = [tuple(sorted(pair)) for pair in zip(drawn(function, data), drawn(function, data), strict=True)]
    inside = [data.draw(st.floats(low, high)) for low, high in box]
    low, high = function.interval(*box)  # type: ignore[arg-type]
    found = point(function, inside)
    assert low <= found[1]
    assert found[0] <= high


@pytest.mark.parametrize(
    ("name", "box", "extremes"),
    [
        # The current is highest at R = t / C = 50 ohm, not in a corner.
        ("precharge_current", [(400, 450), (20, 200), (2e-3, 5e-3), (0.25, 0.3)],
         [(450, 50, 5e-3, 0.25), (400, 20, 2e-3, 0.3)]),
        # The bus swings least where it is at the source voltage.
        ("bus_peak_behind_inductance", [(400, 410), (350, 480), (80, 90), (1e-5, 2e-5), (1e-3, 2e-3)],
         [(410, 350, 90, 2e-5, 1e-3), (410, 480, 90, 2e-5, 1e-3), (400, 400, 80, 1e-5, 2e-3)]),
    ],
)  # fmt: skip
def test_enclosures_are_tight_where_the_extreme_is_no_corner(
    name: str, box: list[Bounds], extremes: list[tuple[float, ...]]
) -> None:
    values = [float(FORMULAS[name](*map(mpf, each))) for each in extremes]
    assert BY_NAME[name].interval(*box) == pytest.approx((min(values), max(values)), rel=1e-12)


@EACH
def test_outside_its_range_it_has_no_value(function: Function) -> None:
    for place in range(len(function.arguments)):
        values = [Fraction(1, 2)] * len(function.arguments)
        assert function.at(*values) is not None
        values[place] = Fraction(-1)
        assert function.at(*values) is None
        box = [(0.4, 0.5)] * len(function.arguments)
        box[place] = (-0.1, 0.5)
        assert function.interval(*box) == (-math.inf, math.inf)
    assert BY_NAME["precharge_time"].at(Fraction(11, 10), Fraction(1), Fraction(1)) is None


def test_the_slope_in_the_resistance_holds_the_steepest_one_inside_a_box() -> None:
    """At t = R C the voltage falls by V / (e R) for each ohm: the ends of the box are less steep."""
    box = [(400.0, 400.0), (50.0, 50.0), (1e-3, 1e-3), (0.01, 0.3)]
    low, high = BY_NAME["precharge_voltage"].slopes_over(*box)[1]
    assert low == pytest.approx(-400 / (math.e * 50), rel=1e-12)
    assert low < -400 / (math.e * 50) < high < 0.0


@pytest.mark.parametrize("name", ["precharge_energy", "precharge_power", "bus_voltage_at_current"])
@given(st.data())
def test_what_is_rational_is_exact(name: str, data: st.DataObject) -> None:
    function = BY_NAME[name]
    values = drawn(function, data)
    assert function.exact is not None
    low, true = function.exact(*map(Fraction, values))
    assert low == true
    assert point(function, values)[0] <= true <= point(function, values)[1]
    assert function.at(*map(Fraction, values)) == (true, true)


def stepped(voltage: float, resistance: float, load: float, capacitance: float, until: float) -> tuple[float, float]:
    """Voltage on the bus and heat in the resistor, half a step at a time ahead."""
    steps, bus, given_off = 20000, 0.0, 0.0
    step = until / steps
    for _ in range(steps):
        half = bus + 0.5 * step * ((voltage - bus) / resistance - bus / load) / capacitance
        bus += step * ((voltage - half) / resistance - half / load) / capacitance
        given_off += step * (voltage - half) ** 2 / resistance
    return bus, given_off


def test_worked_examples_of_precharge() -> None:
    reach = BY_NAME["loaded_precharge_time"]
    for share, ohms, capacity in ((0.95, 68.0, 4.7e-3),):
        assert point(BY_NAME["precharge_time"], [share, ohms, capacity])[0] == pytest.approx(0.957436, abs=1e-6)
        seconds = point(reach, [share, ohms, 1900.0, capacity])[0]
        assert seconds == pytest.approx(1.27593, abs=1e-5)
        assert stepped(452.0, ohms, 1900.0, capacity, seconds)[0] == pytest.approx(0.95 * 452.0, rel=1e-6)
        assert point(reach, [share, ohms, 900.0, capacity]) == (math.inf, math.inf)
        assert stepped(452.0, ohms, 900.0, capacity, 9.0)[0] == pytest.approx(420.248, abs=1e-3)
    joules = stepped(452.0, 68.0, math.inf, 4.7e-3, 0.5)[1]
    assert point(BY_NAME["precharge_energy_after"], [452.0, 68.0, 4.7e-3, 0.5])[0] == pytest.approx(joules, rel=1e-6)
    assert point(BY_NAME["precharge_energy"], [452.0, 4.7e-3])[0] == pytest.approx(480.114, abs=1e-3)
    # Five attempts in a minute.
    assert point(BY_NAME["precharge_power"], [452.0, 4.7e-3, 12.0])[0] == pytest.approx(40.0095, abs=1e-4)


@pytest.mark.parametrize(
    ("volts", "ohms", "henries", "farads", "peak"),
    [
        (27.8, 11.8e-3, 3.5e-6, 9.4e-3, 961.246),  # neither 27.8 V / 11.8 mohm nor 27.8 V sqrt(C / L)
        (27.8, 0.2, 3.5e-6, 9.4e-3, None),  # overdamped
        (27.8, 2 * math.sqrt(3.5e-6 / 9.4e-3), 3.5e-6, 9.4e-3, None),  # between the two
        (27.8, 0.0, 3.5e-6, 9.4e-3, 1440.7),  # without loss
    ],
)
def test_inrush_peaks_in_tiny_steps(
    volts: float, ohms: float, henries: float, farads: float, peak: float | None
) -> None:
    """Explicit steps with a half step ahead, until the current falls."""
    step, current, across, highest = 5e-9, 0.0, 0.0, -1.0
    while current > highest:
        highest = current
        half = current + 0.5 * step * (volts - across - ohms * current) / henries
        middle = across + 0.5 * step * current / farads
        current += step * (volts - middle - ohms * half) / henries
        across += step * half / farads
    found = point(BY_NAME["inrush_peak"], [volts, ohms, henries, farads])[0]
    assert found == pytest.approx(highest, rel=1e-5)
    assert peak is None or found == pytest.approx(peak, abs=0.05)


def test_a_bus_rises_as_in_tiny_steps() -> None:
    volts, farads, step = 400.0, 2e-3, 1e-7
    at_power = at_current = volts
    for _ in range(20000):  # 2 ms
        at_current += step * 85.0 / farads
        at_power += step * 34000.0 / (at_power + 0.5 * step * 34000.0 / at_power / farads) / farads
    assert point(BY_NAME["bus_voltage_at_current"], [volts, 85.0, 2e-3, farads])[0] == pytest.approx(at_current)
    assert point(BY_NAME["bus_voltage_at_power"], [volts, 34000.0, 2e-3, farads])[0] == pytest.approx(at_power)
    for source in (0.0, 400.0, 450.0):
        bus, current, step = volts, 85.0, 1e-8
        while current > 0.0:
            half = current + 0.5 * step * (source - bus) / 40e-6
            bus += step * half / farads
            current += step * (source - bus + 0.5 * step * half / farads) / 40e-6
        found = point(BY_NAME["bus_peak_behind_inductance"], [source, volts, 85.0, 40e-6, farads])[0]
        assert found == pytest.approx(bus, rel=1e-6)


BODY = """
packs:
  north: {charge: {ceiling: 85 A ± 2 %}, lead: {inductance: 4 uH ± 10 %}}
contactors:
  main: {packs: north, precharge: {resistance: 68 ohm ± 10 %, threshold: 95 %, timeout: 2 s, pulse_energy: 500 J}}
converters:
  island: {feeds: north, capacitance: 4.7 mF ± 20 %, voltage: {abs_max: 465 V}}
"""


def found(require: str) -> Finding:
    about = "each converter c, each pack p in c.feeds, each contactor k in p.contactors"
    text = document("rules:\n") + rule(about, require, "let: {r: k.precharge.resistance}")
    packs = check_drafts([parse_draft(Source("rulepack.yaml", text))], STANDARD.extended(precharge.FUNCTIONS))
    (finding,) = Survey(system(BODY), packs).result().findings
    return finding


@pytest.mark.parametrize(
    ("require", "verdict", "worst"),
    [
        ("precharge_time(k.precharge.threshold, r, c.capacitance) shorter than k.precharge.timeout", "met",
         2 - 74.8 * 5.64e-3 * math.log(20)),
        ("loaded_precharge_time(k.precharge.threshold, r, 1900 ohm, c.capacitance) shorter than k.precharge.timeout",
         "met", 2 - 74.8 * 1900 / 1974.8 * 5.64e-3 * -math.log(1 - 0.95 * 1974.8 / 1900)),
        ("loaded_precharge_time(k.precharge.threshold, r, 900 ohm, c.capacitance) shorter than k.precharge.timeout",
         "breached", None),
        ("precharge_voltage(452 V, r, c.capacitance, 1 s) above 400 V", "met",
         52 - 452 * math.exp(-1 / (74.8 * 5.64e-3))),
        ("loaded_precharge_voltage(452 V, r, 1900 ohm, c.capacitance, 1 s) above 430 V", "marginal", None),
        ("precharge_current(452 V, r, c.capacitance, 1 s) below 1 A", "met",
         1 - 452 / 74.8 * math.exp(-1 / (74.8 * 5.64e-3))),
        ("precharge_energy(452 V, c.capacitance) at or below k.precharge.pulse_energy", "marginal",
         500 - 0.5 * 5.64e-3 * 452**2),
        ("precharge_energy_after(452 V, r, c.capacitance, 100 ms) at or below k.precharge.pulse_energy", "met",
         500 - 0.5 * 5.64e-3 * 452**2 * (1 - math.exp(-0.2 / (61.2 * 5.64e-3)))),
        ("precharge_power(452 V, c.capacitance, 12 s) at or below 50 W", "met", 50 - 0.5 * 5.64e-3 * 452**2 / 12),
        ("inrush_peak(27.8 V, 11.8 mohm, p.lead.inductance, c.capacitance) below 1200 A", "met", None),
        ("bus_voltage_at_current(450 V, p.charge.ceiling, 1 ms, c.capacitance) below c.voltage.abs_max", "marginal",
         15 - 86.7e-3 / 3.76e-3),
        ("bus_voltage_at_power(450 V, 38 kW, 1 ms, c.capacitance) below c.voltage.abs_max", "marginal",
         465 - math.sqrt(450**2 + 76 / 3.76e-3)),
        ("bus_peak_behind_inductance(450 V, 440 V, p.charge.ceiling, p.lead.inductance, c.capacitance) below 465 V",
         "met", 15 - math.sqrt(100 + 86.7**2 * 4.4e-6 / 3.76e-3)),
    ],
)  # fmt: skip
def test_a_rule_may_call_it(require: str, verdict: str, worst: float | None) -> None:
    finding = found(require)
    assert finding.verdict.value == verdict
    if worst is not None:
        assert finding.headroom is not None
        assert finding.headroom.tight
        assert finding.headroom.worst == pytest.approx(worst, rel=1e-9)
