"""The voltage of a bus that packs hold, by Newton's steps on Kirchhoff's law."""

from __future__ import annotations

import math
from collections.abc import Sequence

from limitrules.simulate.bus import Mode
from limitrules.simulate.plant import Pack


def taken(pack: Pack, mode: Mode, volts: float) -> tuple[float, float]:
    """What a pack takes at a bus voltage (A), and how that rises with the voltage (A/V)."""
    ohms = pack.resistance + pack.lead
    free = (volts - pack.rest) / ohms
    if mode is Mode.OPEN or (mode is Mode.NO_CHARGE and free > 0) or (mode is Mode.NO_DISCHARGE and free < 0):
        return 0.0, 0.0
    if mode is Mode.LIMITING and pack.limiter is not None and free > pack.limiter.current:
        return pack.limiter.current, 0.0
    return free, 1.0 / ohms


def held_voltage(packs: Sequence[Pack], modes: Sequence[Mode], current: float) -> float | None:
    """The voltage at which the packs take a current together; None where none of them follows it."""
    low, high = min(p.rest for p in packs) - 2000.0, max(p.rest for p in packs) + 2000.0

    def excess(volts: float) -> tuple[float, float]:
        both = [taken(pack, mode, volts) for pack, mode in zip(packs, modes, strict=True)]
        return sum(c for c, _ in both) - current, sum(g for _, g in both)

    if excess(low)[0] > 0.0 or excess(high)[0] < 0.0 or excess(low)[0] == excess(high)[0]:
        return None
    volts = max(p.rest for p in packs)
    for _ in range(200):
        off, steep = excess(volts)
        if off > 0.0:
            high = volts
        else:
            low = volts
        step = volts - off / steep if steep else math.inf
        new = step if low <= step <= high else (low + high) / 2.0
        if abs(new - volts) <= 1e-15 * abs(volts):
            return new
        volts = new
    return volts
