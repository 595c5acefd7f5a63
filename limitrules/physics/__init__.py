"""Typed functions of electrical engineering that rules may call, beside the standard ones of the language."""

from limitrules.language.functions import STANDARD, Registry
from limitrules.physics import converters, energy, links, precharge, regulators, sharing, thermal

FUNCTIONS: Registry = STANDARD.extended(
    [
        *converters.FUNCTIONS,
        *regulators.FUNCTIONS,
        *precharge.FUNCTIONS,
        *links.FUNCTIONS,
        *sharing.FUNCTIONS,
        *thermal.FUNCTIONS,
        *energy.FUNCTIONS,
    ]
)

__all__ = ["FUNCTIONS"]
