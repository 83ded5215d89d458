"""Settings of the upkeep, damaged files set aside, and the wait for a date."""

import io
import threading
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from harness import START
from made_up import batch_of

from monitor.alerts.dough import AlertKind, Message
from monitor.archive.backup import back_up
from monitor.archive.checks import looked_at_upkeep
from monitor.clock import SystemClock
from monitor.collector import service
from monitor.dough.outlook import Outlook, State
from monitor.errors import ConfigError, StoreError
from monitor.settings.config import Config, load_config
from monitor.settings.secrets import Secrets
from monitor.settings.upkeep import Upkeep, upkeep_from
from monitor.store.damage import damage_of, set_aside, set_aside_before
from monitor.store.store import Store


def test_upkeep_settings_and_all_their_faults() -> None:
    assert upkeep_from({}, Path("/data")) == (Upkeep(), [])
    table = {"backup_dir": "stick", "backup_every_h": 6, "backups_kept": 3, "metrics_port": 9464}
    assert upkeep_from(table, Path("/data")) == (Upkeep(Path("/data/stick"), 6.0, 3, 9464), [])
    assert upkeep_from({"keep_whole_days": 90}, Path("/data"))[0].keep_whole_days == 90
    assert upkeep_from({"keep_whole_days": 13}, Path("/data"))[1], "a node may still hold what it measured then"
    _, faults = upkeep_from(
        {"backup_dir": 1, "backup_every_h": 0, "backups_kept": 2.5, "metrics_port": "x", "bakup": 1}, Path("/data")
    )
    assert len(faults) == 5


def test_the_outside_watch_is_a_secret_and_a_web_address(tmp_path: Path) -> None:
    path = tmp_path / "secrets.toml"
    path.write_text('heartbeat_url = "file:///etc/passwd"\n')
    path.chmod(0o600)
    with pytest.raises(ConfigError, match="heartbeat_url must be"):
        load_config(tmp_path, {})
    path.write_text('heartbeat_url = "https://watch.example/key-42"\n')
    config = load_config(tmp_path, {})
    assert config.secrets.heartbeat_url == "https://watch.example/key-42"
    assert "key-42" not in repr(config)


def test_a_damaged_file_is_set_aside_whole(tmp_path: Path) -> None:
    path = tmp_path / "proofing.sqlite"
    assert damage_of(path) == ""
    Store(path).close()
    assert damage_of(path) == ""
    data = path.read_bytes()
    path.write_bytes(data[:4096] + b"\xa5" * (len(data) - 4096))
    assert damage_of(path)
    assert damage_of(path, at_most_bytes=1000) == "", "too large to look through at each start"
    path.with_name("proofing.sqlite-wal").write_bytes(b"the log")
    aside = set_aside(path, START)
    assert aside.name == "proofing.sqlite.damaged-20260302T054000Z"
    assert set_aside_before(path) == [aside]
    assert aside.with_name(aside.name + "-wal").read_bytes() == b"the log"
    assert not path.exists()
    path.write_text("flour, water, salt\n" * 100)
    assert "not a database" in damage_of(path)
    with pytest.raises(StoreError, match="rename it yourself"):
        set_aside(tmp_path / "no such folder" / "x", START)


def test_check_says_what_of_the_upkeep_is_wrong_and_how_to_mend_it(tmp_path: Path) -> None:
    stick = tmp_path / "stick"
    config = Config(tmp_path, upkeep=Upkeep(backup_dir=stick))
    now = SystemClock().now()

    def wrong() -> list[str]:
        return [what for what, mend in looked_at_upkeep(config, now) if mend]

    Store(config.database).close()
    assert [what for what in wrong() if "is not there" in what] == wrong()
    stick.mkdir()
    assert wrong() == [f"backups: none yet in {stick}"]
    made = back_up(config.database, stick, now)
    assert wrong() == []
    made.rename(stick / "proofing-20200101T000000Z.sqlite")
    (old,) = wrong()
    assert "the newest found whole" in old
    (stick / "proofing-20990101T000000Z.sqlite").write_bytes(b"half a backup")
    (spoilt,) = wrong()
    assert "cannot be used" in spoilt
    back_up(config.database, stick, datetime(2099, 1, 2, tzinfo=UTC))
    set_aside(config.database, now)
    assert any("was damaged once" in what for what in wrong())


def test_check_says_when_the_outside_watch_must_not_be_called(tmp_path: Path) -> None:
    for url, what in (("https://watch.example/key-42", "called every minute"), ("http://[::1]/key-42", "must not be")):
        config = Config(tmp_path, secrets=Secrets(heartbeat_url=url))
        (said,) = [(what, mend) for what, mend in looked_at_upkeep(config, START) if what.startswith("outside")]
        assert what in said[0]
        assert "key-42" not in str(said)


def test_check_counts_messages_that_wait(tmp_path: Path) -> None:
    config = Config(tmp_path)
    now = SystemClock().now()
    with Store(config.database) as store:
        batch = store.batches.add(batch_of("Hazel loaf"))
        late = Message("1-ready-1", batch.id, AlertKind.READY, 1, "Ready", "now", now - timedelta(hours=1))
        store.save_step(batch.id, Outlook(now, State.READY), [], [late])
    (what,) = [what for what, mend in looked_at_upkeep(config, now) if mend]
    assert what.startswith("messages: 1 wait")


def test_a_machine_without_a_date_is_waited_for(monkeypatch: pytest.MonkeyPatch) -> None:
    moments = [datetime(1970, 1, 1, tzinfo=UTC)] * 3 + [datetime(2026, 11, 25, tzinfo=UTC)] * 9
    monkeypatch.setattr("monitor.clock.wall_clock", lambda: moments.pop(0))
    monkeypatch.setattr(service, "CALENDAR_S", 0.001)
    out = io.StringIO()
    service._wait_for_calendar(threading.Event(), out)
    assert "date is wrong" in out.getvalue()
    assert len(moments) <= 9
