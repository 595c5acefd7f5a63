"""The page of the vocabulary: every kind with its attributes."""

from __future__ import annotations

from collections.abc import Iterator

from limitrules.foundation.kinds import Attribute, Component, Components, Kind
from limitrules.model.vocabulary import load_vocabulary
from limitrules.report.reference import adjustable_words, type_words


def page(name: str = "storage") -> str:
    """A section for every kind."""
    vocabulary = load_vocabulary(name)
    lines = [f"This is vocabulary `{vocabulary.name}`, version {vocabulary.version}."]
    for kind in vocabulary.kinds.values():
        lines += _kind(kind)
    return "\n".join(lines)


def _kind(kind: Kind) -> Iterator[str]:
    yield f"\n## {kind.name.capitalize()} {{#{_anchor(kind.name)}}}\n"
    place = f"the key `{kind.plural}`" if kind.plural else "the component it is a part of"
    yield f"{kind.meaning} It stands under {place}.\n"
    yield "| attribute | holds | meaning | adjustable | open standard |"
    yield "| --- | --- | --- | --- | --- |"
    for item in kind.attributes.values():
        steps = adjustable_words(item).replace("adjustable in", "in").replace("adjustable", "yes")
        cells = (f"`{item.path}`", _holds(item), item.meaning, steps, item.open_standard)
        yield "| " + " | ".join(cell.replace("|", "\\|") for cell in cells) + " |"


def _holds(item: Attribute) -> str:
    if isinstance(item.type, Component | Components):
        target = f"[{item.type.kind}](#{_anchor(item.type.kind)})"
        many = "any number" if isinstance(item.type, Components) else "one"
        if item.derived:
            return f"{target}, {many}; follows from their `{item.inverse}`"
        return f"{target}, {'in place' if item.part else many}"
    if item.unit is not None and item.over_unit is not None:
        return f"curve, `{item.unit.symbol}` over `{item.over_unit.symbol}`"
    if item.count or item.unit is None or item.unit.symbol == "1":
        return type_words(item)
    return f"`{item.unit.symbol}`"


def _anchor(name: str) -> str:
    return name.replace(" ", "-")
