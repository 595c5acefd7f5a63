"""Polled links: how late a new limit is obeyed at worst, how long silence goes unseen, how old a value may be."""

from __future__ import annotations

import math
from fractions import Fraction

from limitrules.foundation.dimension import NUMBER, TIME
from limitrules.foundation.kinds import Quantity, Type
from limitrules.language.functions import Argument, Bounds, Direction, Function

RISES = Direction.RISES
_LONGEST = 1e9  # seconds; beyond it nothing is a time of a link
_MOST = 1e6  # messages


def _time(types: tuple[Type, ...]) -> Type:
    return Quantity(TIME)


def _sum(*parts: float) -> Bounds:
    """Outward by one step from the correctly rounded sum."""
    total = math.fsum(parts)
    return max(0.0, math.nextafter(total, -math.inf)), math.nextafter(total, math.inf)


def _product(count: float, period: float) -> Bounds:
    product = count * period
    return max(0.0, math.nextafter(product, -math.inf)), math.nextafter(product, math.inf)


def _span(argument: str, meaning: str, low: float = 0.0) -> Argument:
    return Argument(argument, meaning, Quantity(TIME), RISES, low, _LONGEST)


def obey_time(publish_period: float, poll_period: float, latency: float, dead_time: float) -> Bounds:
    """Enclosure of the longest time (s) from an event until a device obeys the limit that follows from it.

    All times in s and at their longest. The event comes just after a publication, the publication just after a poll.
    """
    return _sum(publish_period, poll_period, latency, dead_time)


def _obey_exact(*parts: Fraction) -> tuple[Fraction, Fraction]:
    total = sum(parts, Fraction(0))
    return total, total


def _ones(*pairs: Bounds) -> tuple[Bounds, ...]:
    return ((1.0, 1.0),) * len(pairs)


def silence_time(missed: float, period: float, jitter: float) -> Bounds:
    """Enclosure of the longest time (s) from the last message until the link counts as silent.

    It does after ``missed`` messages that should have come every ``period`` (s) and did not, the last of them awaited
    for ``jitter`` (s) beyond its time. The link falls silent just after a message at worst.
    """
    low, high = _product(missed, period)
    return _sum(low, jitter)[0], _sum(high, jitter)[1]


def _silence_exact(missed: Fraction, period: Fraction, jitter: Fraction) -> tuple[Fraction, Fraction]:
    total = missed * period + jitter
    return total, total


def _silence_slopes(missed: Bounds, period: Bounds, jitter: Bounds) -> tuple[Bounds, ...]:
    return period, missed, (1.0, 1.0)


def value_age(publish_period: float, poll_period: float, latency: float, losses: float) -> Bounds:
    """Enclosure of the highest age (s) a value reaches before a newer one replaces it.

    It may be a publication period (s) old when it is polled; its successor is polled after ``losses`` polls in vain
    and one that succeeds, and arrives after the latency (s).
    """
    low, high = _product(losses, poll_period)
    return (
        _sum(publish_period, poll_period, latency, low)[0],
        _sum(publish_period, poll_period, latency, high)[1],
    )


def _age_exact(publish: Fraction, poll: Fraction, latency: Fraction, losses: Fraction) -> tuple[Fraction, Fraction]:
    total = publish + (losses + 1) * poll + latency
    return total, total


def _age_slopes(publish: Bounds, poll: Bounds, latency: Bounds, losses: Bounds) -> tuple[Bounds, ...]:
    per_poll = math.nextafter(losses[0] + 1.0, 0.0), math.nextafter(losses[1] + 1.0, math.inf)
    return (1.0, 1.0), per_poll, (1.0, 1.0), poll


def reversion_reaction(
    publish_period: float, poll_period: float, latency: float, reversion: float, dead_time: float
) -> Bounds:
    """Enclosure of the longest time (s) from an event until a device obeys the new limit or its fallback.

    The link may fail at any moment. At worst an old value is polled just before the new one is published, arrives
    after the latency, and is the last that arrives: the device then reverts after ``reversion`` (s). Where the poll
    period is longer than that, it counts instead. All times in s.
    """
    return _sum(publish_period, max(poll_period, reversion), latency, dead_time)


def _reaction_exact(
    publish: Fraction, poll: Fraction, latency: Fraction, reversion: Fraction, dead_time: Fraction
) -> tuple[Fraction, Fraction]:
    return _obey_exact(publish, max(poll, reversion), latency, dead_time)


def _reaction_slopes(
    publish: Bounds, poll: Bounds, latency: Bounds, reversion: Bounds, dead_time: Bounds
) -> tuple[Bounds, ...]:
    always, never, perhaps = (1.0, 1.0), (0.0, 0.0), (0.0, 1.0)
    if poll[0] >= reversion[1]:
        return always, always, always, never, always
    if reversion[0] >= poll[1]:
        return always, never, always, always, always
    return always, perhaps, always, perhaps, always


_PUBLISH = _span("publish_period", "longest time between two publications of the value")
_POLL = _span("poll_period", "longest time between two polls")
_LATENCY = _span("latency", "longest time from a change at one end to its arrival at the other, every gateway included")
_DEAD = _span("dead_time", "longest time from the arrival of a new limit until the current has begun to follow it")


def _count(argument: str, meaning: str) -> Argument:
    return Argument(argument, meaning, Quantity(NUMBER), RISES, 0.0, _MOST)


FUNCTIONS = (
    Function(
        "obey_time",
        "The longest time from an event until a device obeys the new limit over a polled link that loses nothing.",
        (_PUBLISH, _POLL, _LATENCY, _DEAD),
        _time,
        obey_time,
        "worst phase of unsynchronised periods: a whole period each",
        exact=_obey_exact,
        slopes=_ones,
    ),
    Function(
        "silence_time",
        "The longest time from the last message until a link counts as silent.",
        (
            _count("missed", "how many missing messages make it silent"),
            _span("period", "time between two messages"),
            _span("jitter", "how much later than due a message may come"),
        ),
        _time,
        silence_time,
        "the link falls silent just after a message: missed * period + jitter",
        exact=_silence_exact,
        slopes=_silence_slopes,
    ),
    Function(
        "value_age",
        "The highest age that a polled value reaches before a newer one replaces it.",
        (_PUBLISH, _POLL, _LATENCY, _count("losses", "how many polls in a row may be lost")),
        _time,
        value_age,
        "worst phase of unsynchronised periods, each lost poll a period more",
        exact=_age_exact,
        slopes=_age_slopes,
    ),
    Function(
        "reversion_reaction",
        "The longest time from an event until a device obeys the new limit or its fallback, should the link fail.",
        (
            _PUBLISH,
            _POLL,
            _LATENCY,
            _span("reversion", "silence after which the device goes to its fallback; never is no number", 5e-324),
            _DEAD,
        ),
        _time,
        reversion_reaction,
        "the last message arrives just before the link fails and carries the old value",
        exact=_reaction_exact,
        slopes=_reaction_slopes,
    ),
)
