"""What the tests of events share: nominal courses and their figures, and refusals."""

from __future__ import annotations

from typing import Any

import pytest

from limitrules.foundation.diagnostics import InputError
from limitrules.model.system import System
from limitrules.simulate.course import Course, run
from limitrules.simulate.events import EVENTS, scene_of
from limitrules.simulate.figures import Figures
from limitrules.simulate.outcome import outcome_of
from limitrules.simulate.rehearsal import rehearse
from limitrules.simulate.scene import Options
from limitrules.simulate.sound import refuse_unsound
from limitrules.simulate.told import Outcome, Reach

RULE = "packs.north.protection.charge_current"
UNFIT = "nothing-to-rehearse"


def course_of(system: System, event: str, options: Options | None = None) -> Course:
    """The nominal course."""
    scene = scene_of(EVENTS[event], Figures(system), options or Options())
    refuse_unsound(scene.plant)
    return run(scene.plant, scene.start, scene.changes, scene.lasting)


def outcome(system: System, event: str, options: Options | None = None) -> Outcome:
    return outcome_of(course_of(system, event, options))


def reach(found: Outcome, path: str) -> Reach:
    (one,) = [item for item in found.reaches if item.watch.path == path]
    return one


def refused(system: System, event: str, options: Options | None = None, **more: Any) -> InputError:
    with pytest.raises(InputError) as caught:
        rehearse(system, event, options, **more)
    return caught.value


def codes(error: InputError) -> set[str]:
    return {diagnostic.code for diagnostic in error.diagnostics}
