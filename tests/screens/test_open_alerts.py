"""On a batch's screen, what stands comes first; what has become another alert, or is over, is folded below it."""

from dataclasses import replace
from pathlib import Path

import pytest
from sample_bakery import NOW, ROUND_TUB, batch, minutes
from streamlit.testing.v1 import AppTest

from dashboard.queries import OpenAlert
from monitor.alerts.dough import Alert, AlertKind, Phase, Subject
from monitor.alerts.reasons import HeightUnseen, MoreCameOfIt
from monitor.dough.outlook import Band, Outlook, State
from monitor.recipe.batch import BatchId, EventKind, Stage
from monitor.settings.data_dir import DATABASE_NAME
from monitor.store.store import Store


def _screen() -> None:
    from dashboard import alerts, page, queries

    def draw(view: page.View) -> None:
        (batch,) = view.store.batches.all()
        alerts.show_of_batch(queries.open_alerts(view.store, batch), batch.id, view)

    page.render(draw)


def alert(kind: AlertKind, since_min: float, about: BatchId, **more: object) -> Alert:
    at = NOW - minutes(since_min)
    return replace(Alert(Subject.batch(about), kind, 1, at, at, called_at=at), **more)  # type: ignore[arg-type]


def shown(folder: Path, monkeypatch: pytest.MonkeyPatch, *kinds: tuple[AlertKind, dict[str, object]]) -> AppTest:
    """What stands of a batch that has these alerts."""
    monkeypatch.setenv("PROOFING_DATA_DIR", str(folder))
    with Store(folder / DATABASE_NAME) as store:
        store.settings.put("epoch", NOW.isoformat())
        store.settings.put("speed", "0.0")
        kept = store.batches.add(batch("Plain loaf", Stage.FIRST_RISE, 200, ROUND_TUB))
        alerts = [alert(kind, 60 - 5 * place, kept.id, **more) for place, (kind, more) in enumerate(kinds)]
        store.save_step(kept.id, Outlook(NOW, State.PAST_PEAK, Band(80.0, 82.0, 84.0)), alerts, [])
    app = AppTest.from_function(_screen, default_timeout=30).run()
    assert not app.exception, app.exception
    return app


def lines(block: object) -> list[str]:
    return [element.proto.body for element in block.get("html") if 'class="note"' in element.proto.body]  # type: ignore[attr-defined]


TAKEN_OVER: dict[str, object] = {"suppressed_by": MoreCameOfIt(AlertKind.PAST_PEAK)}


def test_one_touch_on_a_fold_notes_it_and_answers_its_call(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    app = shown(tmp_path, monkeypatch, (AlertKind.FOLD_DUE, {}), (AlertKind.READY, {}))
    assert [button.label for button in app.button] == ["Folded", "In 30 min", "Seen", "In 30 min"]
    app.button[0].click().run()
    with Store(tmp_path / DATABASE_NAME) as store:
        (kept,) = store.batches.all()
        assert [event.kind for event in kept.events] == [EventKind.FOLD]
        (fold,) = (each for each in store.alerts.active() if each.kind is AlertKind.FOLD_DUE)
        assert fold.phase is Phase.ACKNOWLEDGED


def test_what_a_later_alert_has_taken_over_and_what_is_over_is_folded(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    app = shown(
        tmp_path,
        monkeypatch,
        (AlertKind.READY_SOON, TAKEN_OVER),
        (AlertKind.READY, TAKEN_OVER),
        (AlertKind.AIR_TOO_DRY, {"returned_at": NOW - minutes(2)}),
        (AlertKind.PAST_PEAK, {}),
    )
    (fold,) = app.expander
    assert fold.label == "3 earlier alerts"
    assert not fold.proto.expanded
    folded = "".join(lines(fold))
    assert [folded.count(f"Plain loaf: {word}<") for word in ("ready soon", "ready", "air too dry")] == [1, 1, 1]
    assert len(lines(fold)) == 3
    assert len(lines(app)) == 4
    assert [button.label for button in fold.button] == ["Seen"]  # of the one that is over
    assert [button.label for button in app.button if button.label.startswith("In ")] == ["In 30 min"]


def test_without_earlier_alerts_there_is_no_fold(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    app = shown(tmp_path, monkeypatch, (AlertKind.READY, {}))
    assert not app.expander
    assert len(lines(app)) == 1


def test_when_all_is_over_nothing_is_said_to_call(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    app = shown(tmp_path, monkeypatch, (AlertKind.AIR_TOO_WARM, {"returned_at": NOW - minutes(2)}))
    assert [fold.label for fold in app.expander] == ["1 earlier alert"]
    assert not [element for element in app.get("html") if "What calls for you" in element.proto.body]


@pytest.mark.parametrize(
    ("more", "phase", "is_earlier"),
    [
        ({}, Phase.UNACKNOWLEDGED, False),
        ({"acknowledged_at": NOW}, Phase.ACKNOWLEDGED, False),
        ({"shelved_until": NOW + minutes(9)}, Phase.SHELVED, False),
        ({"suppressed_by": HeightUnseen()}, Phase.SUPPRESSED, False),  # nobody has seen that it is over
        (TAKEN_OVER, Phase.SUPPRESSED, True),
        ({"returned_at": NOW}, Phase.RETURNED, True),
    ],
)
def test_which_alerts_are_earlier(more: dict[str, object], phase: Phase, is_earlier: bool) -> None:
    one = alert(AlertKind.READY, 20, BatchId(1), **more)
    assert one.phase is phase
    assert OpenAlert(one, "Plain loaf").is_earlier is is_earlier
