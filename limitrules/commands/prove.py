"""`limitrules rulepack prove NAME|PATH...`: whether the cases of rulepacks hold and notice faults."""

from __future__ import annotations

import argparse
from functools import partial

from limitrules.commands.common import FINDINGS_FAIL, NOTHING_FAILS, Answer, Arguments, report


def add_options(parser: argparse.ArgumentParser) -> None:
    """What can be said of a proof."""
    parser.add_argument("names", metavar="NAME|PATH", nargs="+", help="rulepacks by name or folder")


def run(arguments: Arguments) -> Answer:
    """The proofs; 1 where a case is wrong or a fault goes unnoticed."""
    from limitrules import api
    from limitrules.engine.proving import prove
    from limitrules.report.proof import proofs_data, proofs_text

    functions = api.load_functions(arguments.functions)
    # Each is loaded by itself, after those whose parameters it sets or whose rules it retires.
    named = [api.load_rulepacks([name], functions)[-1] for name in dict.fromkeys(arguments.names)]
    proofs = [prove(rulepack, arguments.progress) for rulepack in named]
    arguments.progress("")
    text = report(arguments, lambda: proofs_data(proofs), partial(proofs_text, proofs))
    return text, NOTHING_FAILS if all(proof.holds for proof in proofs) else FINDINGS_FAIL
