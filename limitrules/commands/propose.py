"""`limitrules propose SYSTEM [PATH...]`: which values the settings should have."""

from __future__ import annotations

import argparse
from functools import partial
from pathlib import Path

from limitrules.commands.common import (
    FINDINGS_FAIL,
    NOTHING_FAILS,
    Answer,
    Arguments,
    inputs,
    opened,
    report,
    unused_rulepacks,
)


def add_options(parser: argparse.ArgumentParser) -> None:
    """What can be said of a proposal."""
    parser.add_argument("system", metavar="SYSTEM", help="the system document, a YAML file")
    parser.add_argument("paths", metavar="PATH", nargs="*", help="settings that may change (default: all)")
    parser.add_argument("--keep", metavar="PATH", action="append", default=[],
        help="leave this setting as it is; may be repeated")  # fmt: skip
    parser.add_argument("--more-power", action="store_true",
        help="raise the ceilings of sources too, as far as the rules allow")  # fmt: skip
    parser.add_argument("--seconds", metavar="N", type=float, default=60.0,
        help="give what was found after this time (default: 60)")  # fmt: skip
    parser.add_argument("--apply", metavar="FILE", type=Path,
        help="write the document with the proposed values to a new file")  # fmt: skip


def run(arguments: Arguments) -> Answer:
    """The settings sheet; 1 where findings of class outage or worse are left."""
    from limitrules import api
    from limitrules.foundation.diagnostics import refuse
    from limitrules.report.output import check_target, write_whole
    from limitrules.report.proposal import proposal_data, proposal_text
    from limitrules.rules.findings import Consequence

    if not arguments.seconds >= 0:
        raise refuse("below-zero", f"`{arguments.seconds:g}` is no time to look for a proposal", where="--seconds",
                     expected="a number of seconds, not below zero")  # fmt: skip
    if arguments.apply is not None:
        check_target(arguments.apply, inputs(arguments))
    survey = opened(arguments)
    proposal = api.propose(
        survey, arguments.paths or None, arguments.keep, more_power=arguments.more_power, seconds=arguments.seconds,
        progress=arguments.progress,
    )  # fmt: skip
    arguments.progress("")
    if arguments.apply is not None:
        write_whole(arguments.apply, api.applied(survey.system, proposal))
    notes = unused_rulepacks(item.name for item in survey.rulepacks)
    text = report(arguments, lambda: proposal_data(proposal, notes), partial(proposal_text, proposal, notes))
    return text, FINDINGS_FAIL if proposal.after.failing(Consequence.OUTAGE) else NOTHING_FAILS
