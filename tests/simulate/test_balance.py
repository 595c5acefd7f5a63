"""Nothing is made and nothing is lost: currents by Kirchhoff's laws, charge, and the energy of a bus without a pack."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import pytest
from attrs import evolve
from hypothesis import given, settings
from hypothesis import strategies as st

from limitrules.simulate.bus import Division, Mode, divide, drawn_current
from limitrules.simulate.course import Course, run
from limitrules.simulate.network import Piece
from limitrules.simulate.outcome import outcome_of
from limitrules.simulate.plant import Converter, Limiter, Load, Pack, Plant
from tests.simulate.plants import random_case

PATIENT = settings(deadline=None, max_examples=200)
SEEDS = range(60)

packs = st.builds(
    Pack,
    st.just("packs.p"),
    st.floats(48.0, 56.0),
    st.floats(0.001, 0.05),
    st.floats(0.0, 0.01),
    st.just(50.0),
    st.just(50.0),
    st.one_of(st.none(), st.builds(Limiter, st.just(60.0), st.floats(0.0, 20.0), st.just(30.0))),
)
banks = st.lists(st.tuples(packs, st.sampled_from(Mode)), min_size=1, max_size=4).map(
    lambda bank: [(p, Mode.FREE if m is Mode.LIMITING and p.limiter is None else m) for p, m in bank]
)


def by_matrix(bank: Sequence[tuple[Pack, Mode]], division: Division, current: float) -> tuple[list[float], float]:
    """Currents and voltage from one set of linear equations: a loop for every pack that conducts, and the node."""
    conducts = [bool(factor) for factor, _ in division.currents]
    count = len(bank)
    matrix, right = np.zeros((count + 1, count + 1)), np.zeros(count + 1)
    for row, ((pack, _), does) in enumerate(zip(bank, conducts, strict=True)):
        matrix[row, row] = pack.resistance + pack.lead if does else 1.0
        matrix[row, count] = -1.0 if does else 0.0
        right[row] = -pack.rest if does else division.currents[row][1]
    matrix[count, :count] = 1.0
    right[count] = current
    solved = np.linalg.solve(matrix, right)
    return list(solved[:count]), float(solved[count])


@PATIENT
@given(banks, st.floats(-300.0, 300.0))
def test_currents_divide_by_kirchhoff(bank: list[tuple[Pack, Mode]], current: float) -> None:
    division = divide([p for p, _ in bank], [m for _, m in bank], current)
    if division.afloat:
        assert afloat_is_right(bank, current)
        return
    wanted, volts = by_matrix(bank, division, current)
    found = [factor * current + offset for factor, offset in division.currents]
    assert found == pytest.approx(wanted, rel=1e-9, abs=1e-7)
    assert division.voltage[0] * current + division.voltage[1] == pytest.approx(volts, rel=1e-12)
    assert sum(found) == pytest.approx(current, abs=1e-7)
    for (pack, mode), amps in zip(bank, found, strict=True):
        away = (volts - pack.rest) / (pack.resistance + pack.lead)
        allowed = {
            Mode.FREE: away, Mode.OPEN: 0.0, Mode.NO_CHARGE: min(0.0, away), Mode.NO_DISCHARGE: max(0.0, away),
            Mode.LIMITING: min(away, pack.limiter.current if pack.limiter else math.inf),
        }[mode]  # fmt: skip
        assert amps == pytest.approx(allowed, rel=1e-9, abs=1e-7)


def afloat_is_right(bank: list[tuple[Pack, Mode]], current: float) -> bool:
    """No pack can follow: more comes in than all take at most, or more is drawn than all give."""
    modes = [mode for _, mode in bank]
    if Mode.FREE in modes:
        return False
    most = math.inf if Mode.NO_DISCHARGE in modes else 0.0
    most += sum(p.limiter.current for p, m in bank if m is Mode.LIMITING and p.limiter)
    least = -math.inf if {Mode.NO_CHARGE, Mode.LIMITING} & set(modes) else 0.0
    return current > most or current <= least or most == least


@PATIENT
@given(banks, st.floats(20.0, 90.0), st.floats(-50.0, 50.0))
def test_a_bus_afloat_is_held_by_what_comes_within_reach(
    bank: list[tuple[Pack, Mode]], volts: float, current: float
) -> None:
    division = divide([p for p, _ in bank], [m for _, m in bank], current, volts)
    follows = [m is Mode.FREE or (m is Mode.NO_CHARGE and volts < p.rest)
               or (m is Mode.NO_DISCHARGE and volts >= p.rest)
               or (m is Mode.LIMITING and p.limiter is not None
                   and volts < p.rest + p.limiter.current * (p.resistance + p.lead)) for p, m in bank]  # fmt: skip
    assert division.afloat is not any(follows)


@PATIENT
@given(st.floats(0.0, 20000.0), st.floats(-100.0, 300.0), st.floats(0.001, 0.05), st.floats(40.0, 60.0))
def test_a_constant_power_draws_its_power(power: float, inflow: float, factor: float, rest: float) -> None:
    drawn = drawn_current(power, inflow, (factor, rest))
    if math.isinf(drawn):  # no voltage would do
        sampled = np.linspace(0.01, 500.0, 5001)
        assert np.all((rest + factor * (inflow - power / sampled)) < sampled + 1e-3)
        return
    volts = rest + factor * (inflow - drawn)
    assert volts * drawn == pytest.approx(power, rel=1e-9, abs=1e-6)
    assert volts >= (rest + factor * inflow) / 2.0 - 1e-9


def course_of(seed: int) -> Course:
    case = random_case(seed)
    return run(case.plant, case.start, case.changes, case.lasting)


@pytest.mark.parametrize("seed", SEEDS)
def test_what_the_packs_take_is_what_the_sources_give_less_the_loads(seed: int) -> None:
    course = course_of(seed)
    charge = 0.0
    for piece in course.pieces:
        span = piece.end - piece.start
        for time in (0.0, span / 3.0, span):
            into = sum(piece.current(number)(time) for number in range(len(course.plant.packs)))
            given_ = sum(output(time) for output in piece.outputs) - piece.load
            if not piece.is_afloat:
                assert into == pytest.approx(given_, rel=1e-9, abs=1e-9)
        sources = sum(output.integral()(span) for output in piece.outputs) - piece.load * span
        charge += piece.division.fixed * span if piece.is_afloat else sources
    assert outcome_of(course).charge == pytest.approx(charge, rel=1e-9, abs=1e-6)
    assert [p.end for p in course.pieces[:-1]] == pytest.approx([p.start for p in course.pieces[1:]], abs=1e-12)


def test_the_energy_of_a_bus_afloat_is_what_went_into_its_capacitance() -> None:
    seen = 0
    for seed in SEEDS:
        course = course_of(seed)
        held: float | None = None
        for piece, before in zip(course.pieces, (None, *course.pieces), strict=False):
            if not piece.is_afloat:
                continue
            if before is None or not before.is_afloat:
                held = piece.bus_voltage(0.0)
            assert held is not None
            assert piece_balances(course.plant, piece, held)
            seen += 1
            if before is not None and before.is_afloat:
                assert piece.bus_voltage(0.0) == pytest.approx(before.bus_voltage(before.end - before.start), rel=1e-12)
    assert seen > 20


def piece_balances(plant: Plant, piece: Piece, held: float) -> bool:
    span = piece.end - piece.start
    nodes, weights = np.polynomial.legendre.leggauss(40)
    efficiency = plant.converter.efficiency if plant.converter else 1.0
    gained = 0.0
    for node, weight in zip(nodes, weights, strict=True):
        time = span / 2.0 * (1.0 + node)
        power = (sum(out(time) for out in piece.outputs) - piece.division.fixed) * held - piece.ac_power / efficiency
        gained += weight * span / 2.0 * power
    stored = plant.capacitance / 2.0 * (piece.bus_voltage(span) ** 2 - piece.bus_voltage(0.0) ** 2)
    return math.isclose(stored, gained, rel_tol=1e-6, abs_tol=1e-6 * max(1.0, stored))


def test_watches_that_do_nothing_change_nothing() -> None:
    """What is looked at must not move what happens: fewer events give the same course."""
    for seed in range(20):
        case = random_case(seed)
        course = run(case.plant, case.start, case.changes, case.lasting)
        idle = [w for w in course.plant.watches if w.path == "bus.abs_max"]
        others = tuple(w for w in case.plant.watches if w not in idle)
        bare = run(evolve(case.plant, watches=others), case.start, case.changes, case.lasting)
        one, other = outcome_of(course), outcome_of(bare)
        assert one.highest_voltage == pytest.approx(other.highest_voltage, rel=1e-12)
        assert [p.charge_peak for p in one.packs] == pytest.approx([p.charge_peak for p in other.packs], rel=1e-9)


def test_loads_hold_their_current_between_events_and_little_is_lost_by_that() -> None:
    """A constant power draws less as the voltage rises: by as much as the voltage moves, here less than 2 %."""
    case = random_case(3)
    converter = Converter("converters.main", 0.94)
    plant = evolve(case.plant, converter=converter, loads=(Load("loads.l", 2000.0, on_dc=True),), watches=())
    course = run(plant, evolve(case.start, loads=(0,)), case.changes, case.lasting)
    for piece in course.pieces:
        for time in np.linspace(0.0, piece.end - piece.start, 20):
            drawn = 2000.0 + piece.ac_power / 0.94
            assert piece.load * piece.bus_voltage(float(time)) == pytest.approx(drawn, rel=0.02)
