"""Finding rulepacks and functions: bundled, in folders, and of installed distributions whose code is left alone."""

from __future__ import annotations

import sys
from importlib import invalidate_caches
from pathlib import Path

import pytest

from limitrules.foundation.diagnostics import InputError
from limitrules.language.functions import STANDARD
from limitrules.rules.discovery import RULEPACK_POINTS, Found, _may_hold, bundled, find, installed, load_functions
from limitrules.rules.rulepack import load_rulepacks
from tests.rules.support import document, rule

MANIFEST = document("rules:\n", "coastal") + rule("each pack p", "p.charge.rated above 3 A")
PLUGIN = """\
from limitrules.foundation.dimension import NUMBER
from limitrules.foundation.kinds import Quantity
from limitrules.language.functions import Argument, Direction, Function

SHARE = Quantity(NUMBER)
twice = Function("twice", "Two times a value.", (Argument("value", "a share", SHARE, Direction.RISES),),
                 lambda types: SHARE, lambda value: (2 * value, 2 * value))
good = [twice]
not_functions = [twice, "twice"]
no_list = 17
clash = [Function("sqrt", "Another root.", twice.arguments, twice.result, twice.point)]
malformed = [Function("two-times", "", twice.arguments, twice.result, twice.point)]
"""


@pytest.fixture
def site(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder on the path in which distributions can be installed."""
    folder = tmp_path / "site"
    folder.mkdir()
    monkeypatch.syspath_prepend(str(folder))
    invalidate_caches()
    return folder


def install(site: Path, name: str, group: str, **points: str) -> None:
    """A distribution with entry points, as an installer leaves it."""
    info = site / f"{name}-1.0.dist-info"
    info.mkdir()
    (info / "METADATA").write_text(f"Metadata-Version: 2.1\nName: {name}\nVersion: 1.0\n", encoding="utf-8")
    lines = "".join(f"{point} = {value}\n" for point, value in points.items())
    (info / "entry_points.txt").write_text(f"[{group}]\n{lines}", encoding="utf-8")


@pytest.fixture
def coastal(site: Path) -> Path:
    """An installed data rulepack, in a package that must not be imported."""
    package = site / "coastal_rules"
    folder = package / "rulepacks" / "coastal"
    folder.mkdir(parents=True)
    (folder / "rulepack.yaml").write_text(MANIFEST, encoding="utf-8")
    for place in (package, package / "rulepacks"):
        (place / "__init__.py").write_text("raise RuntimeError('code of a data rulepack was run')\n", encoding="utf-8")
    install(site, "coastal-rules", "limitrules.rulepacks", coastal="coastal_rules.rulepacks.coastal")
    return folder


@pytest.mark.parametrize(
    ("place", "text", "expected"),
    [
        ("coastal-1.0.dist-info", f"[{RULEPACK_POINTS}]\ncoastal = coastal_rules", True),
        ("Coastal.EGG-INFO", f"[{RULEPACK_POINTS}]\ncoastal = coastal_rules", True),
        ("EGG-INFO", f"[{RULEPACK_POINTS}]\ncoastal = coastal_rules", True),
        ("coastal-1.0.dist-info", "[console_scripts]\ncoastal = coastal:main", False),
        ("coastal_rules", f"[{RULEPACK_POINTS}]\ncoastal = coastal_rules", False),
    ],
)
def test_a_folder_may_hold_a_rulepack_where_a_list_in_it_says_so(
    tmp_path: Path, place: str, text: str, expected: bool
) -> None:
    (tmp_path / place).mkdir()
    (tmp_path / place / "entry_points.txt").write_text(text, encoding="utf-8")
    assert _may_hold(str(tmp_path), RULEPACK_POINTS.encode()) is expected


def test_what_is_no_folder_may_hold_one_if_it_is_there(tmp_path: Path) -> None:
    archive = tmp_path / "all.zip"
    assert not _may_hold(str(archive), RULEPACK_POINTS.encode())
    archive.touch()
    assert _may_hold(str(archive), RULEPACK_POINTS.encode())


def plugin(site: Path, text: str = PLUGIN, **points: str) -> None:
    name = f"trial_plugin_{len(list(site.iterdir()))}_{site.parent.name.replace('-', '_')}"
    (site / f"{name}.py").write_text(text, encoding="utf-8")
    install(
        site,
        name.replace("_", "-"),
        "limitrules.functions",
        **{point: f"{name}:{value}" for point, value in points.items()},
    )


def said(*names: str | Path) -> str:
    with pytest.raises(InputError) as caught:
        find(names)
    return str(caught.value)


def said_of_functions(*names: str) -> str:
    with pytest.raises(InputError) as caught:
        load_functions(names)
    return str(caught.value)


# rulepacks


def test_the_bundled_ones_are_meant_where_none_is_named() -> None:
    assert find() == bundled()
    assert [item.name for item in bundled()] == sorted(item.name for item in bundled())
    assert {item.origin for item in bundled()} == {"bundled"}
    assert "governing" in [item.name for item in bundled()]
    assert all((item.folder / "rulepack.yaml").is_file() for item in bundled())


def test_a_bundled_one_by_its_name() -> None:
    assert [item.name for item in find(["governing"])] == ["governing"]


def test_a_folder_and_its_file(tmp_path: Path) -> None:
    folder = tmp_path / "mine"
    folder.mkdir()
    (folder / "rulepack.yaml").write_text(MANIFEST, encoding="utf-8")
    expected = [Found("mine", folder, "folder")]
    assert find([folder]) == expected
    assert find([str(folder)]) == expected
    assert [item.folder for item in find([folder / "rulepack.yaml"])] == [folder]
    assert len(find([folder, folder, folder / "rulepack.yaml"])) == 1


def test_an_installed_one_is_found_and_none_of_its_code_is_run(coastal: Path) -> None:
    before = set(sys.modules)
    assert Found("coastal", coastal, "coastal-rules") in installed()
    assert find(["coastal"]) == [Found("coastal", coastal, "coastal-rules")]
    (pack,) = load_rulepacks([item.folder for item in find(["coastal"])])
    assert list(pack.rules) == ["a-rule"]
    assert not [name for name in set(sys.modules) - before if name.startswith("coastal")]


def test_an_installed_one_does_not_take_part_unasked(coastal: Path) -> None:
    assert "coastal" not in [item.name for item in find()]


def test_an_installed_one_without_its_manifest(coastal: Path) -> None:
    (coastal / "rulepack.yaml").unlink()
    assert said("coastal") == (
        f"{coastal}: the distribution `coastal-rules` announces the rulepack `coastal`, but there is no "
        "`rulepack.yaml` in its folder [rulepack-incomplete]\n"
        "  try: install the distribution again, or ask its authors"
    )


def test_unknown_names_are_suggested(coastal: Path) -> None:
    found = said("costal", "govrning", "zzz")
    assert [line for line in found.splitlines() if "there is no rulepack" in line] == [
        "costal: there is no rulepack `costal` [no-rulepack]",
        "govrning: there is no rulepack `govrning` [no-rulepack]",
        "zzz: there is no rulepack `zzz` [no-rulepack]",
    ]
    assert found.count("  try: ") == 2
    assert "  try: `coastal`" in found
    assert "  try: `governing`" in found
    assert ", or a folder" in found


def test_a_folder_without_a_rulepack(tmp_path: Path) -> None:
    assert said(tmp_path) == (
        f"{tmp_path}: the folder `{tmp_path}` holds no rulepack [no-rulepack]\n  expected: a file `rulepack.yaml` in it"
    )


# functions


def test_functions_are_added_where_they_are_named(site: Path) -> None:
    plugin(site, trial="good")
    assert "twice" not in load_functions([], STANDARD)
    registry = load_functions(["trial"], STANDARD)
    assert "twice" in registry
    assert "sqrt" in registry
    assert "twice" not in STANDARD


def test_a_plugin_that_is_not_named_is_not_run(site: Path) -> None:
    plugin(site, "raise RuntimeError('run unasked')\n", broken="good")
    plugin(site, trial="good")
    assert "twice" in load_functions(["trial"])
    assert installed() is not None


@pytest.mark.parametrize(
    ("text", "value", "message"),
    [
        (
            "raise RuntimeError('no licence')\n",
            "good",
            "the functions `trial` cannot be loaded: RuntimeError: no licence",
        ),
        (
            "import nothing_of_this_name\n",
            "good",
            "the functions `trial` cannot be loaded: ModuleNotFoundError: No module named 'nothing_of_this_name'",
        ),
        (PLUGIN, "goods", "the functions `trial` cannot be loaded: AttributeError: module "),
        (PLUGIN, "no_list", "the functions `trial` cannot be loaded: TypeError: 'int' object is not iterable"),
        (PLUGIN, "not_functions", "the functions `trial` hold str 'twice'"),
        (PLUGIN, "clash", "function 'sqrt': expected a new name; given `sqrt`, which exists already"),
        (
            PLUGIN,
            "malformed",
            (
                "function 'two-times': expected a name of letters, digits and _; given 'two-times'; "
                "expected a meaning in one sentence; given none"
            ),
        ),
        ("def f(:\n", "good", "the functions `trial` cannot be loaded: SyntaxError: "),
    ],
    ids=["raises", "missing module", "missing name", "no list", "no functions", "clash", "malformed", "no python"],
)
def test_a_broken_plugin_is_said_to_be_broken(site: Path, text: str, value: str, message: str) -> None:
    plugin(site, text, trial=value)
    found = said_of_functions("trial")
    assert message in found
    assert found.startswith("limitrules.functions: trial = ")
    assert "[functions-broken]" in found


def test_unknown_functions_are_suggested(site: Path) -> None:
    assert said_of_functions("trial").splitlines() == [
        "trial: there are no functions named `trial` [no-functions]",
        "  expected: none are installed",
    ]
    plugin(site, trial="good")
    assert said_of_functions("trail").splitlines()[1:] == ["  expected: trial", "  try: `trial`"]


def test_rules_call_the_functions_of_a_named_plugin(site: Path) -> None:
    from limitrules.engine.survey import Survey
    from limitrules.foundation.source import Source
    from limitrules.rules.rulepack import check_drafts, parse_draft
    from tests.rules.support import system

    plugin(site, trial="good")
    text = document("rules:\n") + rule("each pack p", "twice(p.soc.now) below 100 %")
    draft = parse_draft(Source("rulepack.yaml", text))
    with pytest.raises(InputError, match="`twice` is not a function that is known here"):
        check_drafts([draft])
    packs = check_drafts([draft], load_functions(["trial"]))
    built = system("packs: {a: {soc: {now: 49 % ± 0.5 %}}, b: {soc: {now: 50 % ± 1 %}}, c: {soc: {now: 60 %}}}\n")
    found = {item.subject: item.verdict.value for item in Survey(built, packs).result().findings}
    assert found == {"packs.a": "met", "packs.b": "marginal", "packs.c": "breached"}
