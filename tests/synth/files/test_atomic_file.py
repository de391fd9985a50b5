"""Files appear whole or not at all."""

from __future__ import annotations

import errno
import os
import stat
import sys
from pathlib import Path

import pytest

from synth.errors import DesignError, DeviceError
from synth.files.atomic_file import atomic_path, write_text


def test_writes_and_leaves_nothing_else(tmp_path: Path) -> None:
    target = tmp_path / "a.txt"
    with atomic_path(target) as temporary:
        assert temporary.parent == tmp_path
        assert temporary.suffix == ".txt"
        assert not target.exists()
        temporary.write_text("whole")
    assert target.read_text() == "whole"
    assert os.listdir(tmp_path) == ["a.txt"]


@pytest.mark.skipif(os.name != "posix", reason="rights as on POSIX systems")
def test_rights_follow_the_umask(tmp_path: Path) -> None:
    write_text(tmp_path / "a.txt", "x")
    (tmp_path / "plain.txt").write_text("x")
    modes = {stat.S_IMODE((tmp_path / name).stat().st_mode) for name in ("a.txt", "plain.txt")}
    assert len(modes) == 1


def test_refuses_an_existing_file_and_replaces_it_with_force(tmp_path: Path) -> None:
    target = tmp_path / "a.txt"
    target.write_text("old")
    with pytest.raises(DesignError, match="--force"):
        write_text(target, "new")
    assert target.read_text() == "old"
    write_text(target, "new", force=True)
    assert target.read_text() == "new"


def test_a_replaced_file_keeps_its_mode_and_a_protected_one_stays(tmp_path: Path) -> None:
    path = tmp_path / "report.txt"
    write_text(path, "old")
    path.chmod(0o640)
    write_text(path, "new", force=True)
    assert stat.S_IMODE(path.stat().st_mode) == 0o640
    path.chmod(0o440)
    with pytest.raises(DesignError, match="write-protected"):
        write_text(path, "newer", force=True)
    assert path.read_text("utf-8") == "new"


def test_a_file_that_appears_meanwhile_is_not_overwritten(tmp_path: Path) -> None:
    target = tmp_path / "a.txt"

    def write() -> None:
        with atomic_path(target) as temporary:
            temporary.write_text("mine")
            target.write_text("someone else's")

    with pytest.raises(DesignError, match="exists already"):
        write()
    assert target.read_text() == "someone else's"
    assert os.listdir(tmp_path) == ["a.txt"]


@pytest.mark.parametrize("error", [RuntimeError("boom"), KeyboardInterrupt()])
def test_an_error_inside_leaves_the_old_file(tmp_path: Path, error: BaseException) -> None:
    target = tmp_path / "a.txt"
    target.write_text("old")

    def write() -> None:
        with atomic_path(target, force=True) as temporary:
            temporary.write_text("half")
            raise error

    with pytest.raises(type(error)):
        write()
    assert target.read_text() == "old"
    assert os.listdir(tmp_path) == ["a.txt"]


def test_refuses_names_that_cannot_be_files(tmp_path: Path) -> None:
    for bad in (tmp_path, tmp_path / "missing" / "a.txt", tmp_path / "nul\0name", tmp_path / ("x" * 300 + ".txt")):
        with pytest.raises(DesignError):
            write_text(bad, "x")
    assert os.listdir(tmp_path) == []


@pytest.mark.skipif(not os.path.exists("/dev/null"), reason="no /dev/null here")
def test_never_replaces_a_device() -> None:
    with pytest.raises(DesignError, match="device"):
        write_text("/dev/null", "x", force=True)
    assert not Path("/dev/null").is_file()


@pytest.mark.skipif(sys.platform == "win32", reason="links need rights on Windows")
def test_a_link_is_followed(tmp_path: Path) -> None:
    (tmp_path / "real.txt").write_text("old")
    (tmp_path / "link.txt").symlink_to("real.txt")
    write_text(tmp_path / "link.txt", "new", force=True)
    assert (tmp_path / "link.txt").is_symlink()
    assert (tmp_path / "real.txt").read_text() == "new"


@pytest.mark.parametrize(("number", "word"), [(errno.ENOSPC, "no space"), (errno.EACCES, "not allowed")])
def test_disk_trouble_is_a_device_error(tmp_path: Path, number: int, word: str) -> None:
    with pytest.raises(DeviceError, match=word), atomic_path(tmp_path / "a.txt"):
        raise OSError(number, os.strerror(number))
    assert os.listdir(tmp_path) == []


@pytest.mark.skipif(os.name != "posix" or os.geteuid() == 0, reason="a superuser may write anywhere")
def test_a_locked_folder_is_a_device_error(tmp_path: Path) -> None:
    tmp_path.chmod(0o500)
    try:
        with pytest.raises(DeviceError, match="not allowed"):
            write_text(tmp_path / "a.txt", "x")
    finally:
        tmp_path.chmod(0o700)
