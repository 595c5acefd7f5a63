"""The command line: reads what is asked, calls the engine, hands the answer to a report, ends with a code.

Only argparse is imported at the start; everything else waits until a command needs it.
"""

from __future__ import annotations

import argparse
import gc
import os
import sys
from collections.abc import Callable, Mapping, Sequence
from contextlib import suppress
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any, NoReturn

from limitrules.commands.common import NOTHING_FAILS, UNUSABLE_INPUT, Answer, Arguments, inputs
from limitrules.foundation.version import VERSION

if TYPE_CHECKING:
    from limitrules.foundation.diagnostics import Diagnostic

OWN_FAULT, STOPPED = 3, 130
CLASSES = ("hazard", "damage", "outage", "stranded", "advice")
USUAL_WIDTH = 100

# ---------------------------------------------------------------- how it looks


def _look(arguments: Arguments) -> dict[str, Any]:
    """Colour and width of a text: plain and of fixed width unless a person watches."""
    watched = arguments.out is None and sys.stdout.isatty()
    fixed = arguments.out is not None or not (watched or "COLUMNS" in os.environ)
    width = USUAL_WIDTH if fixed else _columns(USUAL_WIDTH)
    plain = bool(os.environ.get("NO_COLOR")) or os.environ.get("TERM") == "dumb"
    auto = watched and not plain
    return {"colour": {"always": True, "never": False}.get(arguments.colour, auto), "width": width}


def _columns(usual: int) -> int:
    """The width of the terminal, asked for directly: the module that would ask costs every start its import."""
    with suppress(ValueError):
        if int(os.environ.get("COLUMNS", "")) > 0:
            return int(os.environ["COLUMNS"])
    with suppress(AttributeError, ValueError, OSError):  # no terminal, or no stdout at all
        return os.get_terminal_size(sys.__stdout__.fileno()).columns or usual  # type: ignore[union-attr]
    return usual


# ---------------------------------------------------------------- what can be typed


class _Usage(Exception):
    """The words typed do not make a command."""

    def __init__(self, message: str, parser: argparse.ArgumentParser) -> None:
        self.message = message
        self.parser = parser
        super().__init__(message)


class _Help(argparse.RawDescriptionHelpFormatter):
    def __init__(self, prog: str) -> None:
        super().__init__(prog, max_help_position=28, width=_columns(80) - 2)


class _Parser(argparse.ArgumentParser):
    def __init__(self, **more: Any) -> None:
        # Shortened options would break in scripts as soon as another option begins with the same letters.
        super().__init__(allow_abbrev=False, formatter_class=_Help, **more)

    def error(self, message: str) -> NoReturn:
        raise _Usage(message, self)


def build_parser(only: str = "") -> argparse.ArgumentParser:
    """All commands and options with their help; or those of a single command, which takes less time."""
    parser = _Parser(
        prog="limitrules",
        description="Do all limits of a battery installation agree? Verdicts over stated tolerances, explained.",
        epilog="example:  limitrules survey lakeside.yaml\n\n"
        "exit codes:  0 nothing fails    1 findings fail\n"
        "             2 the input cannot be used    3 limitrules itself is at fault",
    )
    parser.add_argument("--version", action="version", version=f"limitrules {VERSION}", help="show the version")
    commands = parser.add_subparsers(metavar="COMMAND", dest="command", title="commands", prog="limitrules")
    for add in [_COMMANDS[only]] if only in _COMMANDS else _COMMANDS.values():
        add(commands)
    return parser


def _add_survey(commands: Any) -> None:
    survey = _command(commands, "survey", "survey.survey", "check a system against the rules",
        "Check a system document against every rule and say what fails, by how much and what to try.",
        "limitrules survey lakeside.yaml --fail-on damage",
        ("text", "html", "markdown", "json", "sarif", "junit"))  # fmt: skip
    _add_system(survey)
    survey.add_argument("--fail-on", choices=CLASSES, default="outage", metavar="CLASS",
        help="the mildest class that makes the survey fail: %(choices)s (default: %(default)s);"
        " an undetermined hazard always fails")  # fmt: skip
    survey.add_argument("--certify", metavar="FILE", type=Path,
        help="write here what a small independent checker needs to prove each finding anew")  # fmt: skip


