"""The components of a system as plain objects, tied to each other as the dozen rules need them."""

from __future__ import annotations

from math import inf
from typing import Any

from limitrules.model.quantity import Uncertain
from limitrules.model.system import System
from limitrules.model.values import Table, Unknown


class Thing:
    """A component with its values as plain attributes: pairs of floats, flags, words and ties."""

    cell: Any
    cells: float
    chargers: list[Thing]
    own_fuses: list[Thing]
    unmanaged: list[Thing]
    fed: list[Thing]
    shares: float

    def __init__(self, path: str) -> None:
        self.path = path

    def __getattr__(self, name: str) -> Any:
        """What the document does not state is None. Only that comes here; the rest is found at once."""
        return None


class Things:
    """All components of a system, tied to each other as the rules need them. ``nominal`` drops the tolerances."""

    def __init__(self, system: System, *, nominal: bool = False) -> None:
        self.nominal = nominal
        self.by_path: dict[str, Thing] = {}
        for records in system.components.values():
            for path, record in records.items():
                thing = self.by_path[path] = Thing(path)
                for full, value in record.everything():
                    name = full[len(path) + 1 :].replace(".", "_")
                    setattr(thing, name, self._content(value.content))
                    if isinstance(value.content, bool):
                        setattr(thing, f"{name}_was_seen", value.origin in ("measured", "derived"))
        self._tie()

    def _content(self, content: object) -> object:
        if isinstance(content, Unknown):
            return (-inf, inf)
        if isinstance(content, Uncertain):
            middle = float(content.nominal)
            return (middle, middle) if self.nominal else (float(content.low), float(content.high))
        if isinstance(content, Table):
            ends = [content.bounds(index) for index in range(len(content.xs))]
            if self.nominal:
                ends = [(middle, middle) for middle in content.ys]
            return tuple((float(x), float(low), float(high)) for x, (low, high) in zip(content.xs, ends, strict=True))
        return content

    def all(self, plural: str) -> list[Thing]:
        return [thing for path, thing in self.by_path.items() if path.startswith(plural + ".") and path.count(".") == 1]

    def _tie(self) -> None:
        packs = self.all("packs")
        for pack in packs:
            pack.cell = self.by_path[f"cells.{pack.cell[0]}"]
            pack.cells = pack.cells_series[0]
            pack.chargers = []
            pack.unmanaged = []
            pack.own_fuses = []
        for plural in ("converters", "regulators", "sources"):
            for charger in self.all(plural):
                charger.fed = [self.by_path[f"packs.{name}"] for name in charger.feeds or ()]
                charger.shares = float(len(charger.fed))
                for pack in charger.fed:
                    if charger.charge_ceiling is not None:
                        pack.chargers.append(charger)
                        if not (charger.obeys_dynamic_limit and charger.obeys_dynamic_limit_was_seen):
                            pack.unmanaged.append(charger)
        for fuse in self.all("fuses"):
            if fuse.packs and len(fuse.packs) == 1:
                self.by_path[f"packs.{fuse.packs[0]}"].own_fuses.append(fuse)
