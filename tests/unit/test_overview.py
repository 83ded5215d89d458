"""Which shop comes first, and what a shop says of itself."""

from collections.abc import Iterator
from dataclasses import replace
from datetime import datetime, timedelta
from pathlib import Path

import pytest
from harness import START

from dashboard.overview.shops import Wrong, ordered
from monitor.alerts.dough import Alert, AlertKind, Sort, Subject
from monitor.alerts.reasons import NodeUnheard
from monitor.dough.outlook import Moments, Outlook, State
from monitor.dough.tasks import Do
from monitor.recipe.batch import Batch, BatchId, Stage, Target
from monitor.recipe.vessel import Shape, Vessel
from monitor.shops.summary import ShopSummary, health_points, summary_of
from monitor.store.rows import to_us
from monitor.store.spool import Backlog
from monitor.store.store import Store

TUB = Batch(
    BatchId(0), "Linden loaf", Stage.FIRST_RISE, START, Vessel(Shape.ROUND, (180.0, 180.0), (210.0, 210.0), 250.0),
    Target(75.0), preheat_min=45.0,
)  # fmt: skip
NOW = START + timedelta(hours=3)


def minutes(n: float) -> timedelta:
    return timedelta(minutes=n)


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    with Store(tmp_path / "proofing.sqlite") as opened:
        yield opened


def dough(store: Store, name: str, state: State, *, ready_at: datetime | None = None, **more: datetime | None) -> None:
    batch = store.batches.add(replace(TUB, name=name))
    ready, peak = Moments(p25=ready_at, p50=ready_at), Moments(p50=more.get("peak_at"))
    outlook = Outlook(NOW, state, ready=ready, peak=peak, last_reading_at=more.get("read_at"))
    store.save_step(batch.id, outlook, [], [])


def test_what_is_due_comes_before_what_is_to_come_and_the_oven_before_the_dough(store: Store) -> None:
    dough(store, "later", State.RISING, ready_at=NOW + minutes(90))
    summary = summary_of(store, NOW)
    assert (summary.next_dough, summary.next_do, summary.is_due) == ("later", Do.OVEN_ON, False)
    assert summary.next_us == to_us(NOW + minutes(45))
    dough(store, "ready", State.READY, ready_at=NOW - minutes(4))
    summary = summary_of(store, NOW)
    assert (summary.next_dough, summary.next_do, summary.is_due) == ("ready", Do.NEXT, True)
    assert (summary.doughs, summary.late, summary.next_us) == (2, 0, to_us(NOW - minutes(4)))


def test_what_waits_for_hands_is_late_after_ten_minutes_and_past_its_peak_at_once(store: Store) -> None:
    dough(store, "ready", State.READY, ready_at=NOW - minutes(11))
    dough(store, "past", State.PAST_PEAK, ready_at=NOW - minutes(9), peak_at=NOW - minutes(2))
    dough(store, "unseen", State.NO_READINGS, read_at=NOW - minutes(40))
    summary = summary_of(store, NOW)
    assert (summary.late, summary.late_us) == (2, to_us(NOW - minutes(11)))
    assert (summary.next_dough, summary.next_do) == ("unseen", Do.LOOK)
    assert summary.next_us == to_us(NOW - minutes(40))


def test_alerts_are_counted_by_what_they_are_about(store: Store) -> None:
    node = Subject(Sort.NODE, "urn:dev:mac:020000fffe5e0001")
    silent = Alert(node, AlertKind.NODE_SILENT, 1, START, START + minutes(1), reason=NodeUnheard(10.0))
    trouble = Alert(Subject(Sort.MONITOR, "store"), AlertKind.TROUBLE, 1, START, START, acknowledged_at=START)
    over = replace(silent, kind=AlertKind.AIR_TOO_DRY, returned_at=NOW, called_at=NOW)
    store.alerts.save([silent, trouble, over], [], [], START)
    summary = summary_of(store, NOW)
    assert (summary.silent, summary.silent_us) == (1, to_us(START))
    assert (summary.unanswered, summary.troubles, summary.air) == (1, 1, 0)


def test_a_shop_without_anything_says_so(store: Store) -> None:
    assert summary_of(store, NOW) == ShopSummary(clock_us=to_us(NOW))


def test_health_is_of_the_collector_and_of_each_node(store: Store) -> None:
    node = "urn:dev:mac:020000fffe5e0001"
    store.nodes.note(node, "serial bench", NOW, is_online=True)
    store.nodes.count_fault("serial bench", node, "checksum", NOW, 3)
    alert = Alert(Subject(Sort.NODE, node), AlertKind.NODE_SILENT, 1, START, START)
    store.alerts.save([alert], [], [], START)
    collector, of_node = health_points("rye", store, Backlog(7, None, 2))
    assert (collector.tags, collector.fields["unsent_rows"], collector.fields["parked_rows"]) == ({"site": "rye"}, 7, 2)
    assert of_node.tags == {"site": "rye", "node": node}
    assert of_node.fields == {
        "heard_us": to_us(NOW), "is_silent": True, "is_online": True, "lost_packs": 0, "refused_frames": 3,
    }  # fmt: skip


# -- which comes first ------------------------------------------------------------------------------------------------


def said(name: str, age_min: float = 0.5, **more: object) -> tuple[str, datetime, ShopSummary]:
    return name, NOW - minutes(age_min), ShopSummary(clock_us=to_us(NOW), **{"doughs": 3, **more})  # type: ignore[arg-type]


def test_the_worst_comes_first_and_the_well_by_whose_hands_are_wanted_next() -> None:
    shops = ordered(
        [
            said("well, later", next_us=9),
            said("well, sooner", next_us=8),
            said("off", forecasts=20, held=13),
            said("dry", air=1),
            said("unanswered", unanswered=2),
            said("blind", silent=1),
            said("broken", troubles=1),
            said("silent at night", age_min=600.0, doughs=0),
            said("silent", age_min=6.0),
            said("late", late=1, late_us=7),
            said("late for long", late=1, late_us=6),
            said("well, idle", doughs=0),
        ],
        NOW,
    )
    assert [shop.name for shop in shops] == [
        "late for long", "late", "silent", "silent at night", "broken", "blind", "unanswered", "dry", "off",
        "well, sooner", "well, later", "well, idle",
    ]  # fmt: skip


@pytest.mark.parametrize(("forecasts", "held", "is_off"), [(9, 0, False), (10, 7, False), (10, 6, True), (0, 0, False)])
def test_forecasts_are_off_when_clearly_fewer_hold_than_nine_in_ten(forecasts: int, held: int, is_off: bool) -> None:
    (shop,) = ordered([said("rye", forecasts=forecasts, held=held)], NOW)
    assert (Wrong.FORECASTS in shop.wrong) is is_off


def test_a_shop_may_have_several_things_wrong() -> None:
    (shop,) = ordered([said("rye", air=1, late=1, late_us=1, age_min=60.0)], NOW)
    assert shop.wrong == (Wrong.LATE, Wrong.SHOP_SILENT, Wrong.AIR)
