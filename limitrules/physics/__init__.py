"""Typed functions of electrical engineering that rules may call, beside the standard ones of the language."""

from limitrules.language.functions import STANDARD, Registry
from limitrules.physics import conductors, converters, energy, faults, links, precharge, regulators, sharing, thermal

FUNCTIONS: Registry = STANDARD.extended(
    [
        *converters.FUNCTIONS,
        *regulators.FUNCTIONS,
        *precharge.FUNCTIONS,
        *links.FUNCTIONS,
        *sharing.FUNCTIONS,
        *thermal.FUNCTIONS,
        *energy.FUNCTIONS,
        *conductors.FUNCTIONS,
        *faults.FUNCTIONS,
    ]
)

__all__ = ["FUNCTIONS"]
