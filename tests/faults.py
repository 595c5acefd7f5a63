"""Seeds the faults of faults.yaml into a copy of the package, one at a time, and says which test catches each.

`python -m tests.faults` tries all of them; `--list` numbers them, `--only NUMBER` (or a name) tries one. It ends with 1
where a fault is not caught, and with 2 where one is stale: its text no longer stands in its file exactly once.
"""

from __future__ import annotations

import argparse
import os
import queue
import re
import shutil
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Iterable, Sequence
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import yaml
from attrs import frozen

ROOT = Path(__file__).resolve().parents[1]
COPIED = ("limitrules", "tests", "rulepacks", "schemas", "docs", "pyproject.toml", "README.md", "DEVELOPERS.md")
MOST_JOBS = 2
SECONDS = 240
"""How long the tests of one fault may take; what is not caught by then is not caught."""

FOUND = "tests/exact/test_faults_found.py"
EVALUATION = "tests/language/test_evaluation.py"
GENERATED = "tests/exact/test_generated.py"
ALL_CLEAR = "tests/rules/test_no_false_all_clear.py"
SHARED = "tests/exact/test_shared.py"
SUBJECTS = "tests/rules/test_subjects.py"
CHANGE = "tests/rules/test_change.py"
TESTS: dict[str, tuple[str, ...]] = {
    "limitrules/language/": (FOUND, EVALUATION, GENERATED),
    "limitrules/language/functions.py": (FOUND, "tests/language/test_functions.py", "tests/exact/test_enclosures.py"),
    "limitrules/rules/": (FOUND, ALL_CLEAR, SHARED, SUBJECTS, "tests/language/test_fixtures.py", GENERATED),
    "limitrules/rules/slots.py": (FOUND, SHARED, ALL_CLEAR, CHANGE),
    "limitrules/rules/stated.py": (FOUND, ALL_CLEAR, SUBJECTS, CHANGE),
    "limitrules/rules/concessions.py": ("tests/rules/test_concessions.py",),
    "limitrules/engine/": (FOUND, ALL_CLEAR, SHARED, SUBJECTS, CHANGE),
    "limitrules/engine/finding.py": (FOUND, ALL_CLEAR, SUBJECTS, "tests/exact/test_witness.py", GENERATED),
    "limitrules/foundation/": (FOUND, "tests/foundation/test_units.py", "tests/foundation/test_exact.py"),
}
"""Which tests concern a file, or what stands below a folder; the fast ones first."""

# A counterexample that is made smaller tells a person more and catches no more.
LIGHTER = {"tests/exact/profile.py": (", Phase.shrink]", "]")}
SETTINGS = """\
from pathlib import Path

from hypothesis import Phase, settings

import limitrules

assert Path(limitrules.__file__).is_relative_to(Path(__file__).parent)
settings.register_profile("faults", settings.get_profile("ci"), phases=[Phase.explicit, Phase.generate])
settings.load_profile("faults")
"""


@frozen
class Fault:
    """``becomes`` takes the place of ``was``, which stands once in ``file``; ``opens`` says what goes wrong then."""

    name: str
    file: str
    was: str
    becomes: str
    opens: str

    def count(self, root: Path = ROOT) -> int:
        """How often its text stands in its file."""
        path = root / self.file
        return path.read_text(encoding="utf-8").count(self.was) if path.is_file() else 0

    @property
    def tests(self) -> tuple[str, ...]:
        """The tests that concern it: those of its file, or of the nearest folder above it."""
        return TESTS[max((name for name in TESTS if self.file.startswith(name)), key=len)]


def faults() -> list[Fault]:
    """All seeded faults."""
    items = yaml.safe_load((ROOT / "tests" / "faults.yaml").read_text(encoding="utf-8"))
    return [Fault(item["fault"], item["file"], item["was"], item["becomes"], item["opens"]) for item in items]


def stale(chosen: Iterable[Fault]) -> list[str]:
    """What is to be said of faults whose text does not stand in the source exactly once."""
    return [f"{item.name}: its text stands {item.count()} times in {item.file}" for item in chosen if item.count() != 1]


# running tests over a copy


def copy_to(folder: Path) -> Path:
    """A copy of what the tests need, in which hypothesis tries the same examples each time."""
    folder.mkdir()
    for name in COPIED:
        if (ROOT / name).is_dir():
            shutil.copytree(ROOT / name, folder / name, ignore=shutil.ignore_patterns("__pycache__"))
        else:
            shutil.copy(ROOT / name, folder / name)
    (folder / "lighter_run.py").write_text(SETTINGS, encoding="utf-8")
    for name, (was, becomes) in LIGHTER.items():
        text = (folder / name).read_text(encoding="utf-8")
        (folder / name).write_text(text.replace(was, becomes), encoding="utf-8")
    return folder


