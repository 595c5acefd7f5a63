"""The course of a rehearsal: from one event to the next, each found exactly from closed forms in between."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from functools import partial

from attrs import evolve, frozen

from limitrules.simulate.bus import Mode
from limitrules.simulate.network import Network, Piece
from limitrules.simulate.plant import Act, Pack, Part, Plant, Watch
from limitrules.simulate.signals import next_past, next_reach
from limitrules.simulate.told import Moment, What
from limitrules.simulate.watching import Phase, Running, Step

MOST_PIECES = 5000
_MOST_ACTS = 100  # of one watch, before it counts as restless
_MOST_AT_ONCE = 200  # steps without any time between them
_TOGETHER = 1e-10  # s; what is due within this time of an event is due with it


@frozen(eq=False)
class Change:
    """Something from outside at ``time`` (s). What is None stays as it is.

    ``loads``: those that run, by number. ``extra_load``: W on the AC side besides them. ``modes``: of packs by number.
    ``ceilings``: charge ceilings that packs report, by number. ``link``: whether the packs are heard. ``awake``: all
    sources go up to what they may.
    """

    time: float
    words: str
    path: str = ""
    loads: tuple[int, ...] | None = None
    extra_load: float | None = None
    modes: tuple[tuple[int, Mode], ...] = ()
    ceilings: tuple[tuple[int, float], ...] = ()
    link: bool | None = None
    awake: bool = False
    figure: float = math.nan
    unit: str = ""


@frozen(eq=False)
class Start:
    """How a rehearsal begins: sources at rest at what they may give, or at zero where they sleep."""

    modes: tuple[Mode, ...]
    loads: tuple[int, ...]
    extra_load: float = 0.0
    asleep: bool = False


@frozen(eq=False)
class Course:
    """What happened: moments in order, pieces without gaps; whether supply was lost; whether it never came to rest."""

    plant: Plant
    moments: tuple[Moment, ...]
    pieces: tuple[Piece, ...]
    is_dark: bool
    is_restless: bool


def run(plant: Plant, start: Start, changes: Iterable[Change], until: float) -> Course:
    """Simulate ``until`` s from the start, with what comes from outside."""
    return _Run(plant, start, sorted(changes, key=lambda change: change.time), until).whole()


class _Run:
    def __init__(self, plant: Plant, start: Start, changes: Sequence[Change], until: float) -> None:
        self.plant, self.changes, self.until = plant, list(changes), until
        self.now = 0.0
        modes = [_as_built(pack, mode) for pack, mode in zip(plant.packs, start.modes, strict=True)]
        self.network = Network(plant, modes, start.loads, start.extra_load)
        self.is_linked, self.is_dark, self.is_restless, self.is_limited = True, False, False, False
        self.outside = list(start.modes)
        self.at_once = 0
        self.reported = [pack.charge_ceiling for pack in plant.packs]
        self.heard, self.heard_modes = list(self.reported), modes.copy()
        self.news: list[tuple[float, list[float], list[Mode]]] = []
        self.silent_at = math.inf
        self.governs = ""
        self.moments: list[Moment] = []
        self.pieces: list[Piece] = []
        self.network.divide()
        for _ in range(_MOST_AT_ONCE):
            if start.asleep or self.network.settle(self.aims()):
                break
        piece = self.network.piece(0.0, 0.0)
        self.running = [Running(watch, self.network.figure(watch, piece)(0.0)) for watch in plant.watches]

    # what the sources are to do

    def limit(self) -> float:
        """The charge current (A) for all packs together, as it was heard last."""
        packs = zip(self.heard, self.heard_modes, strict=True)
        reported = sum(ceiling for ceiling, mode in packs if mode not in (Mode.OPEN, Mode.NO_CHARGE))
        return min(self.plant.bank_ceiling, reported)

    def aims(self) -> list[float]:
        """What each source is to put into the bus: those that obey share what the others leave, by their ceilings."""
        sources = self.plant.sources
        wanted = self.limit() + self.network.load - sum(s.ceiling for s in sources if not s.obeys)
        able = sum(s.ceiling for s in sources if s.obeys)
        share = min(1.0, max(0.0, wanted) / able) if able else 0.0
        self._note_governing(share, bool(able))
        return [source.ceiling * share if source.obeys else source.ceiling for source in sources]

    def _note_governing(self, share: float, any_obeys: bool) -> None:
        if share >= 1.0 or not any_obeys:
            words = "the sources' own ceilings"
        elif self.limit() == self.plant.bank_ceiling:
            words = "the ceiling for the whole bank"
        else:
            words = "what the packs report"
        if words != self.governs and self.plant.sources:
            self.governs = words
            self._tell(What.GOVERNS, "", self.limit(), "A", words=words)

    def _order(self, everyone: bool = False) -> None:
        if self.silent_at < self.now:
            return  # each has gone to its fallback
        for movement, aim in zip(self.network.movements, self.aims(), strict=True):
            if movement.source.obeys or everyone:
                movement.order(self.now, aim)

    # the loop

    def whole(self) -> Course:
        self._take_changes()
        self._look()
        while self.now < self.until and not self.is_dark:
            if len(self.pieces) >= MOST_PIECES or self.at_once >= _MOST_AT_ONCE or self._acts() >= _MOST_ACTS:
                self.is_restless = True
                self._tell(What.RESTLESS, "")
                break
            self._step()
        return Course(self.plant, tuple(self.moments), tuple(self.pieces), self.is_dark, self.is_restless)

    def _acts(self) -> int:
        return max((running.acts for running in self.running), default=0)

    def _step(self) -> None:
        network = self.network
        piece = network.piece(self.now, self.until)
        span = self._next(piece)
        self.at_once = 0 if span > 0.0 else self.at_once + 1
        if span > 0.0:
            self.pieces.append(evolve(piece, end=self.now + span))
        self.now += span
        network.voltage = piece.bus_voltage(span)
        for running in self.running:
            running.advance(network.figure(running.watch, piece), span)
        for movement in network.movements:
            if movement.advance(self.now, span):
                self._tell(What.ORDER, movement.source.path, movement.aim, "A")
        self._take_watches(piece, span)
        self._take_news()
        self._take_changes()
        network.divide()
        self._look(piece.is_afloat)

    def _look(self, was_afloat: bool = False) -> None:
        """Tell what has become of the bus and of the converter."""
        network, converter = self.network, self.plant.converter
        if network.has_collapsed:
            self._go_dark(converter.path if converter else "")
        elif network.division.afloat and not was_afloat:
            self._tell(What.AFLOAT, "", network.voltage, "V")
        limited = converter is not None and network.served_power < network.ac_power
        if limited and not self.is_limited and converter is not None:
            self._tell(What.LIMITED, converter.path, network.served_power, "W")
        self.is_limited = limited

    def _next(self, piece: Piece) -> float:
        """Seconds until something happens."""
        due = [self.until]
        due += [change.time for change in self.changes[:1]] + [news[0] for news in self.news[:1]]
        due += [self.silent_at] if self.silent_at > self.now else []
        span = max(0.0, min(due) - self.now)
        for movement in self.network.movements:
            span = min(span, movement.until_next(self.now))
        span = self._until_other_division(piece, span)
        if piece.is_afloat:
            lowest = self.network.lowest_use
            span = min(span, next_reach(piece.voltage, lowest * lowest, False, span))
        inflow = piece.inflow.range(0.0, span)
        for running in self.running:
            watch = running.watch
            figure, bounds = self.network.figure(watch, piece), self.network.bounds(watch, piece, inflow)
            level_of = partial(self.network.level, watch, piece) if piece.is_afloat else None
            span = min(span, running.follow(figure, bounds, span, level_of))
        return max(span, 0.0)

    def _until_other_division(self, piece: Piece, span: float) -> float:
        """Seconds until the current of a pack bends with the voltage, ``span`` at most."""
        for bend, is_below in piece.division.bends:
            level = bend * bend if piece.is_afloat else bend
            span = min(span, next_past(piece.voltage, level, is_below, span))
        return span

    def _take_watches(self, piece: Piece, span: float) -> None:
        for running in self.running:
            if running.next[0] > span + _TOGETHER:
                continue
            watch, step = running.watch, running.take()
            what = _WHAT.get(step)
            is_silent = watch.act in (Act.LIMIT, Act.OVERSTRESS) and what in (What.EXCEEDED, What.BACK)
            if what is not None and not is_silent:
                self._tell(what, watch.path, self._shown(running, piece, span), _UNITS[watch.part], watch)
            if step is Step.ACTS:
                self._act(watch)
                if running.phase is Phase.LOCKED and watch.act is Act.BLOCK:
                    self._tell(What.LOCKED, watch.path, float(running.acts), "", watch)
            elif step is Step.RELEASES:
                self._release(watch)

    def _shown(self, running: Running, piece: Piece, span: float) -> float:
        if running.watch.part is Part.BUS_VOLTAGE:
            return piece.bus_voltage(span)
        return running.reading(self.network.figure(running.watch, piece), span)

    def _act(self, watch: Watch) -> None:
        network = self.network
        if watch.act is Act.BLOCK or watch.act is Act.LIMIT:
            self._set_mode(watch.owner)
        elif watch.act is Act.SHED:
            if watch.owner in network.loads:
                network.loads.remove(watch.owner)
            network.divide()
            self._order()
        elif watch.act is Act.STOP_SOURCE:
            network.movements[watch.owner].stop()
        elif watch.act is Act.STOP_CONVERTER:
            self._go_dark(watch.path)

    def _release(self, watch: Watch) -> None:
        if watch.act in (Act.BLOCK, Act.LIMIT):
            self._set_mode(watch.owner)

    def _set_mode(self, number: int) -> None:
        """What a pack lets through follows from what was done to it and from the protections that hold it."""
        outside = self.outside[number]
        holding = [r.watch for r in self.running if r.is_blocking and r.watch.owner == number]
        blocks = [watch for watch in holding if watch.act is Act.BLOCK]
        charge = outside in (Mode.OPEN, Mode.NO_CHARGE) or any(watch.blocks_charge for watch in blocks)
        discharge = outside in (Mode.OPEN, Mode.NO_DISCHARGE) or any(watch.blocks_discharge for watch in blocks)
        limits = outside is Mode.LIMITING or any(watch.act is Act.LIMIT for watch in holding)
        mode = (
            Mode.OPEN if charge and discharge else Mode.NO_CHARGE if charge else Mode.NO_DISCHARGE if discharge else
            Mode.FREE
        )  # fmt: skip
        built = _as_built(self.plant.packs[number], mode)
        self.network.modes[number] = Mode.LIMITING if limits and built in (Mode.FREE, Mode.NO_DISCHARGE) else built
        self._report()

    def _go_dark(self, path: str) -> None:
        self.is_dark = True
        self._tell(What.DARK, path)

    # news of the packs, and what comes from outside

    def _report(self) -> None:
        """The packs tell what they allow from now on; sources hear of it later, or never."""
        if self.is_linked:
            self.news.append((self.now + self.plant.update_time, list(self.reported), list(self.network.modes)))

    def _take_news(self) -> None:
        while self.news and self.news[0][0] <= self.now + _TOGETHER:
            before = self.limit()
            _, self.heard, self.heard_modes = self.news.pop(0)
            if self.limit() != before and self.plant.sources:
                self._tell(What.HEARD, "", self.limit(), "A")
            self.network.divide()
            self._order()
        if self.now < self.silent_at + _TOGETHER and self.silent_at <= self.now + _TOGETHER:
            self.silent_at = -math.inf
            self._fall_back()

    def _fall_back(self) -> None:
        self._tell(What.SILENT, "", self.plant.silence_time, "s")
        for movement in self.network.movements:
            fallback = movement.source.fallback
            if fallback is not None and movement.order(self.now, fallback):
                self._tell(What.FALLBACK, movement.source.path, fallback, "A")

    def _take_changes(self) -> None:
        while self.changes and self.changes[0].time <= self.now + _TOGETHER:
            change = self.changes.pop(0)
            self._tell(What.EVENT, change.path, change.figure, change.unit, words=change.words)
            self._change(change)

    def _change(self, change: Change) -> None:
        network = self.network
        if change.loads is not None:
            network.loads = list(change.loads)
        if change.extra_load is not None:
            network.extra_load = change.extra_load
        for number, mode in change.modes:
            self.outside[number] = mode
            self._set_mode(number)
        for number, ceiling in change.ceilings:
            self.reported[number] = ceiling
        if change.link is False:
            self.is_linked = False
            self.news.clear()
            self.silent_at = self.now + self.plant.silence_time
        elif change.link:
            self.is_linked, self.silent_at = True, math.inf
        if change.ceilings or change.link:
            self._report()
        network.divide()
        if change.loads is not None or change.extra_load is not None or change.awake:
            self._order(everyone=change.awake)

    def _tell(
        self, what: What, path: str, figure: float = math.nan, unit: str = "", watch: Watch | None = None,
        words: str = "",
    ) -> None:  # fmt: skip
        self.moments.append(Moment(self.now, what, path, figure, unit, watch, words))


def _as_built(pack: Pack, mode: Mode) -> Mode:
    """A pack without separate paths blocks both directions or none."""
    return Mode.OPEN if mode in (Mode.NO_CHARGE, Mode.NO_DISCHARGE) and not pack.separate_paths else mode


_WHAT = {
    Step.EXCEEDED: What.EXCEEDED, Step.BACK: What.BACK, Step.ACTS: What.ACTED, Step.RELEASES: What.RELEASED,
}  # fmt: skip
_UNITS = {
    Part.PACK_CURRENT: "A", Part.PACK_VOLTAGE: "V", Part.BUS_VOLTAGE: "V", Part.LIMITED_CURRENT: "A",
    Part.CONVERTER_POWER: "W",
}  # fmt: skip
