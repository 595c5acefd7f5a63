"""`limitrules rehearse SYSTEM EVENT`: what happens in the seconds after an event."""

from __future__ import annotations

import argparse
import time
from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from limitrules.commands.common import FINDINGS_FAIL, NOTHING_FAILS, Answer, Arguments, picture_target, report

if TYPE_CHECKING:
    from limitrules.simulate.scene import Options
    from limitrules.simulate.told import Rehearsal

EPILOG = """\
events:
  load-rejection     a load drops while the sun charges the packs
  export-stop        the grid goes while power is exported
  load-pickup        the largest load starts while the packs carry the others
  overload           the peak of the load comes in island mode
  grid-loss          the grid is lost and the converter takes all loads
  pack-leaves        a pack opens while all sources charge
  pack-limits        a pack goes into its fallback limiter while all sources charge
  pack-joins         a pack with a lower voltage joins the others
  link-loss          nobody hears the packs any more
  trip-under-charge  protections block charge while all sources charge
  reserve-floor      the packs go down to their reserve with no sun
  cold-morning       the sun comes while the cells are at their coldest"""

_PATIENCE = 0.7  # s before progress is shown


def add_options(parser: argparse.ArgumentParser) -> None:
    """What can be said of a rehearsal."""
    parser.add_argument("system", metavar="SYSTEM", help="the system document, a YAML file")
    parser.add_argument("event", metavar="EVENT", help="the event; all of them stand below")
    parser.add_argument("--power", metavar="QUANTITY", help="the load that drops, starts or runs, such as `6.9 kW`")
    parser.add_argument("--pack", metavar="PACK", help="the pack it happens to (default: the one that takes most)")
    parser.add_argument("--soc", metavar="QUANTITY", help="state of charge of all packs, such as `95 %%`")
    parser.add_argument("--running", metavar="SOURCE", action="append", default=[],
        help="an AC source that charges the packs meanwhile, such as sources.generator; may be repeated")  # fmt: skip
    parser.add_argument("--ceiling", metavar="QUANTITY", help="what every pack allows once the link is lost")
    parser.add_argument("--difference", metavar="QUANTITY", help="by how much a joining pack lies below the bus")
    parser.add_argument("--lasting", metavar="QUANTITY", help="how long is rehearsed, such as `10 min`")
    parser.add_argument("--every", metavar="QUANTITY", help="the event again and again at this distance")
    parser.add_argument("--times", metavar="N", type=int, default=1, help="how often, with --every")
    parser.add_argument("--assume", action="store_true",
        help="put usual figures in the place of missing ones; every figure then rests on them")  # fmt: skip
    parser.add_argument("--picture", metavar="FILE", type=Path, help="draw it, as .svg or .png (extra `pictures`)")


def run(arguments: Arguments) -> Answer:
    """The report, and 1 where supply is lost or a protection acts, else 0."""
    from limitrules import api

    picture = picture_target(arguments)
    system = api.read_system(arguments.system)
    options, assume = _options(arguments), arguments.assume
    rehearsal = api.rehearse(system, arguments.event, options, assume=assume, progress=_shown(arguments))
    arguments.progress("")
    if picture is not None:
        from limitrules.report.picture import draw

        draw(rehearsal, picture)
    return _text(rehearsal, arguments), FINDINGS_FAIL if rehearsal.loses else NOTHING_FAILS


def _text(rehearsal: Rehearsal, arguments: Arguments) -> str:
    from limitrules.report.rehearsal import rehearsal_text
    from limitrules.report.rehearsal_data import rehearsal_csv, rehearsal_data

    if arguments.format == "csv":
        return rehearsal_csv(rehearsal)
    return report(arguments, lambda: rehearsal_data(rehearsal), partial(rehearsal_text, rehearsal))


def _options(arguments: Arguments) -> Options:
    from limitrules.foundation.diagnostics import refuse
    from limitrules.simulate.scene import Options

    if arguments.times < 1 or (arguments.times > 1 and arguments.every is None):
        raise refuse("times-without-every", f"`--times {arguments.times}` makes no row of events", where="--times",
                     expected="one or more, and with --every the distance between two")  # fmt: skip
    if arguments.every is not None and arguments.times == 1:
        raise refuse("every-without-times", "`--every` makes no row of events", where="--every",
                     expected="together with --times N, how often")  # fmt: skip
    quantity = partial(_quantity, arguments)
    return Options(
        power=quantity("power", "W"),
        pack=arguments.pack,
        soc=quantity("soc", "%"),
        running=tuple(name if "." in name else f"sources.{name}" for name in arguments.running),
        ceiling=quantity("ceiling", "A"),
        difference=quantity("difference", "V"),
        lasting=quantity("lasting", "s"),
        every=quantity("every", "s"),
        times=arguments.times,
    )


def _quantity(arguments: Arguments, name: str, unit: str) -> float | None:
    """A figure in SI that is not below zero. Raises InputError."""
    from limitrules.foundation.diagnostics import Diagnostic, InputError
    from limitrules.foundation.units import UNITS
    from limitrules.model.quantity import QuantityError, parse_quantity

    text = getattr(arguments, name)
    if text is None:
        return None
    try:
        found = parse_quantity(text.strip(), UNITS[unit])
    except QuantityError as error:
        raise InputError([Diagnostic(error.code, error.message, where=f"--{name} {text}", expected=error.expected,
                                     advice=error.advice)]) from error  # fmt: skip
    if found.low < 0 or not found.is_exact or (name in ("every", "lasting") and not found.nominal):
        message = f"`{text}` is no figure that this can be"
        raise InputError([Diagnostic("below-zero", message, where=f"--{name}",
                                     expected="one figure without a tolerance, and not below zero")])  # fmt: skip
    if name == "soc" and found.high > 1:
        raise InputError([Diagnostic("above-full", f"`{text}` is more than full", where="--soc",
                                     expected="a state of charge of at most 100 %")])  # fmt: skip
    return float(found.nominal)


def _shown(arguments: Arguments) -> Callable[[int, int], None]:
    """Progress for a person, once it takes long."""
    begin = time.monotonic()

    def show(done: int, most: int) -> None:
        if time.monotonic() - begin >= _PATIENCE and not done % 10:
            arguments.progress(f"{done} of at most {most} corners simulated")

    return show
