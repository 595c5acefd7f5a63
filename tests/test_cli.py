from __future__ import annotations

import errno
import io
import json
import os
import subprocess
import sys
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest

import limitrules
from limitrules import cli
from limitrules.foundation.diagnostics import Diagnostic, InputError
from limitrules.foundation.source import Source
from limitrules.foundation.version import VERSION
from limitrules.report.reference import RuleCard, RulepackCard
from limitrules.report.text import survey_text
from limitrules.rules.findings import Consequence, SurveyResult, Verdict
from tests.house.tree import ROOT
from tests.report.samples import finding, ladder, result, rich

CARD = RulepackCard(
    "governing", "1.0.0", "Which limit governs", "storage", "rulepacks/governing",
    (RuleCard("limit-ladder-ordered", "Rungs in order", Consequence.DAMAGE, (("about", "each pack p"),)),),
)  # fmt: skip
HEAVY = {"attr", "attrs", "lark", "yaml", "jsonschema", "difflib", "json", "traceback", "shutil", "numpy"}


class Engine(ModuleType):
    """Stands in for the engine: answers with a survey made by hand, or fails as it is told."""

    def __init__(self) -> None:
        super().__init__("limitrules.api")
        self.answer: SurveyResult = rich()
        self.failure: BaseException | None = None
        self.asked: dict[str, Any] = {}

    def load_functions(self, names: tuple[str, ...]) -> None:
        self.asked.update(functions=tuple(names))

    def known_rulepacks(self) -> tuple[str, ...]:
        return ("governing",)

    def load_rulepacks(self, names: tuple[str, ...], functions: object) -> tuple[Any, ...]:
        self.asked.update(rulepacks=names)
        return (CARD,)

    def read_system(self, path: str, rulepacks: tuple[Any, ...]) -> str:
        self.asked.update(path=path)
        if self.failure is not None:
            raise self.failure
        return path

    def open_survey(self, system: str, rulepacks: object, concessions: str | None) -> Engine:
        self.asked.update(system=system, concessions=concessions)
        return self

    def result(self) -> SurveyResult:
        return self.answer

    def certificates(self, survey: Engine) -> dict[str, Any]:
        return {"limitrules": "certificates/1", "findings": []}


@pytest.fixture(autouse=True)
def engine(monkeypatch: pytest.MonkeyPatch) -> Engine:
    made = Engine()
    monkeypatch.setitem(sys.modules, "limitrules.api", made)
    monkeypatch.setattr(limitrules, "api", made, raising=False)
    monkeypatch.setattr("limitrules.report.reference.card_of", lambda rulepack: rulepack)
    for name in ("COLUMNS", "NO_COLOR", "LIMITRULES_TRACEBACK"):
        monkeypatch.delenv(name, raising=False)
    return made


def run(capsys: pytest.CaptureFixture[str], *words: str) -> tuple[int, str, str]:
    code = cli.main(words)
    told = capsys.readouterr()
    return code, told.out, told.err


# ---------------------------------------------------------------- survey


