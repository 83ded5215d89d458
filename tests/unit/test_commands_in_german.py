"""Commands answer in the language of the settings: what they did, what they found, and what went wrong."""

from datetime import timedelta
from pathlib import Path

import pytest

from monitor import cli
from monitor.alerts.dough import Alert, AlertKind, Change, Phase, Sort, Subject
from monitor.alerts.reasons import TroubleSeen
from monitor.alerts.troubles import DiskNearlyFull
from monitor.clock import SystemClock
from monitor.recipe.batch import Batch, BatchId, Stage
from monitor.recipe.vessel import Shape, Vessel
from monitor.settings.data_dir import DATABASE_NAME
from monitor.store.store import Store

BAKERY = 'timezone = "UTC"\nlanguage = "de"\n'
NO_SALT = """
name = "Hill loaf"

[[part]]
name = "dough"
[part.ingredients]
"white flour" = "1000 g"
water = "650 g"
"fresh yeast" = "10 g"
"""
TUB = Vessel(Shape.ROUND, (180, 180), (210, 210), 250)


@pytest.fixture
def bakery(tmp_path: Path) -> Path:
    (tmp_path / "config.toml").write_text(BAKERY)
    return tmp_path


@pytest.fixture
def running(bakery: Path) -> Path:
    """One batch, and a trouble of the monitor."""
    now = SystemClock().now()
    since = now - timedelta(minutes=10)
    with Store(bakery / DATABASE_NAME) as store:
        store.batches.add(Batch(BatchId(0), "Hill loaf", Stage.FIRST_RISE, now - timedelta(hours=1), TUB))
        reason = TroubleSeen(DiskNearlyFull("/data"))
        disk = Subject(Sort.MONITOR, "disk")
        trouble = Alert(disk, AlertKind.TROUBLE, 1, since, since, called_at=since, reason=reason)
        store.alerts.save([trouble], [], [Change(disk, AlertKind.TROUBLE, 1, since, Phase.UNACKNOWLEDGED, reason)], now)
    return bakery


def said(capsys: pytest.CaptureFixture[str], data_dir: Path, *words: str, status: int = 0) -> str:
    assert cli.main([*words, "--data-dir", str(data_dir)]) == status
    told = capsys.readouterr()
    return told.out + told.err


def test_a_batch_is_listed_and_noted(capsys: pytest.CaptureFixture[str], running: Path) -> None:
    assert "noch nicht geschätzt" in said(capsys, running, "batch", "list")
    assert "Teig 1: Hill loaf: eingetragen: " in said(capsys, running, "batch", "event", "1", "fold")


def test_what_went_wrong_is_told(capsys: pytest.CaptureFixture[str], running: Path) -> None:
    told = said(capsys, running, "batch", "end", "7", status=2)
    assert "hat keinen Teig 7; siehe die Liste der Teige" in told
    missing = said(capsys, running / "elsewhere", "batch", "list", status=2)
    assert "no batch was ever started here" in missing, "without settings it is English"


def test_a_fault_of_the_settings_is_told_in_english(capsys: pytest.CaptureFixture[str], running: Path) -> None:
    """Settings that cannot be read say nothing of the language either."""
    (running / "config.toml").write_text(BAKERY + 'clock = "13"\n')
    assert "clock = '13' is not known" in said(capsys, running, "alerts", "list", status=2)


def test_reasons_of_alerts_are_told(capsys: pytest.CaptureFixture[str], running: Path) -> None:
    reason = "der Datenträger unter /data ist fast voll; was zu tun ist: Platz darauf schaffen"
    assert reason in said(capsys, running, "alerts", "list")
    assert f"nicht quittiert ({reason})" in said(capsys, running, "alerts", "history")


def test_what_does_not_add_up_is_told(capsys: pytest.CaptureFixture[str], bakery: Path) -> None:
    recipe = bakery / "loaf.toml"
    recipe.write_text(NO_SALT)
    told = said(capsys, bakery, "formula", "check", str(recipe), status=2)
    assert "es ist kein Salz darin" in told
    assert "no salt" not in told


def test_check_reports(capsys: pytest.CaptureFixture[str], bakery: Path) -> None:
    told = said(capsys, bakery, "check", status=1)
    for line in (
        "Einstellungen: kein Fehler gefunden",
        "Sammler: läuft hier nicht",
        "Quellen: keine eingestellt, also kann keine Messung kommen",
        "was zu tun ist: ",
    ):
        assert line in told
    for english in ("what to do", "settings in force", "no fault", "not running here"):
        assert english not in told
