"""Installed files are held against the record of their package."""

import base64
import hashlib
from importlib.metadata import PathDistribution
from pathlib import Path

import pytest

from monitor.cli import main
from monitor.deploy.installed import looked_at_installed


@pytest.fixture
def package(tmp_path: Path) -> Path:
    """An installed package of two files, with its record."""
    info = tmp_path / "bench-1.0.dist-info"
    info.mkdir()
    (info / "METADATA").write_text("Metadata-Version: 2.1\nName: bench\nVersion: 1.0\n")
    (tmp_path / "bench.py").write_bytes(b"a = 1\n")
    (tmp_path / "other.py").write_bytes(b"")
    lines = []
    for name in ("bench.py", "other.py"):
        digest = base64.urlsafe_b64encode(hashlib.sha256((tmp_path / name).read_bytes()).digest()).rstrip(b"=").decode()
        lines.append(f"{name},sha256={digest},6")
    (info / "RECORD").write_text("\n".join([*lines, "bench-1.0.dist-info/RECORD,,", ""]))
    return info


def test_files_as_they_were_installed_are_counted(package: Path) -> None:
    (found,) = looked_at_installed([PathDistribution(package)])
    assert (str(found.what), found.mend) == ("installed: 2 files are as they were installed", None)


def test_a_changed_file_and_one_that_is_gone_are_named(package: Path) -> None:
    (package.parent / "bench.py").write_bytes(b"a = 2\n")
    (package.parent / "other.py").unlink()
    found = list(looked_at_installed([PathDistribution(package)]))
    assert [str(each.what).partition(" is ")[0] for each in found] == [
        "installed: bench: bench.py", "installed: bench: other.py",
    ]  # fmt: skip
    assert all(each.mend for each in found)


def test_check_looks_when_asked(
    package: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("monitor.commands.check.distributions", lambda: [PathDistribution(package)])
    main(["check", "--installed", "--data-dir", str(tmp_path / "data")])
    assert "2 files are as they were installed" in capsys.readouterr().out
    main(["check", "--data-dir", str(tmp_path / "data")])
    assert "were installed" not in capsys.readouterr().out
