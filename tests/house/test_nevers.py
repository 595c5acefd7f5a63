"""What the package never does: run text as code, unpickle, reach for the network, print from below the face."""

from __future__ import annotations

import ast
from collections.abc import Iterator

import pytest

from tests.house.tree import Module, imports, module_of, modules

CODE_IN_DATA = frozenset({"pickle", "_pickle", "cPickle", "dill", "cloudpickle", "marshal", "shelve", "dbm", "code"})
NETWORK = frozenset(
    {
        "socket", "ssl", "socketserver", "selectors", "asyncio", "http", "urllib.request", "ftplib", "smtplib",
        "poplib", "imaplib", "telnetlib", "nntplib", "xmlrpc", "webbrowser", "requests", "httpx", "aiohttp",
        "urllib3", "websockets", "paramiko", "grpc",
    }
)  # fmt: skip
RUNS_TEXT = frozenset({"eval", "exec", "compile", "__import__"})
LOADS_OBJECTS = frozenset(
    {"unsafe_load", "unsafe_load_all", "full_load", "full_load_all", "UnsafeLoader", "FullLoader"}
)
MAY_PRINT = frozenset({"limitrules.cli", "limitrules.recheck"})


def offences(module: Module) -> Iterator[str]:
    """Every place of a module that does what is never done."""
    for target, statement in imports(module, frozenset()):
        for banned in CODE_IN_DATA | NETWORK:
            if target == banned or target.startswith(banned + ".") or _names(statement, banned):
                yield f"{module.where(statement)}: imports {banned}"
    for node in ast.walk(module.tree):
        for offence in _offences_of(node, may_print=module.name in MAY_PRINT):
            yield f"{module.where(node)}: {offence}"


def _names(node: ast.stmt, banned: str) -> bool:
    return isinstance(node, ast.ImportFrom) and any(f"{node.module}.{alias.name}" == banned for alias in node.names)


def _offences_of(node: ast.AST, *, may_print: bool) -> Iterator[str]:
    if isinstance(node, ast.Name) and node.id in RUNS_TEXT:
        yield f"uses {node.id}"
    elif isinstance(node, ast.Name) and node.id == "print" and not may_print:
        yield "prints"
    elif isinstance(node, ast.Attribute) and node.attr in LOADS_OBJECTS:
        yield f"uses {node.attr}, which builds whatever object a text names"
    elif isinstance(node, ast.Attribute) and ast.unparse(node) in {"sys.stdout", "sys.stderr"} and not may_print:
        yield f"writes to {ast.unparse(node)}"
    elif isinstance(node, ast.ExceptHandler) and _swallows(node):
        yield "swallows every failure"
    elif isinstance(node, ast.Call) and ast.unparse(node.func) in {"Lark", "lark.Lark", "Lark.open", "lark.Lark.open"}:
        yield from _grammar_offences(node)


def _swallows(node: ast.ExceptHandler) -> bool:
    broad = node.type is None or ast.unparse(node.type) in {"Exception", "BaseException"}
    return broad and all(isinstance(item, ast.Pass | ast.Continue) for item in node.body)


def _grammar_offences(call: ast.Call) -> Iterator[str]:
    options = {item.arg: ast.unparse(item.value) for item in call.keywords}
    if options.get("parser") != "'lalr'":
        yield "reads a grammar without asking for parser='lalr'"
    if options.get("cache", "False") != "False":
        yield "keeps a grammar cache, which is a pickle"


@pytest.mark.parametrize("name", sorted(modules()))
def test_never(name: str) -> None:
    assert list(offences(modules()[name])) == []


@pytest.mark.parametrize(
    "text",
    [
        "import pickle",
        "from marshal import loads",
        "def later():\n    import shelve",
        "import urllib.request",
        "from urllib import request",
        "from http.client import HTTPConnection",
        "import requests as r",
        "eval('1')",
        "run = exec",
        "compile('1', 'x', 'eval')",
        "__import__('os')",
        "print('x')",
        "import sys\nsys.stdout.write('x')",
        "import yaml\nyaml.unsafe_load('x')",
        "import yaml\nyaml.load('x', Loader=yaml.FullLoader)",
        "try:\n    x\nexcept Exception:\n    pass",
        "try:\n    x\nexcept:\n    pass",
        "Lark(grammar)",
        "Lark(grammar, parser='lalr', cache=True)",
    ],
)
def test_an_offence_is_seen(text: str) -> None:
    assert list(offences(module_of(text)))


@pytest.mark.parametrize(
    "text",
    [
        "import re\nre.compile('x')",
        "from urllib.parse import quote",
        "try:\n    x\nexcept Exception as error:\n    raise Fault from error",
        "Lark(grammar, parser='lalr')",
    ],
)
def test_the_innocent_is_left_alone(text: str) -> None:
    assert list(offences(module_of(text))) == []


def test_the_face_may_print() -> None:
    assert list(offences(module_of("import sys\nprint('x', file=sys.stderr)", "limitrules.cli"))) == []
