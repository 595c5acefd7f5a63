"""Fuses: when a link melts, what it carries and bears, and whether two of them open one after the other."""

from __future__ import annotations

import math
from fractions import Fraction

from limitrules.foundation import dimension as d
from limitrules.language.functions import Argument, Bounds, Direction, Function
from limitrules.language.pairs import negated
from limitrules.physics.conductors import HEAT_INTEGRAL, amperes, apart, around, degrees, product, quantity, seconds
from limitrules.physics.converters import FALLS, RISES, exact_of, gives, point_of
from limitrules.physics.faults import product_slopes

NEVER = math.inf, math.inf
_FALLING, _RISING = (-math.inf, 0.0), (0.0, math.inf)
_FEW = 100.0
_ENDURANCE, _TIRING = 0.48, 0.113


def square_step(high: Bounds, low: Bounds) -> Bounds:
    """The difference of two squares of pairs, the higher above the lower; keeps its digits where they are close."""
    near, total = apart(high, low), (high[0] + low[0], high[1] + low[1])
    return product((near, total))


def steepness(current: float, least: float) -> float:
    """ln(I^2 / (I^2 - I_mf^2)) of a current (A) above the least that melts (A), as ln(1 + I_mf^2 / (I^2 - I_mf^2))."""
    return math.log1p(least * least / ((current - least) * (current + least)))


def melting_time(current: float, minimum_fusing_current: float, thermal_time_constant: float) -> Bounds:
    """Enclosure of the time (s) until a link melts from cold: tau ln(I^2 / (I^2 - I_mf^2)).

    The current I and the smallest that melts it in the end, I_mf (A), and the time constant tau of the element (s).
    Infinite, longer than any limit, where the current is not above I_mf.
    """
    if current <= minimum_fusing_current:
        return NEVER
    return around(thermal_time_constant * steepness(current, minimum_fusing_current))


def _time_slopes(current: Bounds, least: Bounds, constant: Bounds) -> tuple[Bounds, ...]:
    if current[0] <= least[1]:
        raise ValueError("a current above the least that melts the link")
    step = square_step(current, least)
    return (
        negated(product((constant, least, least), (current, step), 2.0)),
        product((constant, least), (step,), 2.0),
        (around(steepness(current[1], least[0]))[0], around(steepness(current[0], least[1]))[1]),
    )


def heat_factor(current: float, least: float) -> float:
    """How many times the melting I2t a current (A) brings until it melts the link, as the element loses heat meanwhile.

    -ln(1 - y) / y with y = (I_mf / I)^2; one for a current far above I_mf (A).
    """
    share = least / current
    # Below that, y / 2 is less than a rounding.
    return 1.0 if share < 1e-9 else steepness(current, least) / (share * share)


def i2t_until_melting(current: float, minimum_fusing_current: float, melting_i2t: float) -> Bounds:
    """Enclosure of the heat integral (A2s) that passes until a link melts from cold at a steady current (A).

    K y^-1 ln(1 / (1 - y)) with y = (I_mf / I)^2, and K the melting I2t (A2s) of a very high current. Infinite where the
    current is not above I_mf (A).
    """
    if current <= minimum_fusing_current:
        return NEVER
    return around(melting_i2t * heat_factor(current, minimum_fusing_current))


def _until_slopes(current: Bounds, least: Bounds, melting_i2t: Bounds) -> tuple[Bounds, ...]:
    return _FALLING, _RISING, (i2t_until_melting(current[1], least[0], 1.0)[0],
                               i2t_until_melting(current[0], least[1], 1.0)[1])  # fmt: skip


def melting_time_from_i2t(current: float, minimum_fusing_current: float, melting_i2t: float) -> Bounds:
    """Enclosure of the time (s) until a link melts from cold, of its melting I2t: ``i2t_until_melting`` over I^2.

    The same as ``melting_time`` with the time constant K / I_mf^2. An I_mf of zero leaves K / I^2, without any loss of
    heat. Infinite where the current is not above I_mf.
    """
    if current <= minimum_fusing_current:
        return NEVER
    return around(melting_i2t * heat_factor(current, minimum_fusing_current) / (current * current))


def _from_i2t_slopes(current: Bounds, least: Bounds, melting_i2t: Bounds) -> tuple[Bounds, ...]:
    return _FALLING, _RISING, (melting_time_from_i2t(current[1], least[0], 1.0)[0],
                               melting_time_from_i2t(current[0], least[1], 1.0)[1])  # fmt: skip


def fuse_time_constant(melting_i2t: Fraction, minimum_fusing_current: Fraction) -> Fraction:
    """The thermal time constant (s) of an element: melting I2t (A2s) over the square of its minimum fusing current."""
    return melting_i2t / (minimum_fusing_current * minimum_fusing_current)


