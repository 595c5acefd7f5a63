"""What one full verdict costs: outcome, tight lowest headroom in exact figures, and its place.

Every check of the three examples and one of each of five hundred generated rules, each on a decider that is ready.
"""

from __future__ import annotations

import itertools
import time
from collections.abc import Callable, Iterator, Sequence
from fractions import Fraction
from statistics import median
from typing import TypeVar

from attrs import frozen
from hypothesis import HealthCheck, Phase, given, seed, settings

from limitrules.api import Survey
from limitrules.engine.check import Check
from limitrules.foundation.diagnostics import InputError
from limitrules.foundation.source import Source
from limitrules.language.truth import Decider, Decision, Outcome
from limitrules.model.system import System, parse_system
from limitrules.rules.findings import Verdict
from limitrules.rules.rule import Rulepack
from limitrules.rules.rulepack import check_drafts, parse_draft
from limitrules.rules.slots import Slots
from tests.bench.clock import in_turn
from tests.bench.documents import ROOT
from tests.bench.measured import Disagreement, Measured, noise
from tests.exact.claims import system as generated_system
from tests.exact.generated import cases
from tests.exact.oracle import GeneratedRule
from tests.exact.wording import rulepack_text, shown
from tests.exact.world import World

EXAMPLES = ("lakeside", "coldstore", "lookout")
GENERATED = 500
RUNS, PATIENCE = 7, 0.1
"""How often one verdict is taken, and after how many seconds it is not taken once more."""

Rulepacks = tuple[Rulepack, ...]
_Found = TypeVar("_Found")


@frozen
class Ready:
    """A check of a survey, ready to be decided."""

    name: str
    decider: Decider
    numbers: tuple[int, ...]
    slots: Slots

    @property
    def work(self) -> Callable[[], Decision]:
        decide, slots = self.decider.decide, self.slots
        box, nominal, shadows = slots.box(self.numbers), slots.nominals(self.numbers), slots.shadows
        return lambda: decide(box, nominal, shadows)


def verdicts(packs: Rulepacks) -> Iterator[Measured]:
    """Single verdicts, warm surveys with all results, and what is left where nothing has a tolerance."""
    surveys = {name: Survey(_example(name, packs), packs) for name in EXAMPLES}
    yield from _single(surveys)
    yield from _whole(surveys)
    yield _without_tolerances(surveys)


def _example(name: str, packs: Rulepacks) -> System:
    path = ROOT / "docs" / "examples" / f"{name}.yaml"
    return parse_system(Source(path.name, path.read_text(encoding="utf-8")), packs[0].vocabulary)


def _ready(survey: Survey) -> list[Ready]:
    slots = survey.slots
    found = []
    for check in survey.checks:
        if check.verdict is not None:
            decider = check.decider(slots)
            found.append(Ready(_name(check), decider, check.numbers, slots))
    return found


def _name(check: Check) -> str:
    return f"{check.binder.rule.id} on {', '.join(record.path for record in check.binder.names.components.values())}"


# single verdicts


def _single(surveys: dict[str, Survey]) -> Iterator[Measured]:
    groups = {name: list(map(_timed, _ready(survey))) for name, survey in surveys.items()}
    groups["generated"] = list(map(_timed, generated()))
    taken = [item for group in groups.values() for item in group]
    each = "; ".join(
        f"{name} {len(group)} checks, {sum(item.tight for item in group)} tight, median {_percentile(group, 50):.0f},"
        f" 99th percentile {_percentile(group, 99):.0f}"
        for name, group in groups.items()
    )
    slowest = sorted(taken, key=lambda item: -item.seconds)[:5]
    what = f"full verdict, {len(taken)} checks"
    yield Measured(f"{what}, median", _percentile(taken, 50), None, "us", 60.0, "", note=each)
    yield Measured(f"{what}, 99th percentile", _percentile(taken, 99), None, "us", 3000.0, "",
                   note="slowest: " + ", ".join(f"{item.name} {item.seconds * 1e6:.0f}" for item in slowest)
                   )  # fmt: skip


@frozen
class _Taken:
    """The time of one full verdict, and whether its lowest headroom is proven to be tight."""

    name: str
    seconds: float
    tight: bool


def _timed(ready: Ready) -> _Taken:
    seconds, decision = _best(ready.work)
    return _Taken(ready.name, seconds, decision.worst.tight)


def _best(work: Callable[[], _Found], runs: int = RUNS, patience: float = PATIENCE) -> tuple[float, _Found]:
    """The shortest of a few runs in seconds, and what was found; what is slow is not repeated for long."""
    begun, best = time.perf_counter(), float("inf")
    while True:
        start = time.perf_counter()
        found = work()
        end = time.perf_counter()
        best, runs = min(best, end - start), runs - 1
        if not runs or end - begun > patience:
            return best, found


