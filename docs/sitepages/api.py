"""The page of the Python API, from the public names and what they say of themselves."""

from __future__ import annotations

import enum
import inspect
import re
from collections.abc import Callable, Iterator

WIDTH = 80


def page() -> str:
    """A section for every public name."""
    import limitrules

    sections = [_section(name, getattr(limitrules, name)) for name in sorted(limitrules.__all__, key=str.lower)]
    return "\n".join(sections)


def _section(name: str, value: object) -> str:
    lines = [f"\n## {name}\n"]
    if inspect.isclass(value):
        lines += [f"```python\n{_class_head(name, value)}\n```\n", _prose(value.__doc__), *_members(value)]
    elif callable(value):
        lines += [f"```python\n{name}{_signature(value)}\n```\n", _prose(value.__doc__)]
    else:
        lines += [f"A constant: `{value!r}`."]
    return "\n".join(lines) + "\n"


def _class_head(name: str, value: type) -> str:
    if issubclass(value, enum.Enum):
        return f"class {name}:\n" + "\n".join(f"    {item.name} = {item.value!r}" for item in value)
    if issubclass(value, BaseException):
        return f"class {name}(Exception)"
    return f"class {name}{_signature(value)}"


def _signature(value: Callable[..., object]) -> str:
    signature = inspect.signature(value)
    result = "" if inspect.isclass(value) else f" -> {_type(signature.return_annotation)}"
    parameters = [_type(item) for item in signature.parameters.values()]
    short = f"({', '.join(parameters)}){result}"
    return short if len(short) < WIDTH else "(\n" + "".join(f"    {item},\n" for item in parameters) + f"){result}"


def _type(item: object) -> str:
    """A parameter or annotation as one writes it: types without quotes or modules, defaults without addresses."""
    text = item if isinstance(item, str) else re.sub(r": '([^']*)'", r": \1", str(item))
    text = re.sub(r"\blimitrules(\.\w+)*\.(?=\w)", "", text)
    text = re.sub(r"= <(\w+\.\w+): [^>]*>", r"= \1", text)
    return re.sub(r"= (<.*>|NOTHING)$", "= ...", text)


def _members(value: type) -> Iterator[str]:
    for name, member in vars(value).items():
        documented = getattr(member, "__doc__", None)
        if name.startswith("_") or not documented:
            continue
        if inspect.isfunction(member):
            name += _signature(member).replace("(self, ", "(").replace("(self)", "()")
        elif isinstance(member, classmethod | staticmethod):
            name += _signature(getattr(value, name))
        elif not isinstance(member, property):
            continue
        yield f"`{name}`\n:   {_indented(documented)}\n"


def _prose(text: str | None) -> str:
    return inspect.cleandoc(text or "").replace("``", "`") + "\n"


def _indented(text: str) -> str:
    return _prose(text).strip().replace("\n", "\n    ")