def test_certificates_go_to_a_file_of_their_own(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    target = tmp_path / "certificates.json"
    assert run(capsys, "survey", "a.yaml", "--certify", str(target)) == (1, survey_text(rich()), "")
    assert json.loads(target.read_text())["limitrules"] == "certificates/1"
    code, out, err = run(capsys, "survey", "a.yaml", "--certify", "a.yaml")
    assert (code, out) == (2, "")
    assert "would overwrite" in err


def test_a_survey_is_printed_and_fails(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(capsys, "survey", "lakeside.yaml") == (1, survey_text(rich()), "")


def test_the_options_reach_the_engine(capsys: pytest.CaptureFixture[str], engine: Engine) -> None:
    run(capsys, "survey", "a.yaml", "--rulepack", "governing", "--rulepack", "./house", "--concessions", "ok.yaml",
        "--functions", "heat")  # fmt: skip
    assert engine.asked == {
        "path": "a.yaml", "system": "a.yaml", "rulepacks": ("governing", "./house"), "concessions": "ok.yaml",
        "functions": ("heat",),
    }  # fmt: skip


@pytest.mark.parametrize(
    ("fail_on", "code"), [("hazard", 0), ("damage", 1), ("outage", 1), ("stranded", 1), ("advice", 1)]
)
def test_the_exit_code_depends_on_the_class(
    capsys: pytest.CaptureFixture[str], engine: Engine, fail_on: str, code: int
) -> None:
    engine.answer = result(ladder())
    assert run(capsys, "survey", "a.yaml", "--fail-on", fail_on)[0] == code


def test_nothing_that_fails_ends_with_0(capsys: pytest.CaptureFixture[str], engine: Engine) -> None:
    engine.answer = result(finding("x", Verdict.MET))
    assert run(capsys, "survey", "a.yaml")[0] == 0


def test_nothing_checked_does_not_pass(capsys: pytest.CaptureFixture[str], engine: Engine) -> None:
    engine.answer = result()
    code, out, _ = run(capsys, "survey", "a.yaml")
    assert code == 2
    assert "Nothing was checked" in out


def test_a_full_disk_is_nobodys_fault() -> None:
    if not Path("/dev/full").exists():
        pytest.skip("there is no full device here")
    with open("/dev/full", "w", encoding="utf-8") as full:
        run = subprocess.run([sys.executable, "-m", "limitrules", "vocabulary"], cwd=ROOT, stdout=full,
                             stderr=subprocess.PIPE, text=True, check=False)  # fmt: skip
    assert (run.returncode, run.stderr) == (2, "The answer cannot be written: No space left on device.\n")


def test_the_classes_that_can_be_typed_are_all_there_are() -> None:
    assert tuple(item.value for item in Consequence) == cli.CLASSES


def test_json_is_printed_alone(capsys: pytest.CaptureFixture[str]) -> None:
    code, out, err = run(capsys, "survey", "a.yaml", "--format", "json")
    assert (code, err) == (1, "")
    assert json.loads(out)["limitrules"] == "survey/1"
    assert json.loads(out)["outcome"]["exit"] == code


# ---------------------------------------------------------------- colour, width, encoding


def test_no_colour_where_nobody_watches(capsys: pytest.CaptureFixture[str]) -> None:
    for option in ([], ["--colour", "auto"], ["--colour", "never"]):
        assert "\033" not in run(capsys, "survey", "a.yaml", *option)[1]


def test_colour_where_it_is_asked_for(capsys: pytest.CaptureFixture[str]) -> None:
    assert "\033[" in run(capsys, "survey", "a.yaml", "--colour", "always")[1]


@pytest.mark.parametrize(("name", "value", "coloured"), [
    ("NO_COLOR", "", True), ("NO_COLOR", "1", False), ("TERM", "dumb", False), ("TERM", "xterm", True),
])  # fmt: skip
def test_a_watched_terminal_has_colour_unless_it_is_refused(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch, name: str, value: str, coloured: bool
) -> None:
    monkeypatch.setenv("TERM", "xterm")
    monkeypatch.setenv(name, value)
    monkeypatch.setattr(sys.stdout, "isatty", lambda: True)
    assert ("\033" in run(capsys, "survey", "a.yaml")[1]) is coloured


def test_the_width_of_the_terminal_is_kept(capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("COLUMNS", "60")
    assert run(capsys, "survey", "a.yaml")[1] == survey_text(rich(), width=60)


@pytest.mark.parametrize("encoding", ["ascii", "latin-1", "cp1252", "utf-8"])
def test_every_encoding_of_a_terminal_is_borne(monkeypatch: pytest.MonkeyPatch, encoding: str) -> None:
    raw = io.BytesIO()
    monkeypatch.setattr(sys, "stdout", io.TextIOWrapper(raw, encoding=encoding))
    assert cli.main(["survey", "a.yaml"]) == 1
    sign = "+-" if encoding == "ascii" else "±"
    assert f"18.15 kA {sign} 12 %" in raw.getvalue().decode(encoding)


# ---------------------------------------------------------------- out


def test_a_report_goes_to_a_file(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    target = tmp_path / "report.txt"
    code, out, err = run(capsys, "survey", "a.yaml", "--out", str(target))
    assert (code, out, err) == (1, "", f"Written to {target}\n")
    assert target.read_text(encoding="utf-8") == survey_text(rich())


def test_no_input_is_overwritten(capsys: pytest.CaptureFixture[str], tmp_path: Path, engine: Engine) -> None:
    for name in ("system.yaml", "ok.yaml"):
        (tmp_path / name).write_text("keep me", encoding="utf-8")
    system, concessions = str(tmp_path / "system.yaml"), str(tmp_path / "ok.yaml")
    for target in (system, concessions):
        code, out, err = run(capsys, "survey", system, "--concessions", concessions, "--out", target)
        assert (code, out) == (2, "")
        assert "would overwrite what it is a report of [out-is-input]" in err
        assert Path(target).read_text(encoding="utf-8") == "keep me"
    assert engine.asked == {}


# ---------------------------------------------------------------- what cannot be used


def two_mistakes() -> InputError:
    source = Source("a.yaml", "packs: {north: {charge: {rated: 5 V}}}\n")
    return InputError([
        Diagnostic("wrong-unit", "5 V is a voltage.", source.span(32, 35), "a current (A)", "5 A"),
        Diagnostic("no-name", "The system has \033[31mno name.", where="a.yaml"),
    ])  # fmt: skip


def test_an_unusable_input_tells_every_mistake(capsys: pytest.CaptureFixture[str], engine: Engine) -> None:
    engine.failure = two_mistakes()
    code, out, err = run(capsys, "survey", "a.yaml")
    assert (code, out) == (2, "")
    assert err == (
        "a.yaml:1:33: 5 V is a voltage. [wrong-unit]\n"
        "     1 | packs: {north: {charge: {rated: 5 V}}}\n"
        "       |                                 ^^^\n"
        "  expected: a current (A)\n"
        "  try: 5 A\n"
        "\n"
        "a.yaml: The system has \N{REPLACEMENT CHARACTER}[31mno name. [no-name]\n"
    )


def test_a_program_is_told_in_json_as_well(capsys: pytest.CaptureFixture[str], engine: Engine) -> None:
    engine.failure = two_mistakes()
    code, out, err = run(capsys, "why", "a.yaml", "x", "--format", "json")
    assert code == 2
    data = json.loads(out)
    assert data["limitrules"] == "diagnostics/1"
    assert [item["code"] for item in data["diagnostics"]] == ["wrong-unit", "no-name"]
    assert "[wrong-unit]" in err


@pytest.mark.parametrize("option", ["--rulepack", "--concessions", "SYSTEM"])
def test_a_file_of_the_user_that_cannot_be_read_is_no_fault_of_ours(
    capsys: pytest.CaptureFixture[str], engine: Engine, option: str
) -> None:
    engine.failure = PermissionError(errno.EACCES, "Permission denied", "mine.yaml")
    words = ["survey", "mine.yaml"] if option == "SYSTEM" else ["survey", "a.yaml", option, "mine.yaml"]
    code, out, err = run(capsys, *words)
    assert (code, out) == (2, "")
    assert err == "mine.yaml: this cannot be read: Permission denied [cannot-read]\n"


def test_a_file_of_ours_that_cannot_be_read_is(capsys: pytest.CaptureFixture[str], engine: Engine) -> None:
    engine.failure = FileNotFoundError(errno.ENOENT, "No such file", "storage.yaml")
    assert run(capsys, "survey", "a.yaml")[0] == 3


@pytest.mark.parametrize(
    ("words", "parts"),
    [
        (["survay", "a.yaml"], ["`survay` is not a command", "try: survey"]),
        (["lakeside.yaml"], ["try: limitrules survey lakeside.yaml"]),
        (["survey"], ["SYSTEM is missing", "try: limitrules survey --help"]),
        (["survey", "a.yaml", "--fail-no", "damage"], ["`--fail-no` is not an option", "try: --fail-on"]),
        (["survey", "a.yaml", "--color", "never"], ["try: --colour"]),
        (["survey", "a.yaml", "--fail-on", "hasard"], ["`hasard` is not a value of --fail-on", "try: hazard"]),
        (["survey", "a.yaml", "--form", "json"], ["`--form` is not an option", "try: --format"]),
        (["survey", "a.yaml", "--out"], ["--out needs a value after it"]),
        (["survey", "a.yaml", "b.yaml"], ["`b.yaml` is one word too many"]),
        (["--format", "json", "survey", "a.yaml"], ["options come after it"]),
        (["rulepack", "shwo", "x"], ["`shwo` is not a command", "try: show"]),
        (["rulepack"], ["a command is missing", "limitrules rulepack --help"]),
        ([], ["a command is missing", "limitrules --help"]),
    ],
)
def test_a_slip_on_the_command_line_is_told_with_what_was_meant(
    capsys: pytest.CaptureFixture[str], words: list[str], parts: list[str]
) -> None:
    code, _, err = run(capsys, *words)
    assert code == 2
    for part in parts:
        assert part in err


@pytest.mark.parametrize("words", [["--format", "json"], ["--format=json"]])
def test_a_slip_is_told_to_programs_too(capsys: pytest.CaptureFixture[str], words: list[str]) -> None:
    code, out, err = run(capsys, "survey", "a.yaml", "--fail-on", "bad", *words)
    assert code == 2
    assert json.loads(out)["diagnostics"][0]["code"] == "usage"
    assert "`bad` is not a value of --fail-on" in err


# ---------------------------------------------------------------- our own fault, and being stopped


def test_an_unforeseen_failure_is_our_own_fault(capsys: pytest.CaptureFixture[str], engine: Engine) -> None:
    engine.failure = ZeroDivisionError("division by zero")
    code, out, err = run(capsys, "survey", "a.yaml")
    assert (code, out) == (3, "")
    assert err.startswith("This is our own fault, not yours")
    assert "ZeroDivisionError at limitrules/commands/common.py, line " in " ".join(err.split())
    assert "Traceback" not in err
    assert "\n\n" not in err


def test_the_details_are_shown_when_asked_for(
    capsys: pytest.CaptureFixture[str], engine: Engine, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("LIMITRULES_TRACEBACK", "1")
    engine.failure = RecursionError("too deep")
    code, _, err = run(capsys, "survey", "a.yaml")
    assert code == 3
    assert "Traceback (most recent call last)" in err
    assert "RecursionError: too deep" in err


def test_stopping_is_no_failure_of_anyone(capsys: pytest.CaptureFixture[str], engine: Engine) -> None:
    engine.failure = KeyboardInterrupt()
    code, out, err = run(capsys, "survey", "a.yaml")
    assert (code, out, err) == (130, "", "\nStopped before the end.\n")


def test_a_reader_that_leaves_does_not_change_the_outcome(monkeypatch: pytest.MonkeyPatch) -> None:
    class Closed(io.StringIO):
        encoding = "utf-8"

        def write(self, _: str) -> int:
            raise BrokenPipeError(errno.EPIPE, "Broken pipe")

    monkeypatch.setattr(sys, "stdout", Closed())
    assert cli.main(["survey", "a.yaml"]) == 1


# ---------------------------------------------------------------- why


@pytest.mark.parametrize("rule", ["limit-ladder-ordered", "governing/limit-ladder-ordered"])
def test_why_tells_the_argument(capsys: pytest.CaptureFixture[str], rule: str) -> None:
    code, out, err = run(capsys, "why", "lakeside.yaml", rule)
    assert (code, err) == (0, "")
    assert "The argument" in out
    assert "stated as 96 A ± 1.5 %" in out


@pytest.mark.parametrize(
    ("rule", "subject", "count"),
    [
        ("cold-charge-blocked", "packs.north", 1),
        ("cold-charge-blocked", "converters.main, packs.north", 1),
        ("capacity-usable", "site", 1),
        ("label-present", "packs.south", 1),
        ("house/label-present", None, 1),
        ("label-present", None, 2),
    ],
)
def test_why_keeps_to_the_subject(
    capsys: pytest.CaptureFixture[str], rule: str, subject: str | None, count: int
) -> None:
    words = ["why", "a.yaml", rule, *([subject] if subject else []), "--format", "json"]
    code, out, _ = run(capsys, *words)
    assert code == 0
    assert json.loads(out)["limitrules"] == "why/1"
    assert len(json.loads(out)["findings"]) == count


def test_why_a_rule_did_not_apply(capsys: pytest.CaptureFixture[str]) -> None:
    code, out, _ = run(capsys, "why", "a.yaml", "link-fallback", "converters.spare")
    assert code == 0
    assert "NOT APPLICABLE to converters.spare: it has no link" in out
    assert "converters.main" not in out


@pytest.mark.parametrize(
    ("rule", "subject", "parts"),
    [
        ("limit-lader-ordered", [], ["no rule here is called `limit-lader-ordered`", "try: `limit-ladder-ordered`"]),
        ("limit-ladder-ordered", ["north"], ["no subject here is called `north`", "try: `packs.north`"]),
        ("limit-ladder-ordered", ["packs.nort"], ["expected: packs.north", "try: `packs.north`"]),
    ],
)
def test_why_offers_the_nearest_name(
    capsys: pytest.CaptureFixture[str], rule: str, subject: list[str], parts: list[str]
) -> None:
    code, out, err = run(capsys, "why", "a.yaml", rule, *subject)
    assert (code, out) == (2, "")
    for part in parts:
        assert part in err


# ---------------------------------------------------------------- vocabulary and rulepacks


def test_the_vocabulary_is_listed(capsys: pytest.CaptureFixture[str]) -> None:
    code, out, _ = run(capsys, "vocabulary")
    assert code == 0
    for kind in ("cell", "pack", "converter", "regulator", "conductor", "fuse", "contactor", "link", "site"):
        assert f"\n  {kind} " in out


@pytest.mark.parametrize("word", ["pack", "packs"])
def test_a_kind_is_told_by_either_name(capsys: pytest.CaptureFixture[str], word: str) -> None:
    code, out, _ = run(capsys, "vocabulary", word)
    assert code == 0
    assert "charge.rated  in A" in out
    assert "Open standard: " in out


def test_an_unknown_kind_is_told_with_the_nearest(capsys: pytest.CaptureFixture[str]) -> None:
    code, out, err = run(capsys, "vocabulary", "convertor")
    assert (code, out) == (2, "")
    assert "try: `converter`" in err


def test_the_vocabulary_as_data(capsys: pytest.CaptureFixture[str]) -> None:
    every = json.loads(run(capsys, "vocabulary", "--format", "json")[1])["kinds"]
    assert len(every) > 10
    (fuse,) = json.loads(run(capsys, "vocabulary", "fuse", "--format", "json")[1])["kinds"]
    assert fuse in every


def test_rulepacks_are_listed_and_shown(capsys: pytest.CaptureFixture[str], engine: Engine) -> None:
    assert "governing 1.0.0" in run(capsys, "rulepack", "list", "--rulepack", "./house")[1]
    assert engine.asked == {"rulepacks": ("./house",), "functions": ()}
    assert "Rungs in order" in run(capsys, "rulepack", "show", "governing")[1]
    assert "about: each pack p" in run(capsys, "rulepack", "show", "governing", "limit-ladder-ordered")[1]
    shown = json.loads(run(capsys, "rulepack", "show", "governing", "limit-ladder-ordered", "--format", "json")[1])
    assert shown["limitrules"] == "rulepacks/1"
    assert [item["name"] for item in shown["rulepacks"][0]["rules"]] == ["limit-ladder-ordered"]


@pytest.mark.parametrize("words", [["governin"], ["governing", "limit-ladder"]])
def test_an_unknown_rulepack_or_rule_is_told(capsys: pytest.CaptureFixture[str], words: list[str]) -> None:
    code, out, err = run(capsys, "rulepack", "show", *words)
    assert (code, out) == (2, "")
    assert "try: `" in err


# ---------------------------------------------------------------- help and start-up


@pytest.mark.parametrize("command", ["survey", "why", "vocabulary", "rulepack", "rulepack list", "rulepack show"])
def test_every_command_teaches_with_an_example(capsys: pytest.CaptureFixture[str], command: str) -> None:
    code, out, _ = run(capsys, *command.split(), "--help")
    assert code == 0
    assert f"example:  limitrules {command}" in out
    assert out.isascii()


def test_the_help_tells_the_exit_codes(capsys: pytest.CaptureFixture[str]) -> None:
    code, out, _ = run(capsys, "--help")
    assert code == 0
    for words in (
        "0 nothing fails",
        "1 findings fail",
        "2 the input cannot be used",
        "3 limitrules itself is at fault",
    ):
        assert words in out


def process(*words: str, encoding: str = "utf-8", code: str = "") -> list[str]:
    face = code or "import sys; from limitrules.cli import main; raise SystemExit(main())"
    return [sys.executable, "-X", "utf8=0", "-c", face, *words]


def environment(**more: str) -> dict[str, str]:
    return {**os.environ, "PYTHONPATH": str(ROOT), "PYTHONIOENCODING": "utf-8", **more}


def test_the_version_is_told_without_loading_anything_heavy() -> None:
    code = (
        "import sys; before = set(sys.modules); from limitrules.cli import main; main(['--version'])\n"
        "print(*sorted(set(sys.modules) - before))"
    )
    told = subprocess.run(process(code=code), env=environment(), capture_output=True, text=True, check=True).stdout
    version, _, loaded = told.partition("\n")
    assert version == f"limitrules {VERSION}"
    assert "argparse" in loaded
    assert HEAVY & {name.split(".")[0] for name in loaded.split()} == set()


@pytest.mark.skipif(sys.platform == "win32", reason="pipes of POSIX")
def test_a_closed_pipe_leaves_no_complaint() -> None:
    reading, writing = os.pipe()
    os.close(reading)
    with os.fdopen(writing, "wb") as pipe:
        told = subprocess.run(
            process("vocabulary", "pack"), env=environment(), stdout=pipe, stderr=subprocess.PIPE, check=False
        )
    assert (told.returncode, told.stderr) == (0, b"")


def test_a_real_terminal_of_plain_letters_gets_plain_letters() -> None:
    told = subprocess.run(
        process("vocabulary"), env=environment(PYTHONIOENCODING="ascii"), capture_output=True, check=False
    )
    assert (told.returncode, told.stderr) == (0, b"")
    assert told.stdout.isascii()
