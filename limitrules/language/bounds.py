"""How low and how high a term gets over a box of tolerances, and where.

The scheme: enclose by intervals; one reverse sweep finds the inputs whose influence has a constant sign and sets them
to the end that matters. Where that leaves something open, lowest members are lifted out and searched one by one;
slopes, enclosed, settle more inputs; what is of degree one in each of the rest is decided at the corners; the box is
cut where tables, sizes and conditions have kinks or jumps in one input; and what still remains is halved, most
promising half first, within a budget. The place found is evaluated in exact rationals. Sources: Moore, Kearfott and
Cloud, Introduction to Interval Analysis (2009), chapters 5 to 7.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Mapping
from fractions import Fraction

from limitrules.foundation.exact import float_above
from limitrules.language import ground as g
from limitrules.language.exactly import Bound, Box, Range
from limitrules.language.halving import EXACTLY, HOPELESS, SLOPES, Effort, by_halving
from limitrules.language.infimum import Infimum, infimum_at, is_close
from limitrules.language.pairs import Floats, Pair, negated, pair_of
from limitrules.language.pieces import Piece, pieces
from limitrules.language.rebuild import replaced
from limitrules.language.simpler import simpler
from limitrules.language.slopes import MIXED, is_multilinear, pulls, signs, slopes
from limitrules.language.tape import Tape

BUDGET = 16_000
"""What a search may take before the enclosure found by then is given as it is: so many terms evaluated once."""
SHOWN_BUDGET = 1_500
"""The same where the verdict is certain already and only a figure is to be shown."""
_MEMBER, _WORTH = 8, 1_000
"""Part of the effort that one member of a `highest of` is worth."""
_REBUILT = 20
_KINKS = 10
_LENT = 4_000
"""How far pieces may go beyond the effort together."""
"""How many terms could be evaluated while one is rebuilt and made ready, or its kinks are found."""
_CORNERS = 6
_LIFTS = 3
_CUTS = 3
_NEAR = 2**40
_INF = math.inf
_step = math.nextafter


def infimum(term: g.Numeric, box: Box, budget: int = BUDGET) -> Infimum:
    """Lower bound of a numeric term over a box, with the point where it is reached."""
    return Extremes(term).lowest(box, budget)


def supremum(term: g.Numeric, box: Box, budget: int = BUDGET) -> Infimum:
    """Upper bound of a numeric term over a box, with the point where it is reached."""
    return Extremes(term).highest(box, budget)


class Extremes:
    """A numeric term, prepared once to be bounded over many boxes."""

    def __init__(self, term: g.Numeric) -> None:
        self.term = term
        self._tape: Tape | None = None
        self._simpler: Extremes | None = None
        self._lifted: dict[int, list[Extremes]] = {}
        self._without: dict[int, tuple[int, Tape]] = {}

    def lowest(self, box: Box, budget: int = BUDGET, floats: Floats | None = None) -> Infimum:
        """The lower bound, with the point where it is reached. ``floats`` is the box in floats where that is known."""
        return self._extreme(box, 1, Effort(budget), floats)

    def highest(self, box: Box, budget: int = BUDGET, floats: Floats | None = None, enough: float = _INF) -> Infimum:
        """The upper bound, with the point where it is reached. Halving ends where it has come beyond ``enough``."""
        return self._extreme(box, -1, Effort(budget, -enough), floats)

    def _extreme(self, box: Box, sign: int, effort: Effort, floats: Floats | None, depth: int = 0,
                 cutoff: float = _INF) -> Infimum:  # fmt: skip
        search = _Search(self.tape, box, sign, effort, floats)
        found = search.at_ends()
        if found is None and self.simpler is not self:
            part = self.simpler._extreme(box, sign, effort, floats, depth, cutoff)
            return part._replace(place={index: part.place.get(index, box[index][0]) for index in self.tape.indices})
        if found is None and not depth and search.is_hopeless():
            effort.left = min(effort.left, HOPELESS)
        if found is None and depth < _LIFTS and effort.left > 0:
            members = self._members(search, box, sign)
            if members:
                return self._joined(self._each(members, box, sign, effort, search.floats, depth, cutoff), box, sign)
        found = found or search.by_slopes()
        if found is None and depth < _LIFTS + _CUTS and effort.left > 0:
            effort.left -= _KINKS * len(self.tape.terms)
            cut = pieces(self.term, search.fixed)
            if cut and effort.left > 0:
                return self._over_pieces(self._on_each(cut, sign, effort, max(depth, _LIFTS), cutoff), sign)
        if found is None and depth < _LIFTS + _CUTS and effort.left > _WORTH:
            found = self._by_highest(search, box, sign, effort, depth)
        if found is None and depth and effort.left <= 0:
            return self._enclosed(search.fixed, sign)
        found = found or by_halving(self.tape, search.fixed, sign, effort, cutoff)
        return found if sign > 0 else found._replace(value=-found.value, reached=-found.reached)

    def _each(self, members: list[Extremes], box: Box, sign: int, effort: Effort, floats: Floats, depth: int,
              cutoff: float) -> list[Infimum]:  # fmt: skip
        """Search members, the most promising first; what cannot come below one found already is left out."""
        rims = [item.tape.forward(floats)[-1] for item in members]
        lower = [low if sign > 0 else -high for low, high in rims]
        found: list[Infimum] = []
        for number in sorted(range(len(members)), key=lower.__getitem__):
            if lower[number] > cutoff:
                break
            if effort.left <= 0:
                found.append(members[number]._enclosed(box, sign))
                break
            part = members[number]._extreme(box, sign, effort, floats, depth + 1, cutoff)
            found.append(part)
            cutoff = min(cutoff, _above(part.reached * sign))
        return found

    def _enclosed(self, box: Box, sign: int) -> Infimum:
        """What intervals alone say of the term, where there is no room for a search."""
        low, high = self.tape.forward(_shadows(box))[-1]
        bound = low if sign > 0 else high
        place = {index: pair[0] for index, pair in box.items()}
        return Infimum(bound if math.isinf(bound) else Fraction(bound), _INF * sign, place, False)

    def _by_highest(self, search: _Search, box: Box, sign: int, effort: Effort, depth: int) -> Infimum | None:
        """The infimum where one member of a `highest of` alone keeps the term from falling further.

        A term that rises with the highest of several is never below what it is with one of them. Where such a bound
        is also reached, it is exact; it is seldom asked for, and shows ties that halving only comes near to.
        """
        lifted = search.liftable(highest=True)
        if lifted is None or not self._goes_with(lifted, search, -sign if self._is_least(lifted) else sign):
            return None
        best: Infimum | None = None
        for member in self._lifted_at(lifted):
            part = effort.part(_MEMBER)
            found = member._extreme(box, sign, part, None, max(depth, _LIFTS) + 1)
            if best is None or found.value * sign > best.value * sign:
                best = found
        if best is None:
            return None
        place = {index: best.place.get(index, box[index][0]) for index in self.tape.indices}
        found = infimum_at(self.tape, place, sign)
        return found if found.value == best.value * sign else None

    def _is_least(self, place: int) -> bool:
        return isinstance(self.tape.terms[place], g.Least)

    def _goes_with(self, place: int, search: _Search, direction: int) -> bool:
        """True where the term rises (falls: -1) with a part of it for all that any of that part's members may be."""
        if place == len(self.tape.terms) - 1:
            return direction == 1
        if place not in self._without:
            new = max(self.tape.indices, default=0) + 1
            self._without[place] = new, Tape(replaced(self.term, self.tape.terms[place], g.Input(new)))
        new, tape = self._without[place]
        part = self.tape.terms[place]
        values = self.tape.forward(search.floats)
        members = [values[self.tape.place[id(item)]] for item in part.operands()]
        if isinstance(part, g.Absolute):
            members.append(negated(members[0]))
        hull = min(low for low, _ in members), max(high for _, high in members)
        floats = {**{index: search.floats[index] for index in self.tape.indices}, new: hull}
        return signs(tape, pulls(tape, tape.forward(floats)))[new] == direction

    def _members(self, search: _Search, box: Box, sign: int) -> list[Extremes]:
        """The term with one member after another of a `lowest of` in its place; none where there is nothing to lift.

        A term that rises with the lowest of several is the lowest of what it is with each of them, so that each can
        be searched by itself. Likewise for a highest that it falls with, and for a size, the higher of a number and
        its opposite.
        """
        place = search.liftable()
        if place is None or not self._goes_with(place, search, sign if self._is_least(place) else -sign):
            return []
        return self._lifted_at(place)

    def _lifted_at(self, place: int) -> list[Extremes]:
        if place not in self._lifted:
            old = self.tape.terms[place]
            assert isinstance(old, g.Gathered | g.Absolute)
            new = [old.value, g.Negate(old.value)] if isinstance(old, g.Absolute) else old.operands()
            self._lifted[place] = [Extremes(replaced(self.term, old, item)) for item in new]
        return self._lifted[place]

    def _on_each(self, cut: list[Piece], sign: int, effort: Effort, depth: int, cutoff: float) -> list[Infimum]:
        """Search the pieces, the most promising first; what cannot come below one found already is left out."""
        rims = [self._enclosed(piece.box, sign) for piece in cut]
        effort.left -= len(cut) * len(self.tape.terms)
        found: list[Infimum] = []
        for number in sorted(range(len(cut)), key=lambda number: rims[number].value * sign):
            if found and (rims[number].value * sign > cutoff or effort.left <= -_LENT):
                found.append(rims[number])
                break
            # A hard piece must not keep the others from being looked at.
            share = Effort(max(effort.left // 2, _LENT // 4), effort.enough)
            effort.left -= share.left
            part = self._on_piece(cut[number], sign, share, depth, cutoff)
            effort.left += max(share.left, 0)
            found.append(part)
            cutoff = min(cutoff, _above(part.reached * sign))
        return found

    def _on_piece(self, piece: Piece, sign: int, effort: Effort, depth: int, cutoff: float) -> Infimum:
        effort.left -= _REBUILT * len(self.tape.terms)
        part = Extremes(piece.term)
        found = part._extreme(piece.box, sign, effort, None, depth + 1, cutoff)
        place = {index: found.place.get(index, piece.box[index][0]) for index in self.tape.indices}
        if place[piece.cut] not in piece.without:
            return found._replace(place=place)
        # The end of an open piece belongs to another one; what the term nears there it may take nowhere.
        low, high = piece.box[piece.cut]
        is_low = place[piece.cut] == low
        place[piece.cut] += (high - low) / _NEAR * (1 if is_low else -1)
        least, most = self.tape.enclosure(place)
        reached = most if sign > 0 else least
        is_open = found.is_exact and found.value == found.reached != reached
        if is_open:
            # Only where the term leaves the end for good, the same value does not come again.
            steep = slopes(part.tape, part.tape.forward(_shadows(piece.box))).get(piece.cut, (0.0, 0.0))
            is_open = steep[0] > 0.0 if is_low == (sign > 0) else steep[1] < 0.0
        return Infimum(found.value, reached, place, found.tight, is_open, least == most)

    def _over_pieces(self, parts: list[Infimum], sign: int) -> Infimum:
        value = min(part.value * sign for part in parts) * sign
        lowest = [part for part in parts if part.value == value]
        best = next((part for part in lowest if part.reached == value), None)
        if best is not None:
            return best
        reaching = min(parts, key=lambda item: item.reached * sign)
        is_open = all(part.is_open for part in lowest)
        is_near = is_open or is_close(min(value, reaching.reached), max(value, reaching.reached))
        return reaching._replace(value=value, tight=is_near and any(part.tight for part in lowest), is_open=is_open)

    @property
    def simpler(self) -> Extremes:
        """The same for the term made simpler; itself where that is no other one."""
        if self._simpler is None:
            term = simpler(self.term)
            self._simpler = Extremes(term) if term is not self.term else self
            self._simpler._simpler = self._simpler
        return self._simpler

    @property
    def tape(self) -> Tape:
        if self._tape is None:
            self._tape = Tape(self.term)
        return self._tape

    def _joined(self, found: list[Infimum], box: Box, sign: int) -> Infimum:
        """What bounds the members bounds the whole; it is reached where one of them gets furthest."""
        bound = min(found, key=lambda item: item.value * sign)
        reaching = min(found, key=lambda item: item.reached * sign)
        place = {index: reaching.place.get(index, box[index][0]) for index in self.tape.indices}
        reached, is_exact = reaching.reached, reaching.is_exact
        if bound.value != reached:
            # Where members are only enclosed, another one may lie further out at this place.
            low, high = self.tape.enclosure(place)
            reached, is_exact = (high if sign > 0 else low), low == high
        lowest = [item for item in found if item.value == bound.value]
        is_open = bound.value != reached and all(item.is_open for item in lowest)
        is_near = is_open or is_close(min(bound.value, reached), max(bound.value, reached))
        return Infimum(bound.value, reached, place, is_near and any(item.tight for item in lowest), is_open, is_exact)


class _Search:
    """One minimisation of the term times ``sign``."""

    def __init__(self, tape: Tape, box: Box, sign: int, effort: Effort, floats: Floats | None) -> None:
        self.term = tape.term
        self.tape = tape
        self.sign = sign
        self.effort = effort
        self.box = {index: box[index] for index in tape.indices}
        self.free = [index for index, (low, high) in self.box.items() if low is not high and low != high]
        self.floats = floats if floats is not None else _shadows(self.box)
        self.fixed = self.box
        self.pull: list[int] = []

    def at_ends(self) -> Infimum | None:
        """The infimum where every input moves the term one way; None where one pulls both ways."""
        place = {index: pair[0] for index, pair in self.box.items()}
        if self.free:
            self.effort.left -= SLOPES * len(self.tape.terms)
            self.pull = pulls(self.tape, self.tape.forward(self.floats))
            found = signs(self.tape, self.pull)
            for index in self.free:
                sign = found[index]
                if sign == MIXED:
                    return None
                if sign * self.sign < 0:
                    place[index] = self.box[index][1]
        return self._at(place)

    def is_hopeless(self) -> bool:
        """True where there is no bound even at a point: a search can only find a low place."""
        middle = {index: pair_of(*[(low + high) / 2] * 2) for index, (low, high) in self.box.items()}
        low, high = self.tape.forward(middle)[-1]
        return low == -_INF if self.sign > 0 else high == _INF

    def liftable(self, highest: bool = False) -> int | None:
        """The place of a lowest, a highest or a size that moves the term one way; the one nearest to the whole.

        Of those whose lowest member decides, or, if so asked, of those whose highest does.
        """
        for place in range(len(self.pull) - 1, -1, -1):
            own, term = self.pull[place] * self.sign, self.tape.terms[place]
            upward = -own if highest else own
            if isinstance(term, g.Least) and upward == 1 and _is_open(term):
                return place
            if isinstance(term, g.Greatest) and upward == -1 and _is_open(term):
                return place
            if isinstance(term, g.Absolute) and upward == -1:
                return place
        return None

    def by_slopes(self) -> Infimum | None:
        """The infimum by the slopes of the inputs and by corners; None where these leave it open."""
        values = self._fix()
        fixed = self.fixed
        open_inputs = [index for index in self.free if fixed[index][0] != fixed[index][1]]
        if not open_inputs:
            return self._at({index: low for index, (low, _) in fixed.items()})
        if len(open_inputs) <= _CORNERS and is_multilinear(self.tape, values, open_inputs):
            return self._lowest_of([self._at(corner) for corner in _corners(fixed, open_inputs)])
        return None

    def _lowest_of(self, corners: list[Infimum]) -> Infimum:
        """The corner that reaches lowest; what is missing may make the bound lower at another one."""
        best = min(corners, key=lambda item: item.reached)
        value = min(item.value for item in corners)
        return best if value == best.value else best._replace(value=value, tight=is_close(value, best.reached))

    def _at(self, place: dict[int, Fraction]) -> Infimum:
        self.effort.left -= EXACTLY * len(self.tape.terms)
        return infimum_at(self.tape, place, self.sign)

    def _fix(self) -> list[Pair]:
        """Set every input whose influence has one sign to the end where the term is lowest; give what encloses then."""
        fixed, floats = dict(self.box), {index: self.floats[index] for index in self.box}
        while True:
            self.effort.left -= 2 * SLOPES * len(self.tape.terms)
            values = self.tape.forward(floats)
            found = slopes(self.tape, values)
            moved = False
            for index in self.free:
                low, high = fixed[index]
                if low is high:
                    continue
                least, most = found[index]
                if least >= 0.0 or most <= 0.0:
                    end = low if (least >= 0.0) == (self.sign > 0) else high
                    fixed[index], floats[index], moved = (end, end), pair_of(end, end), True
            if not moved:
                self.fixed = fixed
                return values


def _above(value: Bound) -> float:
    return value if isinstance(value, float) else float_above(value)


def _is_open(term: g.Gathered) -> bool:
    return len(term.parts) > 1 and all(part.guard is None for part in term.parts)


def _shadows(box: Mapping[int, Range]) -> dict[int, Pair]:
    return {index: pair_of(low, high) for index, (low, high) in box.items()}


def _corners(box: dict[int, Range], indices: list[int]) -> list[dict[int, Fraction]]:
    found = []
    for ends in itertools.product((0, 1), repeat=len(indices)):
        place = {index: low for index, (low, _) in box.items()}
        place.update((index, box[index][end]) for index, end in zip(indices, ends, strict=True))
        found.append(place)
    return found
