"""What the document says of an attribute: stated, unknown, or left open. Every path that was looked at is noted."""

from __future__ import annotations

from limitrules.foundation.kinds import Component
from limitrules.model.system import System
from limitrules.model.values import ComponentRecord

Reads = dict[str, None]
"""The paths that were read, in order; a change of any of them may change the answer."""


def is_unknown(record: ComponentRecord, attribute: str, reads: Reads) -> bool:
    """True where the document says of a value, or of anything below a group, that it is unknown."""
    found = False
    for path in record.kind.attributes:
        if path == attribute or path.startswith(attribute + "."):
            reads[f"{record.path}.{path}"] = None
            value = record.values.get(path)
            found = found or (value is not None and value.is_unknown)
    return found


def open_tie(system: System, record: ComponentRecord, attribute: str) -> str:
    """The tie that is left open where a derived relation is empty, so that nobody knows whether it really is."""
    declared = record.kind.attributes.get(attribute)
    if declared is None or not declared.derived or system.related(record, declared):
        return ""
    silent = system.not_saying(declared)
    return f"{silent[0]}.{declared.inverse}" if silent else ""


def is_stated(system: System, record: ComponentRecord, attribute: str, reads: Reads) -> bool:
    """True where a value, or anything below a group, stands in the document and is not unknown."""
    if attribute not in record.kind.attributes:
        below = [path for path in record.kind.attributes if path.startswith(attribute + ".")]
        # Every one is read, so that a change of any is seen.
        stated = [is_stated(system, record, path, reads) for path in below]
        return any(stated)
    reads[f"{record.path}.{attribute}"] = None
    declared = record.kind.attributes[attribute]
    if declared.derived:
        return bool(system.related(record, declared))
    if declared.part:
        return attribute in record.parts
    value = record.values.get(attribute)
    if value is not None and isinstance(declared.type, Component) and value.content == ():
        return False  # `none`: nothing is there to speak of
    return value is not None and not value.is_unknown
