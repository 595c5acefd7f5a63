"""What the README promises is so: its commands name what is there, and its excerpts are real output."""

from __future__ import annotations

import os
import re
import subprocess
import sys

from tests.house.tree import ROOT

README = (ROOT / "README.md").read_text(encoding="utf-8")
FACE = "import sys; from limitrules.cli import main; raise SystemExit(main(sys.argv[1:]))"
COMMAND = re.compile(r"\.venv/bin/limitrules (survey \S+)$", re.MULTILINE)


def test_it_opens_with_the_whole_job_and_then_two_commands() -> None:
    title, job, *rest = README.split("\n\n")
    assert title == "# limitrules"
    assert len(job.split()) > 80
    blocks = [part for part in rest if part.startswith("```")]
    assert "limitrules survey" in blocks[0]
    assert "-m pytest" in blocks[1]


def test_its_excerpts_are_real_output() -> None:
    (command,) = COMMAND.findall(README)
    words = [sys.executable, "-c", FACE, *command.split()]
    wide = {**os.environ, "COLUMNS": "100"}
    run = subprocess.run(words, cwd=ROOT, env=wide, capture_output=True, text=True, check=False)
    assert run.returncode == 1, run.stderr
    excerpts = re.findall(r"^```text\n(.*?)^```$", README, re.MULTILINE | re.DOTALL)
    assert excerpts
    assert [excerpt for excerpt in excerpts if excerpt not in run.stdout] == []
