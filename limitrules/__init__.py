"""Rules over the limits of battery packs, converters, wiring and loads, with exact verdicts over tolerances.

The names below load on first use, so that importing the package costs next to nothing.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING

from limitrules.foundation.version import VERSION

if TYPE_CHECKING:
    from limitrules.api import applied as applied
    from limitrules.api import certificates as certificates
    from limitrules.api import compare as compare
    from limitrules.api import load_functions as load_functions
    from limitrules.api import load_rulepacks as load_rulepacks
    from limitrules.api import open_survey as open_survey
    from limitrules.api import propose as propose
    from limitrules.api import read_system as read_system
    from limitrules.api import rehearse as rehearse
    from limitrules.api import settings as settings
    from limitrules.api import survey as survey
    from limitrules.api import window as window
    from limitrules.engine.survey import Survey as Survey
    from limitrules.foundation.diagnostics import Diagnostic as Diagnostic
    from limitrules.foundation.diagnostics import InputError as InputError
    from limitrules.language.functions import Argument as Argument
    from limitrules.language.functions import Direction as Direction
    from limitrules.language.functions import Function as Function
    from limitrules.model.system import System as System
    from limitrules.report.data import survey_data as survey_data
    from limitrules.report.text import survey_text as survey_text
    from limitrules.rules.concessions import Concessions as Concessions
    from limitrules.rules.concessions import read_concessions as read_concessions
    from limitrules.rules.findings import Consequence as Consequence
    from limitrules.rules.findings import Finding as Finding
    from limitrules.rules.findings import Headroom as Headroom
    from limitrules.rules.findings import SurveyResult as SurveyResult
    from limitrules.rules.findings import Verdict as Verdict
    from limitrules.rules.rule import Rulepack as Rulepack

__version__ = VERSION

_PLACES = {
    "applied": "api",
    "certificates": "api",
    "compare": "api",
    "load_functions": "api",
    "load_rulepacks": "api",
    "open_survey": "api",
    "propose": "api",
    "read_system": "api",
    "rehearse": "api",
    "settings": "api",
    "survey": "api",
    "window": "api",
    "Survey": "engine.survey",
    "Diagnostic": "foundation.diagnostics",
    "InputError": "foundation.diagnostics",
    "Argument": "language.functions",
    "Direction": "language.functions",
    "Function": "language.functions",
    "System": "model.system",
    "survey_data": "report.data",
    "survey_text": "report.text",
    "Concessions": "rules.concessions",
    "read_concessions": "rules.concessions",
    "Consequence": "rules.findings",
    "Finding": "rules.findings",
    "Headroom": "rules.findings",
    "SurveyResult": "rules.findings",
    "Verdict": "rules.findings",
    "Rulepack": "rules.rule",
}
__all__ = [*_PLACES, "__version__"]


def __dir__() -> list[str]:
    return sorted({*globals(), *__all__})


def __getattr__(name: str) -> object:
    if name not in _PLACES:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    value = getattr(import_module(f"{__name__}.{_PLACES[name]}"), name)
    globals()[name] = value
    return value