def _percentile(taken: Sequence[_Taken], share: int) -> float:
    """Microseconds that so many in a hundred do not exceed."""
    seconds = sorted(item.seconds for item in taken)
    return median(seconds) * 1e6 if share == 50 else seconds[max(0, -(-len(seconds) * share // 100) - 1)] * 1e6


class _Bound(Survey):
    """A survey that evaluates nothing: of most of its checks nothing is asked, and all of its rules apply."""

    def evaluate(self) -> list[Verdict | None]:
        return []


def generated() -> list[Ready]:
    """One check of each of so many random rules, always the same ones."""
    found: list[Ready] = []
    texts: set[str] = set()
    for number, (world, rules) in enumerate(_cases()):
        # What was made before is at times made again with other values, and one hard rule must not count twice.
        new = {shown(rule.require): rule for rule in rules if shown(rule.require) not in texts}
        texts |= new.keys()
        try:
            rulepacks = check_drafts([parse_draft(Source("rulepack.yaml", rulepack_text(list(new.values()))))])
            survey = _Bound(generated_system(world), rulepacks)
        except InputError:
            continue  # a few are refused, such as the highest of nothing
        slots = survey.slots
        of_rule = {check.binder.rule.id: check for check in reversed(survey.checks)}
        found += [
            Ready(f"generated {number}: {_name(check)}", check.decider(slots), check.numbers, slots)
            for check in of_rule.values()
        ]
        if len(found) >= GENERATED:
            break
    return found[:GENERATED]


def _cases() -> Iterator[tuple[World, list[GeneratedRule]]]:
    """Random systems with rules. Short runs from many seeds, since within a run one case is much like another."""
    made: list[tuple[World, list[GeneratedRule]]] = []

    @settings(max_examples=5, deadline=None, database=None, phases=[Phase.generate],
              suppress_health_check=list(HealthCheck))  # fmt: skip
    @given(cases(scoped=False))
    def collect(case: tuple[World, list[GeneratedRule]]) -> None:
        made.append(case)

    for number in itertools.count(1):
        seed(number)(collect)()
        yield from made
        made.clear()


# whole surveys


def _whole(surveys: dict[str, Survey]) -> Iterator[Measured]:
    """Verdicts and findings of one example. What was decided is kept while values stay, so it is also shown without."""
    for name, survey in surveys.items():

        def warm(survey: Survey = survey) -> object:
            survey.evaluate()
            return survey.result()

        def anew(survey: Survey = survey) -> object:
            for check in survey.checks:
                check._known = check._decided = None
            survey.evaluate()
            return survey.result()

        warm()
        best, _ = _best(warm, 30, 3.0)
        best_anew, _ = _best(anew, 30, 3.0)
        yield Measured(f"warm survey and result, {name}", best * 1e3, None, "ms", 25.0, "",
                       note=f"{len(survey.checks)} checks; with nothing decided before {best_anew * 1e3:.1f} ms"
                       )  # fmt: skip


# without tolerances


def _without_tolerances(surveys: dict[str, Survey]) -> Measured:
    """Full verdicts at one point against one pass in exact figures through each requirement and its comparison."""
    ready: list[Ready] = []
    left_out = 0
    for survey in surveys.values():
        slots = survey.slots
        place = slots.named(dict(enumerate(slots.nominal)))
        for item in _ready(Survey(survey.system, survey.rulepacks, at=place)):
            # Where something is missing or irrational, exact figures alone come to no answer.
            if item.decider.extremes.tape.exact(_nominal(item))[-1] is None:
                left_out += 1
            else:
                ready.append(item)
    full = [item.work for item in ready]
    plain = [_plain(item) for item in ready]
    for item, one, other in zip(ready, full, plain, strict=True):
        decision, found = one(), other()
        if (decision.outcome is Outcome.ALWAYS) is not found:
            raise Disagreement(f"{item.name} without tolerances: ours gives {decision.outcome}, the rival {found}")

    def ours() -> object:
        return [work() for work in full]

    def rival() -> object:
        return [work() for work in plain]

    times = in_turn(ours, rival, 40)
    scale = 1e6 / len(ready)
    return Measured("full verdict without tolerances", times.best_ours * scale, times.best_rival * scale, "us", 1.3,
                    "one exact pass through the requirement and its comparison", note=f"mean of {len(ready)} checks;"
                    f" {left_out} that exact figures alone cannot decide are left out; {noise(times)}")  # fmt: skip


def _nominal(item: Ready) -> dict[int, Fraction]:
    return item.slots.nominals(item.numbers)


def _plain(item: Ready) -> Callable[[], bool]:
    """One pass and the comparison; a tie is enough unless all that is compared is strict."""
    exact, place, strict = item.decider.extremes.tape.exact, _nominal(item), item.decider.any_strict

    def work() -> bool:
        value = exact(place)[-1]
        return value is not None and (value[0] > 0 or (value[0] == 0 and not strict))

    return work
