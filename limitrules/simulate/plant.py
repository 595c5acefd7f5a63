"""What is simulated: packs, sources, loads and what watches them, as plain figures in SI."""

from __future__ import annotations

import math
from enum import Enum

from attrs import frozen


class Part(Enum):
    """What a watch looks at; all voltages are at the DC side."""

    PACK_CURRENT = "current of the pack, positive when charging"
    PACK_VOLTAGE = "voltage at the pack terminals"
    BUS_VOLTAGE = "voltage of the DC bus"
    LIMITED_CURRENT = "current the pack would take without its fallback limiter"
    CONVERTER_POWER = "AC power that the converter carries"


class Act(Enum):
    """What happens when a watch has seen its condition for long enough."""

    BLOCK = "a pack blocks charge, discharge or both"
    LIMIT = "the fallback limiter of a pack takes over"
    SHED = "a load is taken off"
    STOP_SOURCE = "a source stops charging"
    STOP_CONVERTER = "the converter stops"
    OVERSTRESS = "a device is above what it survives"


@frozen(eq=False)
class Watch:
    """Acts once ``sign`` times the figure has been at or above ``sign * level`` for ``delay`` seconds.

    ``filter_time``: the figure passes a first-order filter first (s). ``heating_time``: instead of a delay, the
    square of figure over level heats a first-order image with this time constant (s), which acts at one.
    ``release``: level at which it lets go after ``release_delay`` s without a break; None where it does not by itself.
    ``retries``: how often it lets go by itself; None without end. ``owner`` is the number of the pack, load or source.
    """

    path: str
    act: Act
    part: Part
    owner: int
    sign: int
    level: float
    delay: float
    filter_time: float = 0.0
    heating_time: float = 0.0
    release: float | None = None
    release_delay: float = 0.0
    retries: int | None = None
    blocks_charge: bool = False
    blocks_discharge: bool = False


@frozen(eq=False)
class Limiter:
    """A fallback limiter: from ``engage`` A on it lets ``current`` A pass, until the pack would take ``release`` A."""

    engage: float
    current: float
    release: float


@frozen(eq=False)
class Pack:
    """``rest`` is its rest voltage (V), ``resistance`` that of the pack, ``lead`` of its leads to the bus (ohm).

    ``charge_ceiling`` and ``discharge_ceiling`` are what it reports (A).
    """

    path: str
    rest: float
    resistance: float
    lead: float
    charge_ceiling: float
    discharge_ceiling: float
    limiter: Limiter | None = None
    separate_paths: bool = False

    @property
    def conductance(self) -> float:
        return 1.0 / (self.resistance + self.lead)


@frozen(eq=False)
class Source:
    """Something that charges the bus with up to ``ceiling`` A.

    After an order it does nothing for ``dead_time`` s; then it moves by (order - output) / ``time_constant`` (s), no
    faster than ``slew`` (A/s). ``obeys``: it takes orders that follow what the packs report. ``fallback``: A that it
    goes to when the link has been silent for too long; None where it carries on.
    """

    path: str
    ceiling: float
    obeys: bool
    dead_time: float
    time_constant: float
    slew: float
    fallback: float | None = None


@frozen(eq=False)
class Load:
    """Power in W, on the AC side of the converter or on the DC bus."""

    path: str
    power: float
    on_dc: bool = False


@frozen(eq=False)
class Converter:
    """What stands between the DC bus and the AC loads. Powers in W on the AC side, currents in A on the DC side.

    ``can_limit``: it lowers its output at a ceiling instead of carrying on until it stops.
    """

    path: str
    efficiency: float
    power_ceiling: float = math.inf
    discharge_ceiling: float = math.inf
    can_limit: bool = False
    lead: float = 0.0


@frozen(eq=False)
class Plant:
    """A site as it is simulated.

    ``bank_ceiling``: charge current (A) that the controller allows for all packs whatever they report.
    ``update_time``: s until a source has heard of a changed ceiling. ``silence_time``: s without word after which
    sources go to their fallback. ``capacitance``: F of the DC bus.
    """

    packs: tuple[Pack, ...]
    sources: tuple[Source, ...]
    loads: tuple[Load, ...]
    watches: tuple[Watch, ...]
    converter: Converter | None = None
    bank_ceiling: float = math.inf
    update_time: float = 0.0
    silence_time: float = math.inf
    capacitance: float = 0.0
