"""Where in a rulepack document a clause stands."""

from __future__ import annotations

from collections.abc import Callable

from limitrules.foundation import tree
from limitrules.foundation.source import Source, Span


class Passage:
    """The text of a scalar from a character on; called with positions in it, it gives their place in the file."""

    __slots__ = ("_place", "scalar", "shift", "source")

    def __init__(self, source: Source, scalar: tree.Scalar, shift: int = 0) -> None:
        self.source = source
        self.scalar = scalar
        self.shift = shift
        self._place: Callable[[int, int], Span] | None = None

    def __call__(self, start: int, end: int) -> Span:
        if self._place is None:
            self._place = tree.place_in(self.source, self.scalar)
        return self._place(start + self.shift, end + self.shift)

    def after(self, characters: int) -> Passage:
        """The same text without its first characters."""
        return Passage(self.source, self.scalar, self.shift + characters)