def warmed(time: float, constant: float) -> float:
    """The share of its steady rise that an element has after a time (s), 1 - e^(-t / tau)."""
    return -math.expm1(-time / constant)


def melting_current(time: float, minimum_fusing_current: float, thermal_time_constant: float) -> Bounds:
    """Enclosure of the current (A) that melts a link after a time (s): I_mf / sqrt(1 - e^(-t / tau))."""
    return around(minimum_fusing_current / math.sqrt(warmed(time, thermal_time_constant)))


def _current_slopes(time: Bounds, least: Bounds, constant: Bounds) -> tuple[Bounds, ...]:
    factor = melting_current(time[1], 1.0, constant[0])[0], melting_current(time[0], 1.0, constant[1])[1]
    return _FALLING, factor, _RISING


def melting_current_from_i2t(time: float, minimum_fusing_current: float, melting_i2t: float) -> Bounds:
    """Enclosure of the current (A) that melts a link after a time (s), of its melting I2t (A2s).

    The same as ``melting_current`` with the time constant K / I_mf^2; an I_mf of zero leaves sqrt(K / t).
    """
    exponent = time * minimum_fusing_current * minimum_fusing_current / melting_i2t
    factor = 1.0 if exponent < 1e-17 else exponent / -math.expm1(-exponent)
    return around(math.sqrt(melting_i2t / time * factor))


def minimum_fusing_current(current: float, time: float, thermal_time_constant: float) -> Bounds:
    """Enclosure of the least current (A) that melts in the end a link that melts at a current (A) after a time (s).

    I sqrt(1 - e^(-t / tau)). With the conventional time it lies between that of the conventional non-fusing and that of
    the conventional fusing current.
    """
    return around(current * math.sqrt(warmed(time, thermal_time_constant)))


def _least_slopes(current: Bounds, time: Bounds, constant: Bounds) -> tuple[Bounds, ...]:
    factor = minimum_fusing_current(1.0, time[0], constant[1])[0], minimum_fusing_current(1.0, time[1], constant[0])[1]
    return factor, _RISING, _FALLING


def melting_time_between(
    current: float, lower_current: float, longer_time: float, higher_current: float, shorter_time: float
) -> Bounds:
    """Enclosure of the melting time (s) on the line between two points of a time-current curve on logarithmic paper.

    ln t = ln t1 + (ln t2 - ln t1) ln(I / I1) / ln(I2 / I1), currents in A, times in s. Raises ValueError for a current
    that is not between those of the two points, and for two points that are none of a falling curve.
    """
    values = current, lower_current, longer_time, higher_current, shorter_time
    return _between_over(*((value, value) for value in values))


def _between_over(current: Bounds, lower: Bounds, longer: Bounds, higher: Bounds, shorter: Bounds) -> Bounds:
    """The time falls with the current and rises with all four figures of the points."""
    if not (lower[1] <= current[0] and current[1] <= higher[0] and lower[1] < higher[0] and shorter[1] <= longer[0]):
        raise ValueError("a current between those of two points of a falling curve")
    return (
        _on_line(current[1], lower[0], longer[0], higher[0], shorter[0])[0],
        _on_line(current[0], lower[1], longer[1], higher[1], shorter[1])[1],
    )


def _on_line(current: float, lower: float, longer: float, higher: float, shorter: float) -> Bounds:
    # ln(1 + difference) keeps the digits of points that are close together.
    way = math.log1p((current - lower) / lower) / math.log1p((higher - lower) / lower)
    fall = math.log1p((longer - shorter) / shorter)
    return around(longer * math.exp(-way * fall), 1.0 + fall)


def _between_slopes(
    current: Bounds, lower: Bounds, longer: Bounds, higher: Bounds, shorter: Bounds
) -> tuple[Bounds, ...]:
    """In the current -n t / I, with n the steepness on that paper; the others are left open."""
    time = _between_over(current, lower, longer, higher, shorter)
    # The quotient may be a rounding off, which only counts where the points are almost as high as each other.
    fall = around(math.log(longer[0] / shorter[1]) - 1e-15)[0], around(math.log(longer[1] / shorter[0]) + 1e-15)[1]
    run = math.log1p((higher[0] - lower[1]) / lower[1]), math.log1p((higher[1] - lower[0]) / lower[0])
    return negated(product((time, fall), (current, run))), *(_RISING,) * 4


def conventional_current(rating: Fraction, factor: Fraction) -> Fraction:
    """The conventional fusing or non-fusing current (A): the rating (A) times the factor of its class."""
    return rating * factor


