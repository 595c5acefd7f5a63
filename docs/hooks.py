"""Called by mkdocs for every page: puts in what is made at build time, so that the site cannot go stale."""

from __future__ import annotations

from typing import Any

from mkdocs.exceptions import PluginError

from sitepages import fill
from sitepages.live import Mismatch


def on_page_markdown(markdown: str, page: Any, **_: Any) -> str:
    try:
        return fill(markdown)
    except Mismatch as error:
        raise PluginError(f"{page.file.src_uri}: {error}") from None
