"""A rule, its parameters and the rulepack they stand in: checked, and not yet bound to any system."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from functools import cached_property

from attrs import frozen

from limitrules.foundation.source import Span
from limitrules.language.checker import Checked
from limitrules.language.functions import Registry
from limitrules.model.vocabulary import Vocabulary
from limitrules.rules.findings import Consequence


@frozen(eq=False, repr=False)
class Parameter:
    """A figure that a rulepack chooses. ``local`` ones are meant to be replaced by a local rulepack.

    ``set_by`` names the rulepack that replaced the value ``before``, ``reason`` why.
    """

    name: str
    value: Checked
    local: bool
    meaning: str
    span: Span
    set_by: str = ""
    reason: str = ""
    before: Checked | None = None


@frozen(eq=False, repr=False)
class Subject:
    """``each KIND NAME``, with the collection it runs over where it is not all of the kind."""

    name: str
    kind: str
    collection: Checked | None = None


@frozen(eq=False, repr=False)
class About:
    """Whom a rule speaks of. ``pair`` runs over every two different members, each two once."""

    text: str
    subjects: tuple[Subject, ...]
    pair: bool = False


@frozen(eq=False, repr=False)
class Definition:
    """``name: expression`` under ``let``."""

    name: str
    value: Checked


@frozen(eq=False, repr=False)
class Sentence:
    """A text with expressions in braces. Few sentences of a survey are ever said, so each is made when asked for."""

    read: Callable[[], tuple[str | Checked, ...]]

    @cached_property
    def pieces(self) -> tuple[str | Checked, ...]:
        """Pieces of text and checked expressions in turn."""
        return self.read()


@frozen(eq=False, repr=False)
class Rule:
    """One condition with its subjects, consequence, explanation, remedy and caution."""

    rulepack: str
    id: str
    title: str
    consequence: Consequence
    about: About
    when: Checked | None
    definitions: tuple[Definition, ...]
    require: Checked
    because: Sentence
    parameters: Mapping[str, Parameter]
    remedies: tuple[str, ...]
    caution: str
    basis: tuple[str, ...]
    evidence: str
    functions: Registry
    span: Span


@frozen
class Retired:
    """A rule that another rulepack took out, and why."""

    rule: str
    consequence: Consequence
    by: str
    reason: str


@frozen(eq=False, repr=False)
class Rulepack:
    """A versioned folder of rules. ``content`` is the hash of everything that decides what it says."""

    name: str
    version: str
    title: str
    meaning: str
    vocabulary: Vocabulary
    parameters: Mapping[str, Parameter]
    rules: Mapping[str, Rule]
    folder: str
    content: str
    retired: tuple[Retired, ...] = ()
