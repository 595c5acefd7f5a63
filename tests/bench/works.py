"""The measurements, each against its rival. Every one shows first that both sides come to the same answer."""

from __future__ import annotations

import os
import subprocess
import sys
import tracemalloc
from collections.abc import Callable, Iterator, Mapping
from functools import partial
from statistics import median
from typing import Any

import attrs
import yaml

from limitrules.api import Survey, load_rulepacks
from limitrules.engine.check import Check
from limitrules.foundation.source import Source
from limitrules.language.exactly import point, truth_over
from limitrules.model import quantity
from limitrules.model.system import System, parse_system
from limitrules.model.vocabulary import load_vocabulary
from limitrules.rules.findings import Verdict
from limitrules.rules.rule import Rulepack
from tests.bench import by_hand, expressions
from tests.bench.clock import Times, in_turn
from tests.bench.documents import LAKESIDE, LAKESIDE_FILE, MANY, ROOT, repeated, short_lines
from tests.bench.measured import Disagreement, Measured, agree, agree_each, noise
from tests.bench.rehearsals import rehearsals
from tests.bench.scale import scale
from tests.bench.things import Things
from tests.bench.verdicts import verdicts

Rulepacks = tuple[Rulepack, ...]


# a whole process


def cold_start(packs: Rulepacks, turns: int = 15) -> Iterator[Measured]:
    """A survey as a process of its own against one that does nothing but import the three libraries."""
    environment = {**os.environ, "PYTHONPATH": str(ROOT)}

    def run(*arguments: str) -> str:
        done = subprocess.run(
            [sys.executable, *arguments], cwd=ROOT, env=environment, capture_output=True, text=True, check=False
        )
        if done.returncode not in (0, 1):
            raise Disagreement(f"{' '.join(arguments)} ended with {done.returncode}: {done.stderr}")
        return done.stdout

    name = str(LAKESIDE_FILE.relative_to(ROOT))
    for chosen in ([pack.name for pack in packs], ["governing", "protection"]):
        rules = sum(len(pack.rules) for pack in packs if pack.name in chosen)
        what = f"{' and '.join(chosen) if len(chosen) < len(packs) else 'all'}, {rules} rules"
        options = [f"--rulepack={name}" for name in chosen] if len(chosen) < len(packs) else []
        survey = ["-m", "limitrules", "survey", name, *options]
        if "limit-ladder-ordered" not in run(*survey):
            raise Disagreement("the survey does not show the finding it is known to make")
        times = in_turn(partial(run, *survey), lambda: run("-c", "import lark, yaml, jsonschema"), turns)
        yield Measured(f"cold survey, {what}", times.best_ours * 1e3, times.best_rival * 1e3, "ms", 2.0,
                       "process that imports lark, yaml, jsonschema", note=noise(times))  # fmt: skip


# reading


def reading() -> Iterator[Measured]:
    """Typed values with their places against the plain tree of the C loader; and the memory at the peak."""
    vocabulary = load_vocabulary()
    long_ones = {f"{MANY} lines, example repeated": repeated(MANY), f"{MANY} lines, short": short_lines(MANY)}
    for name, text in {"lakeside": LAKESIDE, **long_ones}.items():

        def ours(name: str = name, text: str = text) -> System:
            quantity._known.clear()
            return parse_system(Source(name, text), vocabulary)

        def rival(text: str = text) -> Any:
            return yaml.load(text, Loader=yaml.CSafeLoader)

        _same_values(name, ours(), rival())
        times = in_turn(ours, rival, 40 if name == "lakeside" else 7)
        yield Measured(f"reading {name}", times.best_ours * 1e3, times.best_rival * 1e3, "ms", 2.0,
                       "yaml.load with CSafeLoader", note=noise(times))  # fmt: skip
    for name, text in long_ones.items():
        size = len(text.encode())
        quantity._known.clear()
        tracemalloc.start()
        try:
            kept = parse_system(Source(name, text), vocabulary)
            _, peak = tracemalloc.get_traced_memory()
        finally:
            tracemalloc.stop()
        assert kept.components
        yield Measured(f"peak memory, {name}", peak / 1e6, size / 1e6, "MB", 15.0, "size of the file")


def _same_values(name: str, system: System, tree: Any) -> None:
    """Every value that stands plainly in the text is the same text in both."""
    compared = 0
    for path, value in system.values():
        if system.stated_at(path) != path:
            continue
        node: Any = tree
        for key in path.split("."):
            node = node.get(key) if isinstance(node, dict) else None
        if isinstance(node, str):
            agree(f"{name}, {path}", value.text.strip("\"'"), " ".join(node.split()))
            compared += 1
    if compared < 100:
        raise Disagreement(f"{name}: only {compared} values could be compared")


# a warm survey


