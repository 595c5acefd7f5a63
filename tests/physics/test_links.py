"""Times of polled links, against a clock that walks through every phase of the periods."""

from __future__ import annotations

import itertools
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from limitrules.engine.survey import Survey
from limitrules.foundation.source import Source
from limitrules.language.functions import STANDARD, Function, refute
from limitrules.physics import links
from limitrules.rules.findings import Finding
from limitrules.rules.rulepack import check_drafts, parse_draft
from tests.rules.support import document, rule, system

BY_NAME = {item.name: item for item in links.FUNCTIONS}
EACH = pytest.mark.parametrize("function", links.FUNCTIONS, ids=lambda item: item.name)
RANGES = {
    "publish_period": (0.0, 10.0), "poll_period": (0.0, 10.0), "latency": (0.0, 4.0), "dead_time": (0.0, 4.0),
    "missed": (0.0, 5.0), "period": (0.0, 10.0), "jitter": (0.0, 3.0), "losses": (0.0, 4.0), "reversion": (0.1, 30.0),
}  # fmt: skip
MS = st.integers(0, 12)


def exact(name: str, *values: Fraction | int) -> Fraction:
    found = BY_NAME[name].at(*(Fraction(value) for value in values))
    assert found is not None
    assert found[0] == found[1]
    return Fraction(found[0])


def multiples(period: int, phase: int, until: int) -> range:
    """The moments of something that happens every so often."""
    return range(phase, until, period)


def obeyed(event: int, publications: range, polls: range, latency: int, dead_time: int) -> int:
    """When a device obeys what happened: published after the event, polled after that. A tie goes the worse way."""
    published = next(at for at in publications if at > event)
    polled = next(at for at in polls if at > published)
    return polled + latency + dead_time


@given(st.integers(1, 7), st.integers(1, 7), MS, MS)
def test_no_phase_is_slower_than_the_time_to_obey_and_one_is_as_slow(
    publish: int, poll: int, latency: int, dead_time: int
) -> None:
    slowest = max(
        obeyed(event, multiples(publish, 0, 100), multiples(poll, phase, 100), latency, dead_time) - event
        for event, phase in itertools.product(range(50), range(poll))
    )
    assert slowest == exact("obey_time", publish, poll, latency, dead_time)


@given(st.integers(1, 7), st.integers(1, 7), MS, st.integers(0, 3))
def test_no_phase_makes_a_value_older(publish: int, poll: int, latency: int, losses: int) -> None:
    """The copy a poll fetches was published strictly before it; `losses` polls fail in between."""
    oldest = 0
    for phase, first in itertools.product(range(poll), range(60, 60 + publish)):
        fetched = first + phase
        published = max(at for at in multiples(publish, 0, fetched) if at < fetched)
        oldest = max(oldest, fetched + (losses + 1) * poll + latency - published)
    assert oldest == exact("value_age", publish, poll, latency, losses)


@given(st.integers(1, 6), st.integers(1, 8), st.integers(0, 3))
def test_silence_is_seen_when_the_last_awaited_message_is_overdue(missed: int, period: int, jitter: int) -> None:
    """A watch that counts, millisecond by millisecond, messages that are due and have not come."""
    clock = count = 0
    while count < missed:
        clock += 1
        count += clock > jitter and (clock - jitter) % period == 0
    assert clock == exact("silence_time", missed, period, jitter)


@given(st.integers(1, 6), st.integers(1, 6), st.integers(0, 4), st.integers(1, 20), st.integers(0, 4))
def test_no_moment_of_failure_delays_the_reaction_more(
    publish: int, poll: int, latency: int, reversion: int, dead_time: int
) -> None:
    """The link fails at any moment: messages polled before arrive, the device reverts after the last of them."""
    reversion += poll  # a reversion that does not come between two polls of a link that works
    event, published = 40, 40 + publish
    slowest = 0
    for phase, failure in itertools.product(range(poll), range(40, 90)):
        polls = [at for at in multiples(poll, phase, 200) if at < failure]
        heard = [at for at in polls if at > published]
        reaction = heard[0] if heard else polls[-1] + reversion
        slowest = max(slowest, reaction + latency + dead_time - event)
    assert slowest == exact("reversion_reaction", publish, poll, latency, reversion, dead_time)


