"""Every public name is explained, in the code and on the page of the Python API."""

from __future__ import annotations

import inspect

import limitrules
from sitepages import api

MOST_NAMES = 30


def test_the_public_names_are_few_and_exist() -> None:
    assert 0 < len(limitrules.__all__) <= MOST_NAMES
    assert [name for name in limitrules.__all__ if not hasattr(limitrules, name)] == []
    assert len(set(limitrules.__all__)) == len(limitrules.__all__)


def test_each_has_a_docstring_of_its_own() -> None:
    values = {name: getattr(limitrules, name) for name in limitrules.__all__}
    explained = {name: value for name, value in values.items() if inspect.isclass(value) or callable(value)}
    assert explained
    assert [name for name, value in explained.items() if not (value.__doc__ or "").strip()] == []


def test_each_stands_on_the_api_page() -> None:
    page = api.page()
    assert [name for name in limitrules.__all__ if f"\n## {name}\n" not in page] == []
