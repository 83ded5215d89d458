"""``central`` as a baker calls it, against a real InfluxDB; and what ``check`` says of it."""

from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import pytest
from central_site import drain, fill, reading
from harness import wait_until
from influx import BUCKET, TOKEN, Influx
from programs import CollectorProcess

from monitor.cli import main
from monitor.clock import wall_clock
from monitor.settings.shops import Centre
from monitor.shops.influx import Link
from monitor.shops.points import point_of
from monitor.store.store import Store

Capture = pytest.CaptureFixture[str]

pytestmark = pytest.mark.usefixtures("quick_retries")


def settings(folder: Path, influx: Influx, more: str = "") -> Path:
    folder.mkdir(exist_ok=True)
    (folder / "config.toml").write_text(f'site = "rye"\n{more}[central]\nurl = "{influx.url}"\n')
    (folder / "secrets.toml").write_text(f'influx_token = "{TOKEN}"\n')
    (folder / "secrets.toml").chmod(0o600)
    return folder


def test_a_collector_sends_by_itself_and_goes_on_after_an_outage(tmp_path: Path, influx: Influx) -> None:
    site = settings(tmp_path / "site", influx)
    fill(site / "proofing.sqlite", 5)
    log = site / "collect.log"
    with CollectorProcess(site, "--by-eye"):
        wait_until(lambda: influx.count("reading", "value") == 21, "all is sent")
        wait_until(lambda: influx.count("shop", "doughs") > 0, "it says how it stands")
        influx.kill()
        with Store(site / "proofing.sqlite") as store:
            store.readings.add([reading(24, 24.0)])
        wait_until(lambda: "state=away" in log.read_text(), "it misses the server")
        influx.start()
        wait_until(lambda: influx.count("reading", "value") == 22, "it has gone on")
        wait_until(lambda: "state=mended" in log.read_text(), "it says so")
    assert TOKEN not in log.read_text()


def called(capsys: Capture, *arguments: str | Path) -> tuple[int, str]:
    """Status of a command, in this process, and all it said."""
    status = main([str(each) for each in arguments])
    return status, "".join(capsys.readouterr())


def test_verify_counts_both_ends(tmp_path: Path, influx: Influx, capsys: Capture) -> None:
    site = settings(tmp_path / "site", influx)
    fill(site / "proofing.sqlite", 5)
    drain(site / "proofing.sqlite", influx)
    status, whole = called(capsys, "shops", "verify", "--data-dir", site)
    assert status == 0, whole
    assert "reading                 23 here          23 there" in whole
    influx.do("DROP MEASUREMENT reading")
    status, missing = called(capsys, "shops", "verify", "--data-dir", site)
    assert status == 1
    assert "23 are missing there" in missing
    assert called(capsys, "shops", "verify", "--send-again", "--data-dir", site)[0] == 0
    drain(site / "proofing.sqlite", influx)
    assert called(capsys, "shops", "verify", "--data-dir", site)[0] == 0


def test_prepare_shows_statements_that_the_server_takes(tmp_path: Path, influx: Influx, capsys: Capture) -> None:
    site = settings(tmp_path / "site", influx)
    with (site / "config.toml").open("a") as file:
        file.write('readings_bucket = "shop-readings"\n')
    status, shown = called(capsys, "shops", "prepare", "--keep-readings", "90", "--data-dir", site)
    assert status == 0
    assert "nothing was done" in shown
    assert [name for (name,) in influx.do("SHOW DATABASES")[0]["values"] if name.startswith("shop")] == []
    for _ in range(2):
        assert called(capsys, "shops", "prepare", "--keep-readings", "90", "--yes", "--data-dir", site)[0] == 0
    (policy,) = influx.do('SHOW RETENTION POLICIES ON "shop-readings"')
    assert policy["values"][0][:2] == ["autogen", "2160h0m0s"]
    queries = {series["name"]: series.get("values", []) for series in influx.do("SHOW CONTINUOUS QUERIES")}
    ((name, query),) = queries["shop-readings"]
    assert name == "reading_5m"
    _drain_into(site / "proofing.sqlite", influx)
    inner = query.partition("BEGIN ")[2].removesuffix(" END")
    influx.do(inner.replace("GROUP BY", "WHERE time > 0 GROUP BY"), "shop-readings")  # as the server does once a day
    means = influx.do("SELECT * FROM reading_5m", BUCKET)[0]
    assert {"site", "node", "channel", "mean", "min", "max", "count"} <= set(means["columns"])


def _drain_into(path: Path, influx: Influx) -> None:
    """Readings in their own bucket, put there as the sender does."""
    with Store(path) as store, Link(Centre(influx.url, readings_bucket="shop-readings"), TOKEN) as link:
        now = wall_clock()  # the server lets go of what is older than its retention
        store.readings.add(replace(reading(k, k), measured_at=now - timedelta(minutes=k)) for k in range(1, 31))
        link.write("reading", [point_of("rye", row) for row in store.spool.unsent("x", "reading", 100)])


def test_readings_must_have_a_bucket_of_their_own_to_be_let_go(tmp_path: Path, influx: Influx, capsys: Capture) -> None:
    site = settings(tmp_path / "site", influx)
    status, refused = called(capsys, "shops", "prepare", "--keep-readings", "90", "--data-dir", site)
    assert status == 2
    assert "name a readings_bucket of their own first" in refused


def test_without_a_central_store_every_action_says_what_is_missing(tmp_path: Path, capsys: Capture) -> None:
    status, refused = called(capsys, "shops", "verify", "--data-dir", tmp_path)
    assert status == 2
    assert "no central store is set" in refused


def test_check_says_whether_the_central_store_takes_what_is_sent(
    tmp_path: Path, influx: Influx, capsys: Capture
) -> None:
    site = settings(tmp_path / "site", influx, 'serial = ["/dev/null"]\n')
    with Store(site / "proofing.sqlite") as store:
        store.readings.add([reading(1, 1.0)])
    _, well = called(capsys, "check", "--data-dir", site)
    assert f"ok     central store {influx.url}: takes what site rye sends to proofing" in well
    assert f"ok     central store {influx.url}: 1 rows wait to be sent" in well
    influx.write('delivery,site=rye measurement="batch",from_ns=0i,to_ns=1i,points=1i 1')
    assert "bucket proofing holds rows of an earlier version" in called(capsys, "check", "--data-dir", site)[1]
    influx.let_in("another")
    assert "cannot be used: the token is not known there" in called(capsys, "check", "--data-dir", site)[1]