def _add_why(commands: Any) -> None:
    why = _command(commands, "why", "survey.why", "the whole argument behind a finding",
        "Show how a verdict comes about: every clause of the rule, every value and the line that states it,\n"
        "what governs, what was assumed, what is missing, and the worst corner of the tolerances.",
        "limitrules why lakeside.yaml limit-ladder-ordered packs.north")  # fmt: skip
    _add_system(why)
    why.add_argument("rule", metavar="RULE", help="the name of a rule, as a survey shows it")
    why.add_argument("subject", metavar="SUBJECT", nargs="?",
        help="only on this: packs.north, or several with commas; `site` for the site")  # fmt: skip


def _add_vocabulary(commands: Any) -> None:
    vocabulary = _command(commands, "vocabulary", "reference.vocabulary", "what a system document can state",
        "List the kinds of components, or all that can be stated of one kind, with units.",
        "limitrules vocabulary pack", asks=())  # fmt: skip
    vocabulary.add_argument("kind", metavar="KIND", nargs="?", help='a kind, such as pack or "current protection"')


def _add_rehearse(commands: Any) -> None:
    from limitrules.commands.rehearse import EPILOG, add_options

    rehearse = _command(commands, "rehearse", "rehearse.run", "what happens in the seconds after an event",
        "Simulate an event on a system, at the nominal figures and at the worst corner of the tolerances found:\n"
        "who acts, when and at what figure, how near everything else came, whether supply is lost.",
        f"limitrules rehearse lakeside.yaml pack-leaves --picture leaves.svg\n\n{EPILOG}",
        formats=("text", "json", "csv"), asks=())  # fmt: skip
    add_options(rehearse)


def _add_window(commands: Any) -> None:
    from limitrules.commands.window import add_options

    window = _command(commands, "window", "window.run", "which values a setting may have",
        "All values of a setting, on its own resolution, for which every rule holds whatever the tolerances do,\n"
        "the rest of the system as it is; which rule ends them, and where the present value lies.",
        "limitrules window lakeside.yaml converters.main.charge.ceiling")  # fmt: skip
    add_options(window)


def _add_propose(commands: Any) -> None:
    from limitrules.commands.propose import add_options

    propose = _command(commands, "propose", "propose.run", "which values the settings should have",
        "Look for values of all settings together so that fewer rules fail: first safe, then without outages, then\n"
        "nothing stranded. Every finding is surveyed anew with the proposed values before they are shown.",
        "limitrules propose lakeside.yaml --apply proposed.yaml")  # fmt: skip
    add_options(propose)


def _add_compare(commands: Any) -> None:
    from limitrules.commands.compare import add_options

    compare = _command(commands, "compare", "compare.run", "what a change does",
        "Compare two states of a system: which values differ, which findings come out in another way, and which\n"
        "tests are due again, since nothing may be relied on outside of what it was shown for.",
        "limitrules compare lakeside-may.yaml lakeside.yaml")  # fmt: skip
    add_options(compare)


def _add_rulepack(commands: Any) -> None:
    rulepack = commands.add_parser("rulepack", help="look into the rulepacks",
        description="Look into the rulepacks that can be used.",
        epilog="example:  limitrules rulepack show governing")  # fmt: skip
    rulepack.set_defaults(leaf=rulepack)
    below = rulepack.add_subparsers(metavar="list|show|prove|new", dest="part", title="commands")
    _command(below, "list", "reference.rulepack_list", "the rulepacks by name",
        "List the rulepacks with version and title.", "limitrules rulepack list")  # fmt: skip
    show = _command(below, "show", "reference.rulepack_show", "the rules of one, or one rule",
        "Show the parameters and rules of a rulepack, or one rule as it is written.",
        "limitrules rulepack show governing limit-ladder-ordered")  # fmt: skip
    show.add_argument("name", metavar="NAME", help="the name of a rulepack")
    show.add_argument("rule", metavar="RULE", nargs="?", help="the name of one of its rules")
    _add_prove(below)