def fuse_continuous_current(
    rating: Fraction, ambient: Fraction, reference: Fraction, loss_per_kelvin: Fraction, continuity: Fraction
) -> Fraction:
    """The current (A) that a link carries for days: I_n k_c (1 - s (T_amb - T_ref)), temperatures in K, s in 1/K.

    Neither less than zero nor more for surroundings cooler than the reference.
    """
    warmer = max(Fraction(0), ambient - reference)
    return rating * continuity * max(Fraction(0), 1 - loss_per_kelvin * warmer)


def _continuous_slopes(
    rating: Bounds, ambient: Bounds, reference: Bounds, loss: Bounds, continuity: Bounds
) -> tuple[Bounds, ...]:
    """Those of the straight line; or none, where the box reaches one of its ends or beyond."""
    warmer = max(0.0, ambient[0] - reference[1]), max(0.0, ambient[1] - reference[0])
    lost = product((loss, warmer))
    left = around(max(0.0, 1.0 - lost[1]))[0], around(max(0.0, 1.0 - lost[0]))[1]
    steep, by_loss = product((rating, continuity, loss)), product((rating, continuity, warmer))
    if warmer[0] <= 0.0 or lost[1] >= 1.0:
        steep, by_loss = (0.0, steep[1]), (0.0, by_loss[1])
    return (
        product((continuity, left)), negated(steep), steep, negated(by_loss), product((rating, left)),
    )  # fmt: skip


def selectivity_ratio(clearing_i2t: Fraction, melting_i2t: Fraction) -> Fraction:
    """The I2t (A2s) with which the downstream fuse clears over the one (A2s) with which the upstream one melts."""
    return clearing_i2t / melting_i2t


def pulse_endurance(pulses: float) -> Bounds:
    """Enclosure of the share of its melting I2t that a link bears as a pulse, N times in its life.

    0.48 (N / 100)^(-0.113), and 0.48 for fewer than a hundred: a rule of thumb, less good than the data sheet.
    """
    return around(_ENDURANCE * math.exp(-_TIRING * math.log(max(pulses, _FEW) / _FEW)))


def _endurance_slopes(pulses: Bounds) -> tuple[Bounds]:
    if pulses[1] < _FEW:
        return ((0.0, 0.0),)
    share = pulse_endurance(pulses[1])[0], pulse_endurance(pulses[0])[1]
    steep = product((share,), ((max(pulses[0], _FEW), pulses[1]),), _TIRING)
    return (negated((0.0 if pulses[0] <= _FEW else steep[0], steep[1])),)


def least_current(direction: Direction = RISES, low: float = 1e-6) -> Argument:
    """The minimum fusing current as an argument."""
    return amperes("minimum_fusing_current", "smallest current that melts the link in the end", direction, low)


def melting_integral(direction: Direction = RISES) -> Argument:
    """The melting I2t as an argument."""
    meaning = "I2t until the link melts at a very high current (pre-arcing I2t)"
    return quantity("melting_i2t", meaning, HEAT_INTEGRAL, direction, 1e-6, 1e15)


def thermal_constant(direction: Direction = RISES) -> Argument:
    """The time constant of an element as an argument."""
    return seconds("thermal_time_constant", "time constant with which the element warms", direction, 1e-9)


_STEADY = amperes("current", "steady current from cold", FALLS)
_TIME = seconds("time", "time from cold", FALLS, 1e-9)
_RATING = amperes("rating", "rated current", RISES)
_POINT = "of the neighbouring point of the curve"
_BALANCE = " (heat balance of an element with one time constant, heating with the square of the current)"

