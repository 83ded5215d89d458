"""The demo of two shops by way of a real InfluxDB and a real Litestream, in a real browser; the server is pulled."""

import re
import signal
import subprocess
from collections.abc import Iterator
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path

import pytest
from central_site import is_drained, sent_by
from harness import PATIENCE_S, free_port, wait_until
from influx import TOKEN, Influx
from playwright.sync_api import Browser, expect
from programs import PROGRAM, environment, run_program
from streamlit.testing.v1 import AppTest

from dashboard import queries
from monitor.demo.shops import CENTRE, NAMES
from monitor.settings.data_dir import DATABASE_NAME
from monitor.store.store import Store

SPEED = "240"


@dataclass(frozen=True)
class Day:
    """A demo that is under way."""

    folder: Path
    process: "subprocess.Popen[bytes]"
    port: int

    @property
    def said(self) -> str:
        return (self.folder.parent / "said").read_text()


@pytest.fixture
def day(tmp_path_factory: pytest.TempPathFactory, influx: Influx) -> Iterator[Day]:
    folder = tmp_path_factory.mktemp("day") / "d"  # a short name: a socket's has a hundred letters at most
    port = free_port()
    command = [*PROGRAM, "demo", "--no-browser", "--speed", SPEED, "--port", str(port)]
    command += ["--data-dir", str(folder), "--influx-url", influx.url]
    with (folder.parent / "said").open("wb") as said:
        around = environment(PROOFING_INFLUX_TOKEN=TOKEN)
        process = subprocess.Popen(command, env=around, stdout=said, stderr=subprocess.STDOUT)
    yield Day(folder, process, port)
    process.kill()
    process.wait(PATIENCE_S)


def test_the_day_of_two_shops_by_way_of_a_server_that_is_pulled_for_a_while(
    day: Day, influx: Influx, browser: Browser, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder, demo = day.folder, day.process
    wait_until(lambda: demo.poll() is not None or influx.count("reading", "value") > 200, "the day is under way")
    assert demo.poll() is None, day.said
    shops = [place for name in NAMES for place in folder.glob(f"{name}-*")]
    influx.kill()
    with Store(shops[0] / DATABASE_NAME) as store:
        before = store.spool.counts()["reading"]
        wait_until(lambda: store.spool.counts()["reading"] > before + 200, "the day goes on without it")
    influx.start()
    wait_until(lambda: demo.poll() is not None or "stays open until Ctrl-C" in day.said, "the day is over")
    assert demo.poll() is None, day.said
    look_at_all_shops(browser, day.port, sorted(shop.name for shop in shops))
    demo.send_signal(signal.SIGINT)
    assert demo.wait(PATIENCE_S) == 0, day.said
    out = day.said
    assert re.findall(r"as site ([\w-]+):", out) == [shop.name for shop in shops]
    assert "could not be taken" not in out
    assert TOKEN not in "".join(path.read_text(errors="replace") for path in (folder / "logs").iterdir())
    names = {}
    for shop in shops:
        site, database = shop.name, shop / DATABASE_NAME
        with sent_by(database, influx, site=site):  # what nodes said between that line and the end
            wait_until(lambda: is_drained(database, influx, site), "all is sent")  # noqa: B023
        with Store(database) as store:
            counts, names[site] = store.spool.counts(), [batch.name for batch in store.batches.all()]
        there = {
            measurement: influx.do(f"SELECT count({field}) FROM {measurement} WHERE site = '{site}'")
            for measurement, field in (("outlook", "state"), ("alert", "phase"))
        }
        assert {name: series[0]["values"][0][1] for name, series in there.items()} == {
            name: counts[name] for name in there
        }
        assert len(names[site]) == 5

    monkeypatch.setenv("PROOFING_INFLUX_TOKEN", TOKEN)
    monkeypatch.setenv("PROOFING_DATA_DIR", str(folder / CENTRE))
    monkeypatch.setattr("sys.argv", ["app.py"])
    copies = queries.copies(folder / CENTRE)
    try:
        for site, batches in names.items():
            copies.look(site, within_s=PATIENCE_S)
            review = AppTest.from_function(_review, default_timeout=PATIENCE_S)
            review.query_params["site"] = site
            looked_back = words(review)
            assert all(name in looked_back for name in batches)
    finally:
        copies.stop()  # which a dashboard does as it ends


def look_at_all_shops(browser: Browser, port: int, shops: list[str]) -> None:
    """All shops stand on one screen, and a tap on one opens it."""
    with closing(browser.new_page(viewport={"width": 1280, "height": 900})) as page:
        page.set_default_timeout(1000 * PATIENCE_S)
        expect.set_options(timeout=1000 * PATIENCE_S)
        page.goto(f"http://127.0.0.1:{port}/overview")
        links = page.locator(".shops .which a")
        expect(links).to_have_count(len(shops))
        assert sorted(links.all_inner_texts()) == shops
        links.filter(has_text=shops[0]).click()
        expect(page.locator(f"input[value='{shops[0]}']")).to_be_visible()
        expect(page.locator(".batch .name").or_(page.get_by_text("No dough is proofing")).first).to_be_visible()


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


def test_a_central_store_needs_an_address_that_all_may_not_read(tmp_path: Path) -> None:
    plain = run_program("demo", "--influx-url", "http://central.example", "--data-dir", tmp_path)
    assert plain.returncode == 2
    assert "plain http:// is for this machine alone" in plain.stderr
    bread = run_program("demo", "--bake", "--influx-url", "http://127.0.0.1:1", "--data-dir", tmp_path)
    assert bread.returncode == 2
    assert "--bake plays one kitchen" in bread.stderr
