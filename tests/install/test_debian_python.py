"""Debian's newest Python: the system's sources of packages, in both formats, moved to the suites it is taken from."""

from __future__ import annotations

import debian_python
import pytest

LINES = """\
# deb http://off.invalid/debian bookworm main
deb http://one.invalid/debian bookworm main contrib # ours
deb [arch=amd64 signed-by=/keys/one.gpg] http://two.invalid/debian bookworm main
deb http://one.invalid/debian bookworm-updates main
deb http://one.invalid/debian-security bookworm-security main
deb-src http://one.invalid/debian bookworm main
deb http://vendor.invalid/apt nodistro main
"""
STANZAS = """\
Types: deb deb-src
# a remark
URIs: http://three.invalid/debian
Suites: bookworm
 bookworm-updates
Components: main
Signed-By:
 -----BEGIN PGP PUBLIC KEY BLOCK-----
 .
 -----END PGP PUBLIC KEY BLOCK-----

Types: deb
URIs: http://three.invalid/debian-security
Suites: bookworm-security
Components: main

Types: deb-src
URIs: http://three.invalid/debian
Suites: bookworm
Components: main
"""
MOVED_LINES = """\
deb http://one.invalid/debian stable main contrib
deb http://one.invalid/debian testing main contrib
deb [arch=amd64 signed-by=/keys/one.gpg] http://two.invalid/debian stable main
deb [arch=amd64 signed-by=/keys/one.gpg] http://two.invalid/debian testing main
"""
MOVED_STANZA = """\
Types: deb
Suites: stable testing
URIs: http://three.invalid/debian
Components: main
Signed-By:
 -----BEGIN PGP PUBLIC KEY BLOCK-----
 .
 -----END PGP PUBLIC KEY BLOCK-----

"""


def test_the_sources_of_the_release_are_moved_and_no_others(tmp_path):
    system, folder = tmp_path / "system", tmp_path / "sources"
    (system / "sources.list.d").mkdir(parents=True)
    (system / "sources.list").write_text(LINES)
    (system / "sources.list.d" / "debian.sources").write_text(STANZAS)
    (system / "sources.list.d" / "vendor.list").write_text("deb http://vendor.invalid/apt nodistro main\n")
    (system / "sources.list.d" / "old.list.disabled").write_text(LINES)
    debian_python.write_sources(system, folder, {"bookworm"})
    written = {file.name: file.read_text() for file in folder.iterdir()}
    assert written == {"sources.list": MOVED_LINES, "debian.sources": MOVED_STANZA}


def test_a_system_without_sources_of_its_release_is_told(tmp_path):
    (tmp_path / "sources.list").write_text("deb http://vendor.invalid/apt nodistro main\n")
    with pytest.raises(LookupError, match="no source of bookworm"):
        debian_python.write_sources(tmp_path, tmp_path / "sources", {"bookworm"})


def test_no_apt_is_told(tmp_path, monkeypatch):
    monkeypatch.setenv("PATH", str(tmp_path))
    with pytest.raises(LookupError, match="no apt-get here"):
        debian_python.newest(tmp_path)
