"""A shop whose clock is ten minutes apart from the centre's, with a real InfluxDB and a real Litestream."""

import re
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import pytest
from central_site import is_drained
from harness import PATIENCE_S, SetClock, wait_until
from influx import TOKEN, Influx
from made_up import batch_of, readings_of
from replicas import rows_of, ship_now, shipping
from streamlit.testing.v1 import AppTest

from dashboard import queries
from dashboard.overview.shops import ordered
from monitor.clock import wall_clock
from monitor.dough.outlook import Band, Outlook, State
from monitor.settings.data_dir import DATABASE_NAME, copy_of
from monitor.settings.shops import Centre
from monitor.shops.influx import Link
from monitor.shops.sender import Sender
from monitor.store.store import Store

SITE = "rye-street"


@pytest.mark.parametrize("apart", [timedelta(minutes=10), timedelta(minutes=-10)])
def test_a_shop_is_shown_as_it_stands_by_its_own_clock(
    apart: timedelta, tmp_path: Path, influx: Influx, monkeypatch: pytest.MonkeyPatch
) -> None:
    centre = tmp_path / "centre"
    centre.mkdir()
    (centre / "config.toml").write_text(
        f'[central]\nurl = "{influx.url}"\n[shops]\nnames = ["{SITE}"]\nurl = "{tmp_path.as_uri()}/there/{{site}}"\n'
    )
    clock = SetClock(wall_clock() + apart)
    at = clock.now() - timedelta(minutes=5)  # due, and by its own clock not late
    with Store(tmp_path / "shop" / DATABASE_NAME) as store:
        batch = store.batches.add(replace(batch_of("Tub 1"), started_at=at - timedelta(hours=3)))
        store.readings.add(readings_of(batch, hours=3.0))
        store.save_step(batch.id, Outlook(at, State.READY, Band(74.0, 76.0, 78.0)), [], [], [])
    sender = Sender(store.path, Centre(influx.url), TOKEN, SITE, clock)
    sender.start()
    with shipping(tmp_path / "shop", tmp_path / "there" / SITE) as litestream, Link(Centre(influx.url), TOKEN) as link:
        wait_until(lambda: is_drained(store.path, influx, SITE), "all is sent")
        wait_until(lambda: list(link.summaries()) != [], "it says how it stands")
        sender.stop()
        ship_now(litestream)
        (shop,) = ordered(link.summaries(), wall_clock())
        assert (shop.summary.late, shop.summary.is_due, shop.wrong) == (0, True, ())
        copies = queries.copies(centre)
        try:
            copies.look(SITE, within_s=PATIENCE_S)
            assert rows_of(copy_of(centre, SITE)) == rows_of(store.path)
            monkeypatch.setenv("PROOFING_DATA_DIR", str(centre))
            monkeypatch.setattr("sys.argv", ["app.py"])
            board = AppTest.from_function(_board, default_timeout=PATIENCE_S).run()
            assert not board.exception
            shown = re.sub("<.*?>", "", " ".join(part.proto.body for part in board.get("html")))
            assert "Divide and shape Tub 1" in shown
        finally:
            copies.stop()


def _board() -> None:
    import streamlit as st

    from dashboard.board import screen as board

    other = st.Page(lambda: None, title="o", url_path="o")
    st.navigation(
        [other, st.Page(lambda: board.show(other, other, other), title="b", default=True)], position="hidden"
    ).run()
