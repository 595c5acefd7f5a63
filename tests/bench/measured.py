"""What is measured: one line of the table, and what makes it worthless."""

from __future__ import annotations

from attrs import frozen

from tests.bench.clock import Times


class Disagreement(Exception):
    """Ours and the rival do not come to the same answer, so their times cannot be compared."""


@frozen
class Measured:
    """One line of the table. The ratio must be at most ``limit``, or at least that where ``at_least``.

    Without a ``rival`` the figure is absolute and ``limit`` is in its unit; without a ``limit`` it is information.
    """

    what: str
    ours: float
    rival: float | None
    unit: str
    limit: float | None
    rival_name: str
    at_least: bool = False
    note: str = ""

    @property
    def ratio(self) -> float | None:
        if self.rival is None:
            return None
        return self.rival / self.ours if self.at_least else self.ours / self.rival

    @property
    def holds(self) -> bool:
        if self.limit is None:
            return True
        figure = self.ours if self.ratio is None else self.ratio
        return figure >= self.limit if self.at_least else figure <= self.limit


def agree(what: str, ours: object, rival: object) -> None:
    if ours != rival:
        raise Disagreement(f"{what}: ours gives {ours!r}, the rival {rival!r}")


def agree_each(what: str, keys: list[tuple[str, dict[str, str]]], ours: list[object], rival: list[object]) -> None:
    """The answers to many checks, of which only those that differ are worth reading."""
    both = zip(keys, ours, rival, strict=True)
    different = [f"{rule} on {paths}: ours gives {one!r}, the rival {other!r}" for (rule, paths), one, other in both
                 if one is not other]  # fmt: skip
    if different:
        raise Disagreement(f"{what}: " + "; ".join(different))


def noise(times: Times, *, turned: bool = False) -> str:
    """The ratio of the medians, turned over where the rival's time is the one above."""
    return f"ratio of medians {1 / times.median_ratio if turned else times.median_ratio:.2f}"