@EACH
def test_what_it_promises_is_not_refuted(function: Function) -> None:
    assert refute(function, RANGES, tries=2000) is None


@EACH
@given(st.data())
def test_the_shadow_holds_the_exact_value(function: Function, data: st.DataObject) -> None:
    values = [data.draw(st.floats(max(0.001, item.low), min(1e4, item.high))) for item in function.arguments]
    assert function.exact is not None
    assert function.point is not None
    low, high = function.point(*values)
    true = function.exact(*map(Fraction, values))[0]
    assert low <= true <= high
    assert high - low <= 1e-14 * high


@EACH
def test_what_is_negative_or_never_has_no_value(function: Function) -> None:
    for place in range(len(function.arguments)):
        values = [Fraction(1)] * len(function.arguments)
        values[place] = Fraction(-1)
        assert function.at(*values) is None
    values = [Fraction(0) if item.name == "reversion" else Fraction(1) for item in function.arguments]
    assert (function.at(*values) is None) == (function.name == "reversion_reaction")


def test_worked_examples() -> None:
    # A reversion must outlast two polls of 11 s that are missed, and 4 s of jitter: three periods.
    assert exact("silence_time", 3, 11, 4) == 37
    # Notice 0.8 s, latencies 0.25 s and 0.5 s and 0.2 s, 112 A at 160 A/s: 1.65 s.
    parts = Fraction("0.25"), Fraction("0.5"), Fraction("0.2"), Fraction(112, 160)
    assert exact("obey_time", *parts) == Fraction("1.65")
    # Detect 0.2 s, publish 1 s, controller 1 s, 77 A at 45 A/s.
    slew = Fraction(77, 45)
    assert float(exact("obey_time", 1, 1, Fraction("0.2"), slew)) == pytest.approx(3.911, abs=5e-4)


BODY = """
links:
  wire:
    ends: {packs: north}
    publish_period: 1 s
    poll_period: 2 s ± 10 %
    latency_max: 300 ms
    jitter: 0.2 s
    timeout: {converter_end: 10 s}
packs:
  north: {protection: {charge_current: {delay: 5 s}}}
"""


def found(require: str) -> Finding:
    about = "each link l, each pack p in l.ends.packs"
    text = document("rules:\n") + rule(about, require, "let: {t: p.protection.charge_current.delay}")
    packs = check_drafts([parse_draft(Source("rulepack.yaml", text))], STANDARD.extended(links.FUNCTIONS))
    (finding,) = Survey(system(BODY), packs).result().findings
    return finding


@pytest.mark.parametrize(
    ("require", "verdict", "worst"),
    [
        ("obey_time(l.publish_period, l.poll_period, l.latency_max, 1.5 s) at most 5 s", "met", "0"),
        ("obey_time(l.publish_period, l.poll_period, l.latency_max, 1.5 s) shorter than 5 s", "marginal", "0"),
        ("silence_time(3, l.poll_period, l.jitter) shorter than l.timeout.converter_end", "met", "3.2"),
        ("value_age(l.publish_period, l.poll_period, l.latency_max, 2) shorter than 8 s", "met", "0.1"),
        ("reversion_reaction(l.publish_period, 2 s, l.latency_max, l.timeout.converter_end, 1.5 s) at most t",
         "breached", "-7.8"),
    ],
)  # fmt: skip
def test_a_rule_may_call_it(require: str, verdict: str, worst: str) -> None:
    finding = found(require)
    assert finding.verdict.value == verdict
    assert finding.headroom is not None
    assert finding.headroom.tight
    assert finding.headroom.worst == Fraction(worst)
