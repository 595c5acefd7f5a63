"""Settings that are on or off: which of them should be the other way."""

from __future__ import annotations

import time
from collections.abc import Collection

from attrs import frozen

from limitrules.engine.cases import subject_of
from limitrules.engine.survey import Survey
from limitrules.foundation.diagnostics import InputError
from limitrules.foundation.kinds import Truth
from limitrules.model.system import System
from limitrules.solve.desk import Desk


@frozen(eq=False)
class Switch:
    """A setting that is on or off, or a word, and takes another value; ``cures`` as in an entry."""

    path: str
    now: str
    proposed: str
    cures: tuple[str, ...]


def switched(
    survey: Survey, paths: Collection[str] | None, fixed: Collection[str], until: float
) -> tuple[Survey, tuple[Switch, ...]]:
    """Turn what is on or off the other way where fewer checks fail then. A protection is never turned off.

    No further one is tried after the moment ``until`` (of ``time.monotonic``).
    """
    switches: list[Switch] = []
    desk = Desk(survey, ())
    for path in _switches_read(desk):
        if time.monotonic() > until:
            break
        if path in fixed or (paths is not None and path not in paths) or ".protection." in path:
            continue
        now = survey.system.value(path)
        if now is None or not isinstance(now.content, bool):
            continue
        other = "no" if now.content else "yes"
        changed = Survey(survey.system.with_value(path, other), survey.rulepacks, survey.concessions)
        turned = Desk(changed, ())
        if turned.cost() < desk.cost():
            cures = tuple(dict.fromkeys(rule for rule, _ in sorted(_failed(desk) - _failed(turned))))
            switches.append(Switch(path, "yes" if now.content else "no", other, cures))
            survey, desk = changed, turned
    return survey, tuple(switches)


def _failed(desk: Desk) -> set[tuple[str, str]]:
    return {(check.binder.rule.id, subject_of(check)) for check in desk.failing()}


def _switches_read(desk: Desk) -> list[str]:
    """The switches that a failing check reads."""
    found: dict[str, None] = {}
    for check in desk.failing():
        for path in check.binder.reads:
            if "." in path and _is_switch(desk.survey.system, path):
                found[path] = None
    return list(found)


def _is_switch(system: System, path: str) -> bool:
    try:
        attribute = system.attribute(path)
    except InputError:
        return False
    return attribute.adjustable and isinstance(attribute.type, Truth)