def _add_prove(below: Any) -> None:
    from limitrules.commands.prove import add_options

    prove = _command(below, "prove", "prove.run", "whether the cases hold and notice faults",
        "Run the cases of rulepacks, then try small faults in every rule: a comparison turned round, a margin\n"
        "dropped, lowest for highest, another attribute, a slip by a thousand. The cases have to notice each.",
        "limitrules rulepack prove our-sites", asks=("functions",))  # fmt: skip
    add_options(prove)

    from limitrules.commands.new import add_options as add_new

    new = _command(below, "new", "new.run", "a small rulepack to begin with",
        "Write a rulepack with one rule, a base system and cases that notice every small fault of it.",
        "limitrules rulepack new our-sites", asks=())  # fmt: skip
    add_new(new)


_COMMANDS: Mapping[str, Callable[[Any], None]] = {
    "survey": _add_survey,
    "why": _add_why,
    "rehearse": _add_rehearse,
    "window": _add_window,
    "propose": _add_propose,
    "compare": _add_compare,
    "vocabulary": _add_vocabulary,
    "rulepack": _add_rulepack,
}


def _command(
    commands: Any, name: str, run: str, help_line: str, description: str, example: str,
    formats: tuple[str, ...] = ("text", "json"), asks: tuple[str, ...] = ("rulepack", "functions"),
) -> argparse.ArgumentParser:  # fmt: skip
    parser: argparse.ArgumentParser = commands.add_parser(
        name, help=help_line, description=description, epilog=f"example:  {example}"
    )
    parser.set_defaults(run=run, leaf=parser)
    parser.add_argument("--format", choices=formats, default="text", metavar="FORM",
        help="%(choices)s; the first ones are for people (default: text)")  # fmt: skip
    parser.add_argument("--out", metavar="FILE", type=Path, help="write to this file; a file read is never overwritten")
    parser.add_argument("--colour", choices=("auto", "never", "always"), default="auto",
        help="colour in text; auto: when a person watches (default: auto)")  # fmt: skip
    if "rulepack" in asks:
        parser.add_argument("--rulepack", action="append", default=[], metavar="NAME|PATH",
            help="use this rulepack, by name or folder; may be repeated (default: all that are shipped)")  # fmt: skip
    if "functions" in asks:
        parser.add_argument("--functions", action="append", default=[], metavar="NAME",
            help="let rules call the functions of this installed plugin, which runs its code; repeatable")  # fmt: skip
    return parser


