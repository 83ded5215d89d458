"""The demo by way of a real InfluxDB: the same day, and a server that is pulled in the middle of it loses nothing."""

import re
import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest
from central_site import is_drained, sent_by
from harness import PATIENCE_S, free_port, wait_until
from influx import TOKEN, Influx
from programs import PROGRAM, environment, run_program
from streamlit.testing.v1 import AppTest

from monitor.settings.data_dir import DATABASE_NAME
from monitor.store.copies import copies_in
from monitor.store.store import Store

SPEED = "360"
APP = Path(__file__).resolve().parents[2] / "dashboard" / "app.py"


@pytest.fixture
def day(tmp_path: Path, influx: Influx) -> Iterator[tuple[Path, "subprocess.Popen[str]"]]:
    """A demo that is under way."""
    folder = tmp_path / "day"
    command = [*PROGRAM, "demo", "--exit-when-done", "--no-browser", "--speed", SPEED, "--port", str(free_port())]
    command += ["--data-dir", str(folder), "--store", "influx", "--influx-url", influx.url]
    demo = subprocess.Popen(
        command, env=environment(PROOFING_INFLUX_TOKEN=TOKEN), stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    )
    yield folder, demo
    demo.kill()
    demo.wait(PATIENCE_S)
    for stream in (demo.stdout, demo.stderr):
        assert stream is not None
        stream.close()


def test_the_day_by_way_of_a_server_that_is_pulled_for_a_while(
    day: tuple[Path, "subprocess.Popen[str]"], influx: Influx, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder, demo = day
    wait_until(lambda: demo.poll() is not None or influx.count("reading", "origin") > 200, "the day is under way")
    influx.kill()
    with Store(folder / DATABASE_NAME) as store:
        before = store.spool.counts()["reading"]
        wait_until(lambda: store.spool.counts()["reading"] > before + 200, "the day goes on without it")
    influx.start()
    out, err = demo.communicate(timeout=PATIENCE_S)
    assert demo.returncode == 0, err
    (site,) = re.findall(r"as site (demo-[\d-]+):", out)
    assert "could not be taken" not in out
    with sent_by(folder / DATABASE_NAME, influx, site=site):  # what nodes said between that line and the end
        wait_until(lambda: is_drained(folder / DATABASE_NAME, influx, site), "all is sent")
    with Store(folder / DATABASE_NAME) as store:
        counts = store.spool.counts()
        names = [batch.name for batch in store.batches.all()]
        nodes = {node.node: node.first_seen_at for node in store.nodes.all()}
    assert influx.count("reading", "origin") == counts["reading"]
    assert influx.count("outlook", "body") == counts["outlook"]
    assert influx.count("batch", "row") == counts["batch"] == 5
    assert TOKEN not in "".join(path.read_text(errors="replace") for path in (folder / "logs").iterdir())

    central = folder / "central"
    copies_in(central)[site].unlink()  # made anew, from the central store alone
    once = run_program("shops", "follow", "--once", "--data-dir", central, PROOFING_INFLUX_TOKEN=TOKEN)
    assert once.returncode == 0, once.stderr
    with Store(copies_in(central)[site]) as copy:
        assert copy.spool.counts() == counts
        assert {node.node: node.first_seen_at for node in copy.nodes.all()} == nodes
    monkeypatch.setenv("PROOFING_DATA_DIR", str(central))
    monkeypatch.setattr("sys.argv", ["app.py"])
    looked_back = words(AppTest.from_function(_review, default_timeout=PATIENCE_S))
    assert all(name in looked_back for name in names)
    assert words(AppTest.from_function(_sensors, default_timeout=PATIENCE_S))
    assert words(AppTest.from_file(str(APP), default_timeout=PATIENCE_S))  # the board: every dough was taken


def words(app: AppTest) -> str:
    """A screen, as text."""
    app.run()
    assert not app.exception
    return " ".join(element.proto.body for element in app.get("html"))


def _review() -> None:
    import streamlit as st

    from dashboard.compare import screen as compare
    from dashboard.review import screen as review

    compare_page = st.Page(compare.show, title="Compare", url_path="c")
    page = st.Page(lambda: review.show(page, compare_page), title="Review", url_path="f", default=True)
    st.navigation([page, compare_page], position="hidden").run()


def _sensors() -> None:
    from dashboard.sensors import screen as sensors

    sensors.show()


def test_the_way_by_influx_needs_its_address_and_an_address_that_all_may_not_read(tmp_path: Path) -> None:
    without = run_program("demo", "--store", "influx", "--data-dir", tmp_path)
    assert without.returncode == 2
    assert "--store influx and --influx-url go together" in without.stderr
    plain = run_program("demo", "--store", "influx", "--influx-url", "http://central.example", "--data-dir", tmp_path)
    assert plain.returncode == 2
    assert "plain http:// is for this machine alone" in plain.stderr