def warm_survey(system: System, packs: Rulepacks) -> Iterator[Measured]:
    """All checks of a dozen rules, evaluated anew, against functions by hand and against general evaluators."""
    whole = Survey(system, packs)
    names = set(by_hand.DOZEN)
    chosen = tuple(attrs.evolve(pack, rules={k: v for k, v in pack.rules.items() if k in names}) for pack in packs)
    dozen = Survey(system, chosen)
    checks = [(check.binder.rule.id, _paths(check)) for check in dozen.checks]
    agree("the dozen rules", {rule for rule, _ in checks}, names)
    number = len(checks)

    times_whole = in_turn(whole.evaluate, dozen.evaluate, 60)
    rules = sum(len(pack.rules) for pack in packs)
    all_of_them = times_whole.best_ours * 1e6 / len(whole.checks)
    note = f"{number} checks; all {len(whole.checks)} checks of {rules} rules take {all_of_them:.2f} us each"

    by_path = by_hand.plan(Things(system), iter(checks))

    def hand() -> list[object]:
        return [function(*given) for function, given in by_path]

    expected: list[object] = [_ANSWERS[check.verdict] for check in dozen.checks]
    agree_each("by hand", checks, expected, hand())
    times = in_turn(dozen.evaluate, hand, 300, loops_rival=5)
    scale = 1e6 / number
    yield Measured("warm survey, per check", times.best_ours * scale, times.best_rival * scale, "us", 4.0,
                   "the same dozen rules by hand with intervals", note=f"{note}; {noise(times)}")  # fmt: skip
    yield from _against_evaluators(system, dozen, checks, expected)


_ANSWERS: Mapping[Verdict | None, bool | None] = {
    Verdict.MET: True, Verdict.BREACHED: False, Verdict.MARGINAL: None, Verdict.UNDETERMINED: None,
}  # fmt: skip


def _paths(check: Check) -> dict[str, str]:
    return {name: record.path for name, record in check.binder.names.components.items()}


def _against_evaluators(
    system: System, dozen: Survey, checks: list[tuple[str, dict[str, str]]], expected: list[object]
) -> Iterator[Measured]:
    """General evaluators of expressions over intervals, and, as another job, over nominal values alone."""
    place = point(dict(enumerate(dozen.slots.nominal)))
    # Where a number is unknown, an evaluator of nominal values can only say that the condition is not seen to hold.
    at_nominal: list[object] = [truth_over(check.require, place) is True for check in dozen.checks]
    scale = 1e6 / len(checks)
    for nominal in (False, True):
        things = Things(system, nominal=nominal)
        texts, known = expressions.conditions(nominal=nominal), expressions.functions(things)
        given = [(rule, expressions.values(rule, texts[rule], things, paths)) for rule, paths in checks]
        for name, make in expressions.EVALUATORS.items():
            plan = make(texts, given, known)

            def rival(plan: list[Callable[[], object]] = plan) -> list[object]:
                return [run() for run in plan]

            agree_each(name, checks, at_nominal if nominal else expected, rival())
            times = in_turn(dozen.evaluate, rival, 300)
            job = "nominal values only: less than the check asks" if nominal else "the same check over intervals"
            yield Measured(f"warm survey, per check, {name}{', nominal' if nominal else ''}", times.best_ours * scale,
                           times.best_rival * scale, "us", None if nominal else 5.0, f"{name}, {job}",
                           at_least=True, note=noise(times, turned=True))  # fmt: skip


# one value changed

CHANGED: Mapping[str, str] = {
    "packs.south.charge.ceiling": "{} A ± 1.5 %",
    "packs.north.spread.near_full": "0.0{} V ± 4 mV",
    "packs.west.resistance.pulse": "12.{} mohm ± 5 %",
    "packs.north.protection.charge_current.threshold": "118.{} A ± 3 %",
    "converters.main.charge.ceiling": "9{} A ± 2 %",
    "converters.main.discharge.ceiling": "20{} A ± 3 %",
    "converters.main.voltage.cutoff": "72.{} V",
    "regulators.shore.voltage.target": "85.{} V",
    "fuses.north-fuse.conventional.nonfusing": "20{} A",
}
"""Values that rules read, with the text each is changed to; the gap takes a number that was not there before."""


def one_change(system: System, packs: Rulepacks, turns: int = 40) -> Iterator[Measured]:
    """A new value and the verdicts that follow from it, against evaluating everything anew."""
    ratios: dict[str, Times] = {}
    for path, form in CHANGED.items():
        survey = Survey(system, packs)
        texts = iter(_texts(form, turns))

        def change(survey: Survey = survey, path: str = path, texts: Iterator[str] = texts) -> object:
            return [check.verdict for check in survey.change(path, next(texts))]

        change()
        last = next(texts)
        survey.change(path, last)
        agree(path, survey.verdicts, Survey(system.with_value(path, last), packs).verdicts)
        quantity._known.clear()
        ratios[path] = in_turn(change, survey.evaluate, turns)
    middle = sorted(ratios.values(), key=lambda item: item.ratio)[len(ratios) // 2]
    note = ", ".join(f"{path} {times.ratio:.3f}" for path, times in ratios.items())
    whole = median(times.best_rival for times in ratios.values())
    yield Measured("one value changed", middle.ratio * whole * 1e6, whole * 1e6, "us", 0.1,
                   "a full warm survey", note=f"median of {len(ratios)} values: {note}")  # fmt: skip


def _texts(form: str, turns: int) -> list[str]:
    whole, _, _ = form.partition("{}")
    start = 50 if whole.endswith("0.0") else 90 if not whole else 1
    fraction = "." in whole
    return [form.format(start * 1000 + step if fraction else f"{start}.{step:03}") for step in range(turns + 3)]


def everything() -> Iterator[Measured]:
    """All measurements, in order."""
    packs = load_rulepacks()
    system = parse_system(Source(str(LAKESIDE_FILE.relative_to(ROOT)), LAKESIDE), packs[0].vocabulary)
    yield from cold_start(packs)
    yield from reading()
    yield from warm_survey(system, packs)
    yield from one_change(system, packs)
    yield from verdicts(packs)
    yield from rehearsals()
    yield from scale()
