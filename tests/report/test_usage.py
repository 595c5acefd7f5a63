from __future__ import annotations

import pytest

from limitrules.report.usage import own_fault_words, usage_diagnostic

OPTIONS = ("-h", "--help", "--format", "--fail-on")


@pytest.mark.parametrize(
    ("message", "told", "advice"),
    [
        ("argument COMMAND: invalid choice: 'survay' (choose from 'survey', 'why')", "`survay` is not a command",
         "survey"),
        ("argument COMMAND: invalid choice: 'survay' (choose from survey, why)", "`survay` is not a command", "survey"),
        ("argument COMMAND: invalid choice: 'a.yaml' (choose from 'survey', 'why')", "`a.yaml` is not a command",
         "limitrules survey a.yaml"),
        ("argument --format: invalid choice: 'jsn' (choose from 'text', 'json')", "`jsn` is not a value of --format",
         "json"),
        ("unrecognized arguments: --fail-no damage", "`--fail-no` is not an option of limitrules survey", "--fail-on"),
        ("unrecognized arguments: --zzz=4", "`--zzz` is not an option of limitrules survey",
         "limitrules survey --help"),
        ("unrecognized arguments: more", "`more` is one word too many", "limitrules survey --help"),
        ("the following arguments are required: SYSTEM", "SYSTEM is missing", "limitrules survey --help"),
        ("argument --out: expected one argument", "--out needs a value after it", "limitrules survey --help"),
        ("something new", "something new", "limitrules survey --help"),
    ],
)  # fmt: skip
def test_what_was_typed_wrongly_is_told_with_what_was_meant(message: str, told: str, advice: str) -> None:
    diagnostic = usage_diagnostic(message, "limitrules survey", OPTIONS)
    assert (diagnostic.message, diagnostic.advice) == (told, advice)
    assert diagnostic.code == "usage"


def test_our_own_fault_is_told_with_the_place_in_our_code() -> None:
    with pytest.raises(TypeError) as caught:
        usage_diagnostic(None, "limitrules", ())  # type: ignore[arg-type]
    words = " ".join(own_fault_words(caught.value).split())
    assert words.startswith("This is our own fault, not yours")
    assert "TypeError at limitrules/report/usage.py, line " in words


def test_a_fault_elsewhere_is_told_without_a_place() -> None:
    assert "(ValueError)" in own_fault_words(ValueError("x"))
