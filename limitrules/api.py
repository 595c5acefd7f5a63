"""What other programs call: read a system, load rulepacks, survey, change a value and survey again."""

from __future__ import annotations

from collections.abc import Callable, Collection, Sequence
from os import PathLike
from pathlib import Path
from typing import TYPE_CHECKING, Any

from limitrules.engine.survey import Survey
from limitrules.foundation.diagnostics import InputError
from limitrules.language.functions import Registry
from limitrules.model.system import System
from limitrules.model.system import read_system as _read
from limitrules.physics import FUNCTIONS
from limitrules.rules import discovery
from limitrules.rules.concessions import Concessions, concessions_beside, read_concessions
from limitrules.rules.findings import SurveyResult
from limitrules.rules.rule import Rulepack
from limitrules.rules.rulepack import check_drafts, read_draft, retired_by

if TYPE_CHECKING:
    from limitrules.engine.comparison import Comparison
    from limitrules.simulate.scene import Options
    from limitrules.simulate.told import Rehearsal
    from limitrules.solve.proposal import Proposal
    from limitrules.solve.window import Window

Names = Sequence[str | Path]


def load_rulepacks(names: Names = (), functions: Registry = FUNCTIONS) -> tuple[Rulepack, ...]:
    """The rulepacks of these names or folders, checked together; the bundled ones where none is named.

    A rulepack whose parameters a named one sets, or whose rules it retires, is loaded too. Raises InputError with every
    mistake found.
    """
    drafts = [read_draft(item.folder, item.shown) for item in discovery.find(names)]
    needed = {item.rulepack for draft in drafts for item in draft.overrides}
    needed |= {item.rulepack for draft in drafts for item in retired_by(draft)}
    needed -= {draft.name for draft in drafts}
    for item in [*discovery.installed(), *discovery.bundled()] if needed else []:
        if item.name in needed:
            needed.discard(item.name)
            drafts.insert(0, read_draft(item.folder, item.shown))
    return check_drafts(drafts, functions)


def known_rulepacks() -> tuple[str, ...]:
    """The names of all rulepacks that can be used by name: bundled and installed ones."""
    return tuple(dict.fromkeys(item.name for item in [*discovery.bundled(), *discovery.installed()]))


def load_functions(names: Sequence[str]) -> Registry:
    """The standard functions, with those of the named plugins. Their code runs here, and only where it is named."""
    return discovery.load_functions(names) if names else FUNCTIONS


def read_system(path: str | PathLike[str], rulepacks: Sequence[Rulepack] = ()) -> System:
    """The system that a document describes; ``rulepacks`` may add to the vocabulary it is read with.

    Raises InputError with everything that is wrong with it.
    """
    return _read(path, rulepacks[0].vocabulary if rulepacks else None)


def survey(
    system: System | str | PathLike[str],
    rulepacks: Sequence[Rulepack | str | Path] | None = None,
    concessions: Concessions | str | PathLike[str] | None = None,
) -> SurveyResult:
    """Evaluate rulepacks (loaded, or by name or folder; default: the bundled ones) over a system or its document.

    Concessions are read from the file beside the document where none are given. Figures in the result are exact
    and in SI. Raises InputError where an input cannot be used.
    """
    return open_survey(system, rulepacks, concessions).result()


def open_survey(
    system: System | str | PathLike[str],
    rulepacks: Sequence[Rulepack | str | Path] | None = None,
    concessions: Concessions | str | PathLike[str] | None = None,
) -> Survey:
    """The same survey, open: to change values in it, or to certify what it found."""
    packs = _loaded(rulepacks or ())
    if not isinstance(system, System):
        system = read_system(system, packs)
    return Survey(system, packs, _concessions(system, concessions))


def certificates(survey: Survey) -> dict[str, Any]:
    """What `python -m limitrules.recheck` needs to prove the findings of a survey anew; ready for JSON."""
    from limitrules.engine.certify import certificate_file

    return certificate_file(survey)


def rehearse(
    system: System | str | PathLike[str],
    event: str,
    options: Options | None = None,
    *,
    assume: bool = False,
    progress: Callable[[int, int], None] | None = None,
) -> Rehearsal:
    """What happens to a system in the seconds after an event, such as ``load-rejection``; figures are floats in SI.

    Missing figures are assumed only where ``assume`` says so. Raises InputError where there is no such event, where
    the system has nothing it could happen to, and where figures are missing.
    """
    from limitrules.simulate.rehearsal import rehearse as run

    if not isinstance(system, System):
        system = read_system(system)
    return run(system, event, options, assume=assume, progress=progress)


def settings(system: System) -> tuple[str, ...]:
    """The paths of all settings with a number that a document states."""
    from limitrules.solve.grid import settings_of

    return settings_of(system)


def window(survey: Survey, path: str) -> Window:
    """All values of one setting for which every rule of an open survey holds, the rest of the system as it is.

    Figures are exact and in SI. Raises InputError where the path names no setting with a number.
    """
    from limitrules.solve.window import window_of

    return window_of(survey, path)


def propose(
    survey: Survey,
    paths: Collection[str] | None = None,
    keep: Collection[str] = (),
    *,
    more_power: bool = False,
    seconds: float = 60.0,
    progress: Callable[[str], None] | None = None,
) -> Proposal:
    """Values for several settings together, so that fewer rules fail; every finding is surveyed with them.

    ``paths``: the settings that may change, all where there are none; ``keep`` stay as they are. After ``seconds`` what
    was found by then is given. Raises InputError where a path names nothing.
    """
    from limitrules.solve.proposal import propose as search

    return search(survey, paths, keep, more_power, seconds, progress)


def compare(old: Survey, new: Survey) -> Comparison:
    """What differs between two open surveys under the same rulepacks, and which tests are due again."""
    from limitrules.engine.comparison import compare as run

    return run(old, new)


def applied(system: System, proposal: Proposal) -> str:
    """The text of the document with the proposed values; comments and layout stay."""
    from limitrules.solve.apply import written

    values = [(switch.path, switch.proposed) for switch in proposal.switches]
    return written(system, [*values, *((entry.grid.path, entry.text) for entry in proposal.entries)])


def _loaded(rulepacks: Sequence[Rulepack | str | Path]) -> tuple[Rulepack, ...]:
    """Loaded rulepacks as they are; names and folders loaded together; the bundled ones where there are none."""
    loaded = tuple(item for item in rulepacks if isinstance(item, Rulepack))
    named = tuple(item for item in rulepacks if not isinstance(item, Rulepack))
    return loaded if loaded and not named else (*loaded, *load_rulepacks(named))


def _concessions(system: System, given: Concessions | str | PathLike[str] | None) -> Concessions:
    if isinstance(given, Concessions):
        return given
    if given is not None:
        return read_concessions(Path(given))
    beside = concessions_beside(system.source.name)
    return read_concessions(beside) if beside.is_file() else Concessions()


__all__ = [
    "InputError", "Survey", "applied", "certificates", "compare", "known_rulepacks", "load_functions",
    "load_rulepacks", "open_survey", "propose", "read_system", "rehearse", "settings", "survey", "window",
]  # fmt: skip
