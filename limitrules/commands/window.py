"""`limitrules window SYSTEM [PATH...]`: which values a setting may have."""

from __future__ import annotations

import argparse
from functools import partial
from pathlib import Path

from limitrules.commands.common import (
    NOTHING_FAILS,
    Answer,
    Arguments,
    opened,
    picture_target,
    report,
    unused_rulepacks,
)


def add_options(parser: argparse.ArgumentParser) -> None:
    """What can be said of windows."""
    parser.add_argument("system", metavar="SYSTEM", help="the system document, a YAML file")
    parser.add_argument("paths", metavar="PATH", nargs="*",
        help="settings, such as converters.main.charge.ceiling (default: every setting with a number)")  # fmt: skip
    parser.add_argument("--picture", metavar="FILE", type=Path, help="draw them, as .svg or .png (extra `pictures`)")


def run(arguments: Arguments) -> Answer:
    """The windows of the settings that were named, or of all."""
    from limitrules import api
    from limitrules.report.window import windows_data, windows_text

    picture = picture_target(arguments)
    survey = opened(arguments)
    paths = arguments.paths or api.settings(survey.system)
    windows = []
    for number, path in enumerate(paths):
        windows.append(api.window(survey, path))
        arguments.progress(f"{number + 1} of {len(paths)} settings done")
    arguments.progress("")
    system = survey.system
    if picture is not None:
        from limitrules.report.window_picture import draw_windows

        draw_windows(windows, system.name, picture)
    about = (windows, system.name, system.source.name, unused_rulepacks(item.name for item in survey.rulepacks))
    return report(arguments, lambda: windows_data(*about), partial(windows_text, *about)), NOTHING_FAILS
