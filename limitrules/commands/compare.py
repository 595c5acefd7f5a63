"""`limitrules compare OLD NEW`: what a change does, and which tests it makes due again."""

from __future__ import annotations

import argparse
from functools import partial

from limitrules.commands.common import FINDINGS_FAIL, NOTHING_FAILS, Answer, Arguments, report


def add_options(parser: argparse.ArgumentParser) -> None:
    """What can be said of a comparison."""
    parser.add_argument("old", metavar="OLD", help="the system document as it was")
    parser.add_argument("system", metavar="NEW", help="the system document as it is now")


def run(arguments: Arguments) -> Answer:
    """What changed; 1 where a finding of class outage or worse is worse than before."""
    from limitrules import api
    from limitrules.report.comparison import comparison_data, comparison_text
    from limitrules.rules.findings import Consequence

    functions = api.load_functions(arguments.functions)
    rulepacks = api.load_rulepacks(tuple(arguments.rulepack), functions)
    old, new = (
        api.open_survey(api.read_system(name, rulepacks), rulepacks) for name in (arguments.old, arguments.system)
    )
    comparison = api.compare(old, new)
    worse = [item.after or item.before for item in comparison.findings if item.is_worse]
    fails = any(item is not None and item.consequence.at_least(Consequence.OUTAGE) for item in worse)
    text = report(arguments, lambda: comparison_data(comparison), partial(comparison_text, comparison))
    return text, FINDINGS_FAIL if fails else NOTHING_FAILS
