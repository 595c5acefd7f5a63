from __future__ import annotations

import os
import stat
import sys
from pathlib import Path

import pytest

from limitrules.foundation.diagnostics import InputError
from limitrules.report.output import check_target, write_whole

posix_only = pytest.mark.skipif(sys.platform == "win32", reason="modes and devices of POSIX")


def code_of(caught: pytest.ExceptionInfo[InputError]) -> str:
    (diagnostic,) = caught.value.diagnostics
    return diagnostic.code


@pytest.fixture
def system(tmp_path: Path) -> Path:
    file = tmp_path / "system.yaml"
    file.write_text("limitrules: system/1\n", encoding="utf-8")
    return file


def test_a_report_is_written_whole_and_in_utf_8(tmp_path: Path) -> None:
    target = tmp_path / "report.txt"
    write_whole(target, "96 A ± 1.5 %\n")
    assert target.read_bytes() == "96 A ± 1.5 %\n".encode()
    assert os.listdir(tmp_path) == ["report.txt"]  # noqa: PTH208  - hidden files too


@posix_only
def test_the_mode_is_that_of_any_new_file_or_of_the_old_one(tmp_path: Path) -> None:
    target = tmp_path / "report.txt"
    usual = tmp_path / "usual"
    usual.touch()
    write_whole(target, "new")
    assert stat.S_IMODE(target.stat().st_mode) == stat.S_IMODE(usual.stat().st_mode)
    target.chmod(0o640)
    write_whole(target, "newer")
    assert stat.S_IMODE(target.stat().st_mode) == 0o640


@posix_only
def test_a_link_stays_a_link(tmp_path: Path) -> None:
    real, link = tmp_path / "real.txt", tmp_path / "link.txt"
    real.write_text("old", encoding="utf-8")
    link.symlink_to(real)
    write_whole(link, "new")
    assert link.is_symlink()
    assert real.read_text(encoding="utf-8") == "new"


def test_when_writing_fails_the_old_report_is_untouched(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    target = tmp_path / "report.txt"
    target.write_text("old", encoding="utf-8")

    def full(_: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(InputError) as caught:
        write_whole(target, "new")
    assert code_of(caught) == "out-not-written"
    assert "No space left on device" in str(caught.value)
    assert target.read_text(encoding="utf-8") == "old"
    assert [path.name for path in tmp_path.iterdir()] == ["report.txt"]


def test_a_file_that_is_read_is_refused_under_any_name(system: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(system.parent)
    other = system.parent / "deeper"
    other.mkdir()
    for target in (system, Path("system.yaml"), Path("./deeper/../system.yaml")):
        with pytest.raises(InputError) as caught:
            check_target(target, [system])
        assert code_of(caught) == "out-is-input"


@posix_only
def test_links_to_a_file_that_is_read_are_refused(system: Path) -> None:
    soft, hard = system.with_name("soft.yaml"), system.with_name("hard.yaml")
    soft.symlink_to(system)
    hard.hardlink_to(system)
    for target in (soft, hard):
        with pytest.raises(InputError) as caught:
            check_target(target, [system])
        assert code_of(caught) == "out-is-input"


def test_nothing_is_written_into_a_rulepack_that_is_read(tmp_path: Path) -> None:
    folder = tmp_path / "house"
    folder.mkdir()
    with pytest.raises(InputError) as caught:
        check_target(folder / "cases.yaml", [folder])
    assert code_of(caught) == "out-is-input"


def test_a_folder_or_a_missing_folder_is_refused(tmp_path: Path) -> None:
    with pytest.raises(InputError) as caught:
        check_target(tmp_path, [])
    assert code_of(caught) == "out-is-folder"
    with pytest.raises(InputError) as caught:
        check_target(tmp_path / "nowhere" / "report.txt", [])
    assert code_of(caught) == "out-folder-missing"


@posix_only
def test_a_device_is_refused() -> None:
    with pytest.raises(InputError) as caught:
        check_target(Path(os.devnull), [])
    assert code_of(caught) == "out-is-no-file"


def test_another_file_is_welcome(system: Path) -> None:
    existing = system.with_name("old-report.txt")
    existing.touch()
    check_target(existing, [system, Path("governing")])
    check_target(system.with_name("report.txt"), [system])
