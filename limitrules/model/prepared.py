"""Vocabularies read beforehand: the kinds of a shipped vocabulary as data, so that a survey need not read its text.

The data names the text and the fields it was made from; data made from others is not used. A test holds it against
the text.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from fractions import Fraction
from pathlib import Path
from typing import Any

import attrs

from limitrules.foundation.kinds import Attribute, Choice, Component, Components, Curve, Kind, Type
from limitrules.foundation.units import Unit
from limitrules.model.declarations import PLAIN, type_of, unit_of

FORMAT = "kinds/1"
Kinds = Mapping[str, Kind]
Variants = Mapping[str, Mapping[str, Unit]]

_FIELDS = [field.name for kind in (Kind, Attribute) for field in attrs.fields(kind)]
_UNITS = ("unit", "over_unit")


def prepared_file(file: Path) -> Path:
    """Where the data of a vocabulary stands: beside its text."""
    return file.with_suffix(".json")


def prepared(file: Path) -> tuple[str, str, Kinds, Variants] | None:
    """Name, version, kinds and variants of the vocabulary in a file, where they were read beforehand; else None."""
    try:
        data = json.loads(prepared_file(file).read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return None
    if data.get("limitrules") != FORMAT or data.get("made_from") != _mark(file):
        return None
    variants = {name: {form: unit_of(unit) for form, unit in forms.items()} for name, forms in data["variants"].items()}
    return data["name"], data["version"], {name: _kind(name, kind) for name, kind in data["kinds"].items()}, variants


def vocabulary_text(file: Path, name: str, version: str, kinds: Kinds, variants: Variants) -> str:
    """The data of the vocabulary in a file: one line an attribute, so that a change shows as one."""
    head = {
        "limitrules": FORMAT,
        "made_from": _mark(file),
        "name": name,
        "version": version,
        "variants": {word: {form: unit.symbol for form, unit in forms.items()} for word, forms in variants.items()},
    }
    body = ",\n".join(map(_kind_text, kinds.values()))
    return f'{_json(head)[:-1]},"kinds":{{\n{body}\n}}}}\n'


def _mark(file: Path) -> str:
    """Changes with the text of the vocabulary and with the fields of kinds and attributes."""
    return hashlib.sha256(file.read_bytes() + repr(_FIELDS).encode()).hexdigest()[:16]


def _json(data: object) -> str:
    return json.dumps(data, ensure_ascii=False, separators=(",", ":"))


def _kind_text(kind: Kind) -> str:
    head = {"plural": kind.plural, "meaning": kind.meaning, "single": kind.single}
    body = ",\n".join(f"{_json(path)}:{_json(_attribute_data(item))}" for path, item in kind.attributes.items())
    return f'{_json(kind.name)}:{_json(head)[:-1]},"attributes":{{\n{body}\n}}}}'


def _attribute_data(attribute: Attribute) -> dict[str, Any]:
    """What is not as usual of an attribute; its path stands before it."""
    usual = {field.name: field.default for field in attrs.fields(Attribute)}
    found = {name: getattr(attribute, name) for name in usual if name not in ("path", "type")}
    data = {name: _plain(value) for name, value in found.items() if value != usual[name]}
    return {**_type_data(attribute.type), **data}


def _plain(value: Any) -> Any:
    return value.symbol if isinstance(value, Unit) else str(value) if isinstance(value, Fraction) else value


def _type_data(kind: Type) -> dict[str, Any]:
    """What the unit of an attribute does not say of its type."""
    if isinstance(kind, Choice):
        return {"choice": kind.options}
    if isinstance(kind, Component):
        return {"one": kind.kind}
    if isinstance(kind, Components):
        return {"many": kind.kind}
    return next(({word: True} for word, plain in PLAIN.items() if kind == plain), {})


def _kind(name: str, data: Mapping[str, Any]) -> Kind:
    attributes = {path: _attribute(path, item) for path, item in data["attributes"].items()}
    return Kind(name, data["plural"], data["meaning"], attributes, data["single"])


def _attribute(path: str, data: dict[str, Any]) -> Attribute:
    for word in _UNITS:
        if word in data:
            data[word] = unit_of(data[word])
    if "resolution" in data:
        data["resolution"] = Fraction(data["resolution"])
    return Attribute(path, _type(data), **data)


def _type(data: dict[str, Any]) -> Type:
    """The type of an attribute; the words that say it are taken out of its data."""
    if "choice" in data:
        return Choice(tuple(data.pop("choice")))
    if "one" in data:
        return Component(data.pop("one"))
    if "many" in data:
        return Components(data.pop("many"))
    if "over_unit" in data:
        return Curve(type_of(data["over_unit"]), type_of(data["unit"]))
    if "unit" in data:
        return type_of(data["unit"])
    return next(plain for word, plain in PLAIN.items() if data.pop(word, False))