def _add_system(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("system", metavar="SYSTEM", help="the system document, a YAML file")
    parser.add_argument("--concessions", metavar="FILE", help="findings that were accepted: who, why, until when")


def _parsed(words: Sequence[str]) -> Arguments:
    parser = build_parser(words[0] if words else "")
    if words and words[0].startswith("--") and words[0] not in ("--help", "--version"):
        raise _Usage(f"`{words[0]}` stands before the command; options come after it", parser)
    arguments, extra = parser.parse_known_args(words)
    leaf = getattr(arguments, "leaf", parser)
    if extra:
        raise _Usage("unrecognized arguments: " + " ".join(extra), leaf)
    if not hasattr(arguments, "run"):
        raise _Usage("the following arguments are required: a command", leaf)
    return arguments


def _usage_diagnostic(error: _Usage) -> Diagnostic:
    from limitrules.report.usage import usage_diagnostic

    return usage_diagnostic(error.message, error.parser.prog, error.parser._option_string_actions)


# ---------------------------------------------------------------- running


def main(argv: Sequence[str] | None = None) -> int:
    """Run the command that the words make; the exit code."""
    if argv is not None:
        return _run(argv)
    # One answer and the process ends: looking for garbage as often as usual would only take time, and so would
    # taking apart at the end what goes with the process anyway.
    gc.set_threshold(2_000_000, 50, 50)
    try:
        return _run(sys.argv[1:])
    finally:
        gc.freeze()


def _run(words: Sequence[str]) -> int:
    if list(words) == ["--version"]:  # the commonest question of scripts needs no parser
        print(f"limitrules {VERSION}")
        return NOTHING_FAILS
    code = NOTHING_FAILS
    try:
        try:
            arguments = _parsed(words)
        except _Usage as error:
            return _refused([_usage_diagnostic(error)], json=_asks_for_json(words))
        text, code = _answer(arguments)
        try:
            if text:
                _write(sys.stdout, text)
            sys.stdout.flush()
        except OSError as error:
            if isinstance(error, BrokenPipeError):
                raise
            _let_go_of_stdout()
            print(f"The answer cannot be written: {error.strerror or error}.", file=sys.stderr)
            return UNUSABLE_INPUT
    except SystemExit as ending:  # argparse ends so after --help and --version
        return ending.code if isinstance(ending.code, int) else NOTHING_FAILS
    except KeyboardInterrupt:
        print("\nStopped before the end.", file=sys.stderr)
        return STOPPED
    except BrokenPipeError:
        # Whoever reads has seen enough: the answer stands, only nobody is there for the rest.
        _let_go_of_stdout()
    except Exception as error:  # noqa: BLE001  - the last floor: whatever comes here is our own fault
        return _own_fault(error)
    return code


def _answer(arguments: Arguments) -> Answer:
    """The text to show and the exit code; where the input cannot be used, that is what is told."""
    from limitrules.foundation.diagnostics import Diagnostic, InputError
    from limitrules.report.output import check_target, write_whole

    try:
        if arguments.out is not None:
            check_target(arguments.out, inputs(arguments))
        text, code = _run_of(arguments)(arguments)
        if arguments.out is None:
            return text, code
        write_whole(arguments.out, text)
    except InputError as error:
        return "", _refused(error.diagnostics, json=arguments.format == "json")
    except OSError as error:
        if not _is_about(error, arguments):
            raise
        reason = f"this cannot be read: {error.strerror or type(error).__name__}"
        found = Diagnostic("cannot-read", reason, where=str(error.filename))
        return "", _refused([found], json=arguments.format == "json")
    _write(sys.stderr, f"Written to {arguments.out}\n")
    return "", code


def _run_of(arguments: Arguments) -> Callable[[Arguments], Answer]:
    """The function that carries out a command; only its own module is imported."""
    from importlib import import_module

    module, _, name = arguments.run.partition(".")
    arguments.look, arguments.progress = partial(_look, arguments), _progress
    run: Callable[[Arguments], Answer] = getattr(import_module(f"limitrules.commands.{module}"), name)
    return run


def _progress(words: str) -> None:
    """Show how far it is in place of what was shown before, where a person watches; empty words clear it."""
    if sys.stderr.isatty():
        sys.stderr.write(f"\r{words:<70}\r" if not words else f"\r{words:<70}")
        sys.stderr.flush()


def _is_about(error: OSError, arguments: Arguments) -> bool:
    """True where the system refused one of the files that the user named."""
    if not isinstance(error.filename, str):
        return False
    failed = Path(error.filename)
    return any(failed == path or path in failed.parents for path in inputs(arguments))


def _refused(diagnostics: Sequence[Diagnostic], *, json: bool) -> int:
    """Tell people on stderr, and programs on stdout as well, why the input cannot be used."""
    if json:
        from limitrules.report.data import as_json, diagnostics_data

        _write(sys.stdout, as_json(diagnostics_data(diagnostics)))
        sys.stdout.flush()
    from limitrules.report.layout import printable

    _write(sys.stderr, printable("\n\n".join(item.render() for item in diagnostics)) + "\n")
    return UNUSABLE_INPUT


def _asks_for_json(words: Sequence[str]) -> bool:
    return "--format=json" in words or "--format json" in " ".join(words)


def _write(stream: Any, text: str) -> None:
    from limitrules.report.layout import fitted

    stream.write(fitted(text, stream.encoding))


def _let_go_of_stdout() -> None:
    """Point stdout nowhere, so that Python does not complain of the closed pipe when it ends."""
    try:
        with open(os.devnull, "wb") as nowhere:
            os.dup2(nowhere.fileno(), sys.stdout.fileno())
    except (OSError, ValueError):
        return


def _own_fault(error: Exception) -> int:
    from limitrules.report.usage import own_fault_words

    _write(sys.stderr, own_fault_words(error))
    if os.environ.get("LIMITRULES_TRACEBACK") == "1":
        import traceback

        traceback.print_exception(error, file=sys.stderr)
    return OWN_FAULT
