"""How the output of a source moves after orders: dead time, then first order with a slew limit."""

from __future__ import annotations

import math

from limitrules.simulate.plant import Source
from limitrules.simulate.signals import Signal, approach, constant, straight

_SAME = 1e-9
_LONG = 45.0  # time constants after which an exponential is below a float's last digit


class Movement:
    """The output (A) of one source over time; ``signal`` holds from now on for ``lasts`` seconds."""

    def __init__(self, source: Source, output: float) -> None:
        self.source = source
        self.output = output
        self.aim = output
        self.ordered = output
        self.stopped = False
        self._orders: list[tuple[float, float]] = []
        self._settle()

    def order(self, now: float, aim: float) -> bool:
        """Take an order, which acts after the dead time. False where it is the one given last."""
        if self.stopped or abs(aim - self.ordered) <= _SAME * max(1.0, abs(aim)):
            return False
        self.ordered = aim
        self._orders.append((now + self.source.dead_time, aim))
        return True

    def stop(self) -> None:
        """Stop for good: the output is zero at once."""
        self.stopped, self.output, self.aim, self.ordered = True, 0.0, 0.0, 0.0
        self._orders.clear()
        self._settle()

    def until_next(self, now: float) -> float:
        """Seconds until the movement changes its kind or an order begins to act."""
        if self._orders:
            return min(self.lasts, max(0.0, self._orders[0][0] - now))
        return self.lasts

    def advance(self, now: float, seconds: float) -> bool:
        """Move on; ``now`` is the time afterwards. True where an order begins to act."""
        ends = seconds >= self.lasts
        self.output = self._end if ends else self.signal(seconds)
        begins = False
        while self._orders and self._orders[0][0] <= now:
            self.aim = self._orders.pop(0)[1]
            begins = True
        if begins or ends or seconds:
            self._settle()
        return begins

    def _settle(self) -> None:
        away = self.output - self.aim
        constant_of, slew = self.source.time_constant, self.source.slew
        if abs(away) <= 1e-12 * max(1.0, abs(self.aim)):
            self.signal: Signal = constant(self.aim)
            self.lasts, self._end = math.inf, self.aim
            self.output = self.aim
            return
        way = math.copysign(1.0, away)
        bend = slew * constant_of if math.isfinite(slew) else math.inf
        if abs(away) > bend * (1.0 + 1e-12):
            self.signal = straight(self.output, -way * slew)
            self.lasts, self._end = (abs(away) - bend) / slew, self.aim + way * bend
        elif constant_of > 0.0:
            self.signal = approach(self.output, self.aim, constant_of)
            self.lasts, self._end = _LONG * constant_of, self.aim
        else:
            self.output = self.aim
            self._settle()
