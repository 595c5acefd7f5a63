"""Figures that no plant can have, such as a resistance of zero: refused in words before anything is simulated."""

from __future__ import annotations

from collections.abc import Iterable

from limitrules.foundation.diagnostics import Diagnostic, InputError
from limitrules.simulate.plant import Pack, Plant, Source, Watch


def refuse_unsound(plant: Plant) -> None:
    """Raise InputError with everything about a plant that cannot be."""
    found = [
        *(fault for pack in plant.packs for fault in _of_pack(pack)),
        *(fault for source in plant.sources for fault in _of_source(source)),
        *((f"{load.path}.power", "a load draws nothing or more") for load in plant.loads if load.power < 0.0),
        *(fault for watch in plant.watches for fault in _of_watch(watch)),
        *_of_site(plant),
    ]
    if found:
        raise unusable(found)


def unusable(found: Iterable[tuple[str, str]]) -> InputError:
    """The refusal of figures, by path, with what they have to be."""
    advice = "look at the value and at its tolerance: both of its ends are simulated"
    return InputError(
        [
            Diagnostic(
                "figure-unusable", f"`{path}` cannot be simulated: {words}", where="the rehearsal", advice=advice
            )
            for path, words in found
        ]
    )


def _of_pack(pack: Pack) -> Iterable[tuple[str, str]]:
    if pack.rest <= 0.0:
        yield f"{pack.path}.cells_series", "the rest voltage of a pack is above zero"
    if pack.resistance < 0.0 or pack.lead < 0.0 or pack.resistance + pack.lead <= 0.0:
        yield f"{pack.path}.resistance.pulse", "the resistance of a pack with its leads is above zero"
    if pack.charge_ceiling < 0.0:
        yield f"{pack.path}.charge.ceiling", "a ceiling is zero or more"
    if pack.limiter is not None and pack.limiter.current < 0.0:
        yield f"{pack.path}.limiter.current", "a limiter lets a current of zero or more through"


def _of_source(source: Source) -> Iterable[tuple[str, str]]:
    if source.ceiling < 0.0:
        yield f"{source.path}.charge.ceiling", "a ceiling is zero or more"
    if source.dead_time < 0.0:
        yield f"{source.path}.regulator.dead_time", "a dead time is zero or more"
    if source.time_constant < 0.0:
        yield f"{source.path}.regulator.time_constant", "a time constant is zero or more"
    if source.slew <= 0.0:
        yield f"{source.path}.regulator.slew", "a source that never moves obeys nothing; the slew is above zero"
    if source.fallback is not None and source.fallback < 0.0:
        yield f"{source.path}.fallback.charge", "a fallback is zero or more"


def _of_watch(watch: Watch) -> Iterable[tuple[str, str]]:
    if watch.delay < 0.0 or watch.release_delay < 0.0:
        yield f"{watch.path}.delay", "a delay is zero or more"
    if watch.filter_time < 0.0 or watch.heating_time < 0.0:
        yield f"{watch.path}.measurement.filter", "a time constant is zero or more"
    if watch.heating_time and not watch.level:
        yield f"{watch.path}.threshold", "a protection that heats has a threshold other than zero"


def _of_site(plant: Plant) -> Iterable[tuple[str, str]]:
    converter = plant.converter
    if converter is not None and not 0.0 < converter.efficiency <= 1.0:
        yield f"{converter.path}.efficiency.discharge", "an efficiency is above zero and at most 100 %"
    if plant.update_time < 0.0 or plant.silence_time < 0.0:
        yield "links", "times on a link are zero or more"
    if plant.capacitance < 0.0:
        yield "site.dc.capacitance", "a capacitance is zero or more"