@frozen
class Run:
    """``failed`` are the tests that failed, ``code`` what pytest ended with; None where the time was up."""

    failed: list[str]
    code: int | None
    seconds: float
    output: str


def run(folder: Path, test: str, *options: str, seconds: float | None = None) -> Run:
    """Run a file of tests in a copy."""
    quiet = "-q", "-p", "no:cacheprovider", "-p", "lighter_run", "--tb=line"
    command = [sys.executable, "-m", "pytest", *quiet, *options, test]
    kept = {name: value for name, value in os.environ.items() if not name.startswith(("LIMITRULES_", "PYTEST_"))}
    environment = {**kept, "CI": "true", "PYTHONDONTWRITEBYTECODE": "1", "PYTHONPATH": str(folder)}
    start = time.monotonic()
    try:
        done = subprocess.run(
            command, cwd=folder, env=environment, capture_output=True, text=True, timeout=seconds, check=False
        )
    except subprocess.TimeoutExpired:
        return Run([], None, time.monotonic() - start, "")
    failed = re.findall(r"^(?:FAILED|ERROR) (\S+?)(?:\[| - |$)", done.stdout, re.MULTILINE)
    return Run(failed, done.returncode, time.monotonic() - start, done.stdout + done.stderr)


class Trial:
    """Tries faults in copies of the package, one of which never has any."""

    def __init__(self, scratch: Path, copies: int) -> None:
        self.clean = copy_to(scratch / "clean")
        self.folders: queue.SimpleQueue[Path] = queue.SimpleQueue()
        for number in range(copies):
            self.folders.put(copy_to(scratch / str(number)))
        self._anyway: dict[str, list[str]] = {}
        self._lock = threading.Lock()

    def failing_anyway(self, test: str) -> list[str]:
        """The tests of a file that fail without any fault; they catch none."""
        with self._lock:
            if test not in self._anyway:
                found = run(self.clean, test)
                if found.code not in (0, 1):
                    raise SystemExit(f"{test} cannot be run:\n{found.output}")
                self._anyway[test] = sorted(set(found.failed))
                for name in self._anyway[test]:
                    say(f"left out, since it fails without any fault: {name}")
            return self._anyway[test]

    def attempt(self, fault: Fault) -> bool:
        """Whether a test that concerns a fault fails in a copy that has it."""
        folder = self.folders.get()
        path = folder / fault.file
        text = path.read_text(encoding="utf-8")
        path.write_text(text.replace(fault.was, fault.becomes), encoding="utf-8")
        spent = 0.0
        try:
            why = "all tests pass"
            for test in fault.tests:
                left_out = [f"--deselect={name}" for name in self.failing_anyway(test)]
                found = run(folder, test, "-x", *left_out, seconds=SECONDS - spent)
                spent += found.seconds
                if found.failed:
                    say(f"caught in {spent:5.1f} s  {fault.name}: {found.failed[0]}")
                    return True
                if found.code != 0:
                    why = f"the time was up in {test}" if found.code is None else f"{test} ended with {found.code}"
                    break
            say(f"NOT CAUGHT {spent:5.1f} s  {fault.name}: {why}. {fault.opens}")
            return False
        finally:
            path.write_text(text, encoding="utf-8")
            self.folders.put(folder)


def try_all(chosen: Sequence[Fault], jobs: int) -> int:
    """Try faults, ``jobs`` at once; how many are not caught."""
    with tempfile.TemporaryDirectory(prefix="faults-") as scratch, ThreadPoolExecutor(jobs) as pool:
        return list(pool.map(Trial(Path(scratch), jobs).attempt, chosen)).count(False)


def say(text: str) -> None:
    print(text, flush=True)  # noqa: T201


def main(arguments: Sequence[str] | None = None) -> int:
    """The command."""
    parser = argparse.ArgumentParser(prog="python -m tests.faults", description=__doc__)
    parser.add_argument("--list", action="store_true", help="number the faults and say what each opens")
    parser.add_argument("--only", action="append", metavar="N", help="a number or a name; may be repeated")
    parser.add_argument("--jobs", type=int, choices=range(1, MOST_JOBS + 1), default=1, help="how many at once")
    given = parser.parse_args(arguments)
    known = list(enumerate(faults(), start=1))
    chosen = [(number, item) for number, item in known if not given.only or {str(number), item.name} & {*given.only}]
    if given.list:
        for number, item in chosen:
            say(f"{number:3} {item.name} ({item.file}): {item.opens}")
        return 0
    if not chosen:
        parser.error("no such fault")
    problems = stale(item for _, item in chosen)
    if problems:
        say("\n".join(["Stale faults; write them anew:", *problems]))
        return 2
    start = time.monotonic()
    missed = try_all([item for _, item in chosen], given.jobs)
    say(f"{len(chosen) - missed} of {len(chosen)} faults caught in {(time.monotonic() - start) / 60:.1f} minutes")
    return 1 if missed else 0


if __name__ == "__main__":
    sys.exit(main())
