"""Typed functions of electrical engineering that rules may call, beside the standard ones of the language."""

from limitrules.language.functions import STANDARD, Registry
from limitrules.physics import (
    breakers,
    conductors,
    converters,
    energy,
    faults,
    fuses,
    let_through,
    links,
    precharge,
    regulators,
    sharing,
    thermal,
    together,
)

FUNCTIONS: Registry = STANDARD.extended(
    [
        *converters.FUNCTIONS,
        *regulators.FUNCTIONS,
        *together.FUNCTIONS,
        *precharge.FUNCTIONS,
        *links.FUNCTIONS,
        *sharing.FUNCTIONS,
        *thermal.FUNCTIONS,
        *energy.FUNCTIONS,
        *conductors.FUNCTIONS,
        *faults.FUNCTIONS,
        *fuses.FUNCTIONS,
        *let_through.FUNCTIONS,
        *breakers.FUNCTIONS,
    ]
)

__all__ = ["FUNCTIONS"]
