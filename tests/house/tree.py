"""The source files of the project as the house tests read them."""

from __future__ import annotations

import ast
from collections.abc import Iterator, Mapping
from functools import cache
from pathlib import Path
from types import MappingProxyType

from attrs import frozen

ROOT = Path(__file__).resolve().parents[2]
PACKAGE = "limitrules"


@frozen(eq=False)
class Module:
    """One module of the package: its dotted name, its file and what is written in it."""

    name: str
    path: Path
    text: str
    tree: ast.Module

    @property
    def is_package(self) -> bool:
        return self.path.name == "__init__.py"

    def where(self, node: ast.AST) -> str:
        """A place as an editor understands it."""
        return f"{self.path.relative_to(ROOT)}:{getattr(node, 'lineno', 1)}"


def module_of(text: str, name: str = "limitrules.example", *, is_package: bool = False) -> Module:
    """A module that exists only in a test."""
    parts = name.split(".")
    path = ROOT.joinpath(*parts, "__init__.py") if is_package else ROOT.joinpath(*parts).with_suffix(".py")
    return Module(name, path, text, ast.parse(text))


@cache
def modules() -> Mapping[str, Module]:
    """Every module of the package by dotted name."""
    found = {}
    for path in sorted((ROOT / PACKAGE).rglob("*.py")):
        parts = path.relative_to(ROOT).with_suffix("").parts
        name = ".".join(parts[:-1] if parts[-1] == "__init__" else parts)
        text = path.read_text(encoding="utf-8")
        found[name] = Module(name, path, text, ast.parse(text, str(path)))
    return MappingProxyType(found)


def imports(module: Module, known: frozenset[str], *, for_types: bool = True) -> Iterator[tuple[str, ast.stmt]]:
    """The modules that a module imports, anywhere in its text, each with the statement that does.

    ``known`` are the modules of the package: `from a import b` means the module `a.b` where there is one.
    Without ``for_types`` those are left out that only a type checker sees.
    """
    unseen = set() if for_types else {item for node in ast.walk(module.tree) for item in _only_for_types(node)}
    for node in ast.walk(module.tree):
        if node in unseen:
            continue
        if isinstance(node, ast.Import):
            for alias in node.names:
                yield alias.name, node
        elif isinstance(node, ast.ImportFrom):
            base = _base(module, node)
            for alias in node.names:
                full = f"{base}.{alias.name}"
                yield (full if full in known else base), node


def _only_for_types(node: ast.AST) -> Iterator[ast.AST]:
    if isinstance(node, ast.If) and ast.unparse(node.test) in {"TYPE_CHECKING", "typing.TYPE_CHECKING"}:
        for statement in node.body:
            yield from ast.walk(statement)


def _base(module: Module, node: ast.ImportFrom) -> str:
    if not node.level:
        return node.module or ""
    parts = module.name.split(".")
    kept = parts[: len(parts) - node.level + (1 if module.is_package else 0)]
    return ".".join([*kept, *([node.module] if node.module else [])])
