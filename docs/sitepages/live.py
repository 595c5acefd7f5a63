"""Commands in a page are run when the site is built, and what they print is what the page shows.

```yaml file=hut.yaml        writes the block to a file that later commands of the page can read
```diff file=hut.yaml        changes that file: each run of `-` lines must stand in it once, `+` lines replace it
```live exit=1               runs each line as a command; the exit code must be the one stated (0 if none)
```picture exit=1            runs one command, which draws a picture, and shows that; the first line says what it shows
"""

from __future__ import annotations

import base64
import html
import os
import re
import shlex
import shutil
import subprocess
import sys
import tempfile
from itertools import groupby
from pathlib import Path

DOCS = Path(__file__).resolve().parent.parent
EXAMPLES = DOCS / "examples"
_FENCE = re.compile(
    r"^```(?P<info>live|picture|\w+(?= file=))(?P<options>( \w+=\S+)*)\n(?P<body>.*?)^```$", re.M | re.S
)
_FACE = "import sys; from limitrules.cli import main; raise SystemExit(main(sys.argv[1:]))"
_CHECKER = ["python", "-m", "limitrules.recheck"]


class Mismatch(Exception):
    """A page says something of the project that is not so."""


def run_fences(markdown: str) -> str:
    """The page with every command followed by its real output."""
    if not _FENCE.search(markdown):
        return markdown
    with tempfile.TemporaryDirectory() as folder:
        place = Path(folder)
        if EXAMPLES.is_dir():
            shutil.copytree(EXAMPLES, place, dirs_exist_ok=True)
        return _FENCE.sub(lambda match: _shown(match, place), markdown)


def _shown(match: re.Match[str], place: Path) -> str:
    options = dict(item.split("=", 1) for item in match["options"].split())
    if match["info"] == "live":
        expected = int(options.get("exit", "0"))
        parts = [_run(line, place, expected) for line in match["body"].splitlines() if line.strip()]
        return "```text\n" + "\n".join(parts) + "```"
    if match["info"] == "picture":
        return _picture(match["body"], place, int(options.get("exit", "0")))
    target = place / options["file"]
    target.parent.mkdir(parents=True, exist_ok=True)
    before = target.read_text(encoding="utf-8") if match["info"] == "diff" else ""
    target.write_text(_changed(before, match["body"]) if before else match["body"], encoding="utf-8")
    return f"```{match['info']}\n{match['body']}```"


def _picture(body: str, place: Path, expected: int) -> str:
    """The picture that a command draws, in the page itself, under the words that say what it shows."""
    words, command = body.strip().splitlines()
    _run(f"{command} --picture shown.svg --out shown.txt", place, expected)
    drawn = base64.b64encode((place / "shown.svg").read_bytes()).decode("ascii")
    (place / "shown.txt").unlink()
    shown = html.escape(words, quote=True)
    image = f'<img alt="{shown}" src="data:image/svg+xml;base64,{drawn}" style="max-width: 100%; background: white">'
    return f"<figure>{image}<figcaption>{shown}</figcaption></figure>\n"


def _changed(text: str, diff: str) -> str:
    """A text with the lines marked `-` replaced by those marked `+`; other lines only show where one is."""
    old = ""
    for sign, lines in groupby(diff.splitlines(keepends=True), lambda line: line[0]):
        block = "".join(line[1:] for line in lines)
        if sign == "-":
            old = block
        elif sign == "+":
            if not old or text.count(old) != 1:
                raise Mismatch(f"what is to be changed stands {text.count(old) if old else 0} times:\n{old}")
            text, old = text.replace(old, block), ""
    return text


def _run(line: str, place: Path, expected: int) -> str:
    words = shlex.split(line)
    if words[:3] == _CHECKER:
        command = [sys.executable, *words[1:]]
    elif words[:1] == ["limitrules"]:
        command = [sys.executable, "-c", _FACE, *words[1:]]
    else:
        raise Mismatch(f"only limitrules itself is run in a page, not `{line}`")
    run = subprocess.run(
        command,
        cwd=place,
        env={**os.environ, "COLUMNS": "100", "PYTHONPATH": str(DOCS.parent)},
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
        check=False,
    )
    if run.returncode != expected:
        raise Mismatch(f"`{line}` ends with exit code {run.returncode}, not {expected}:\n{run.stdout}")
    return f"$ {line}\n{run.stdout.replace(f'{DOCS.parent}{os.sep}', '')}"
