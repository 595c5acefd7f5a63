"""Imports only go down, siblings never import each other, and nothing goes round in a circle."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from graphlib import CycleError, TopologicalSorter

import pytest

from tests.house.tree import PACKAGE, Module, imports, module_of, modules

FLOORS: tuple[frozenset[str], ...] = (
    frozenset({"foundation"}),
    frozenset({"language", "model"}),
    frozenset({"physics", "reread"}),
    frozenset({"rules", "recheck"}),
    frozenset({"engine", "simulate", "evidence"}),
    frozenset({"solve"}),
    frozenset({"report"}),
    frozenset({"__init__", "__main__", "api", "cli", "commands", "plugins"}),
)
FACE = FLOORS[-1]
LEVEL = {unit: level for level, units in enumerate(FLOORS) for unit in units}

# A report reads findings: of what lies below it, these must stay out of its sight, except that it may print a clause
# and read the plain data that rehearsals and windows tell.
EVALUATORS = frozenset({"language", "physics", "engine", "solve", "simulate", "evidence"})
READABLE = frozenset(
    {
        "limitrules.language.printer", "limitrules.simulate.told", "limitrules.simulate.plant",
        "limitrules.solve.grid", "limitrules.solve.setting", "limitrules.solve.window", "limitrules.solve.proposal",
        "limitrules.engine.proving", "limitrules.engine.comparison",
    }
)  # fmt: skip


def unit_of(module: str) -> str:
    """The part of the house a module belongs to: the name that follows the package's."""
    return module.split(".")[1] if "." in module else "__init__"


def wrong_imports(tree: Mapping[str, Module]) -> Iterator[str]:
    """Every import that goes up, or across to a sibling."""
    known = frozenset(tree)
    for module in tree.values():
        here = unit_of(module.name)
        for target, node in imports(module, known):
            if target.split(".")[0] != PACKAGE:
                continue
            there = unit_of(target)
            if here == there or {here, there} <= FACE:
                continue
            if LEVEL[there] >= LEVEL[here]:
                yield f"{module.where(node)}: {here} imports {there}"
            elif here == "report" and there in EVALUATORS and target not in READABLE:
                yield f"{module.where(node)}: a report reads findings, it has no use for {there}"


def circles(tree: Mapping[str, Module]) -> list[str]:
    """Modules that import each other in a circle, or an empty list."""
    known = frozenset(tree)
    graph = {
        name: {target for target, _ in imports(module, known, for_types=False) if target in known and target != name}
        for name, module in tree.items()
    }
    try:
        TopologicalSorter(graph).prepare()
    except CycleError as error:
        return list(error.args[1])
    return []


def test_every_part_of_the_package_has_a_floor() -> None:
    strangers = {unit_of(name) for name in modules()} - set(LEVEL)
    assert not strangers, f"give these a floor in FLOORS, or move them: {sorted(strangers)}"


def test_imports_only_go_down() -> None:
    assert list(wrong_imports(modules())) == []


def test_nothing_imports_in_a_circle() -> None:
    assert circles(modules()) == []


@pytest.mark.parametrize(
    ("name", "text"),
    [
        ("limitrules.foundation.a", "from limitrules.model import b"),
        ("limitrules.foundation.a", "def later():\n    import limitrules.model.b"),
        ("limitrules.foundation.a", "from limitrules import model"),
        ("limitrules.foundation.a", "from ..model.b import c"),
        ("limitrules.language.a", "from limitrules.model.b import c"),
        ("limitrules.engine", "from limitrules.solve import c"),
        ("limitrules.rules.a", "import limitrules"),
        ("limitrules.report.a", "from limitrules.engine import c"),
        ("limitrules.report.a", "from limitrules.language import c"),
    ],
)
def test_an_import_that_goes_up_or_across_is_seen(name: str, text: str) -> None:
    other = module_of("", "limitrules.model", is_package=True)
    assert len(list(wrong_imports({name: module_of(text, name), other.name: other}))) == 1


@pytest.mark.parametrize(
    ("name", "text"),
    [
        ("limitrules.model.a", "from limitrules.foundation.b import c\nfrom limitrules.model.d import e\nimport os"),
        ("limitrules.report.a", "from limitrules.rules.findings import Finding"),
        ("limitrules.report.a", "from limitrules.language.printer import print_node"),
        ("limitrules.cli", "from limitrules import api\nfrom limitrules.report import text"),
    ],
)
def test_an_import_that_goes_down_is_left_alone(name: str, text: str) -> None:
    assert list(wrong_imports({name: module_of(text, name)})) == []


def test_a_circle_is_seen() -> None:
    a = module_of("from limitrules.model import b", "limitrules.model.a")
    b = module_of("def later():\n    from limitrules.model.a import x", "limitrules.model.b")
    assert set(circles({a.name: a, b.name: b})) == {a.name, b.name}


def test_a_circle_that_only_a_type_checker_sees_is_none() -> None:
    a = module_of("from limitrules.model import b", "limitrules.model.a")
    b = module_of("if TYPE_CHECKING:\n    from limitrules.model.a import x", "limitrules.model.b")
    assert circles({a.name: a, b.name: b}) == []