FUNCTIONS = (
    Function(
        "melting_time", "The time until a fuse melts at a steady current; infinite where it never does.",
        (_STEADY, least_current(), thermal_constant()), gives(d.TIME), melting_time,
        "tau ln(I^2 / (I^2 - I_mf^2))" + _BALANCE, slopes=_time_slopes,
    ),
    Function(
        "melting_time_from_i2t", "The time until a fuse melts, of its melting I2t; infinite where it never does.",
        (_STEADY, least_current(low=0.0), melting_integral()), gives(d.TIME), melting_time_from_i2t,
        "K / I_mf^2 ln(I^2 / (I^2 - I_mf^2))" + _BALANCE, slopes=_from_i2t_slopes,
    ),
    Function(
        "i2t_until_melting", "The heat integral that passes until a fuse melts at a steady current; more than the "
        "melting I2t of its data sheet where the current is low.",
        (_STEADY, least_current(low=0.0), melting_integral()), gives(HEAT_INTEGRAL), i2t_until_melting,
        "K (I / I_mf)^2 ln(I^2 / (I^2 - I_mf^2))" + _BALANCE, slopes=_until_slopes,
    ),
    Function(
        "fuse_time_constant", "The thermal time constant of a fuse, of its melting I2t.",
        (melting_integral(), least_current(FALLS)), gives(d.TIME), point_of(fuse_time_constant),
        "K / I_mf^2 (short-time limit of the heat balance with one time constant)",
        exact=exact_of(fuse_time_constant), slopes=product_slopes(1.0, 1, -2),
    ),
    Function(
        "melting_current", "The current that melts a fuse after a time.",
        (_TIME, least_current(), thermal_constant()), gives(d.CURRENT), melting_current,
        "I_mf / sqrt(1 - e^(-t / tau))" + _BALANCE, slopes=_current_slopes,
    ),
    Function(
        "melting_current_from_i2t", "The current that melts a fuse after a time, of its melting I2t.",
        (_TIME, least_current(low=0.0), melting_integral()), gives(d.CURRENT), melting_current_from_i2t,
        "I_mf / sqrt(1 - e^(-t I_mf^2 / K))" + _BALANCE,
    ),
    Function(
        "minimum_fusing_current", "The smallest current that melts a fuse in the end, of one point of its curve.",
        (
            amperes("current", "current that melts it after that time", RISES),
            seconds("time", "time after which it melts", RISES, 1e-9), thermal_constant(FALLS),
        ),
        gives(d.CURRENT), minimum_fusing_current, "I sqrt(1 - e^(-t / tau))" + _BALANCE, slopes=_least_slopes,
    ),
    Function(
        "melting_time_between", "The melting time between two neighbouring points of a time-current curve.",
        (
            amperes("current", "current between those of the two points", FALLS, 1e-6),
            amperes("lower_current", "lower current " + _POINT, RISES, 1e-6),
            seconds("longer_time", "time at the lower current", RISES, 1e-9),
            amperes("higher_current", "higher current " + _POINT, RISES, 1e-6),
            seconds("shorter_time", "time at the higher current", RISES, 1e-9),
        ),
        gives(d.TIME), melting_time_between,
        "ln t linear in ln I (curves are drawn and read on doubly logarithmic paper)", _between_over,
        slopes=_between_slopes,
    ),
    Function(
        "conventional_current", "The conventional fusing or non-fusing current of a fuse or breaker.",
        (_RATING, quantity("factor", "factor of its class for the one or the other", d.NUMBER, RISES, 1.0, 5.0)),
        gives(d.CURRENT), point_of(conventional_current), "factor times rating (definition; the factor from the "
        "standard of the class)", exact=exact_of(conventional_current), slopes=product_slopes(1.0, 1, 1),
    ),
    Function(
        "fuse_continuous_current", "The current that a fuse carries for days in warm surroundings.",
        (
            _RATING, degrees("ambient", "temperature around the fuse", FALLS),
            degrees("reference", "ambient temperature at which the rating holds", RISES),
            quantity("loss_per_kelvin", "share of the rating that each kelvin above takes",
                     d.NUMBER / d.TEMPERATURE_DIFFERENCE, FALLS, 0.0, 0.1),
            quantity("continuity", "factor on the rating for days of unbroken current", d.NUMBER, RISES, 0.0, 1.0),
        ),
        gives(d.CURRENT), point_of(fuse_continuous_current),
        "I_n k_c (1 - s max(0, T_amb - T_ref)) (straight line through the rating, figures from the data sheet)",
        exact=exact_of(fuse_continuous_current), slopes=_continuous_slopes,
    ),
    Function(
        "selectivity_ratio", "How much of what melts the upstream fuse the downstream one lets through.",
        (
            quantity("clearing_i2t", "I2t until the downstream fuse has cleared (operating I2t)", HEAT_INTEGRAL, RISES,
                     0.0, 1e18),
            quantity("melting_i2t", "I2t until the upstream fuse melts (pre-arcing I2t)", HEAT_INTEGRAL, FALLS,
                     1e-6, 1e15),
        ),
        gives(d.NUMBER), point_of(selectivity_ratio),
        "I2t over I2t (the heat that passes both must not melt the upstream one)",
        exact=exact_of(selectivity_ratio), slopes=product_slopes(1.0, 1, -1),
    ),
    Function(
        "pulse_endurance", "The share of its melting I2t that a fuse bears as a pulse over a number of pulses.",
        (quantity("pulses", "number of pulses in its life", d.NUMBER, FALLS, 1.0, 1e5),),
        gives(d.NUMBER), pulse_endurance, "0.48 (N / 100)^(-0.113), at most 0.48 (rule of thumb, fitted)",
        slopes=_endurance_slopes,
    ),
)  # fmt: skip
