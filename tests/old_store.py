"""What the program shows of a store that an earlier version of it wrote: as facts, and in words.

The stores lie in ``data/stores``, each beside the script that wrote it. Facts (kinds, phases, numbers, moments) must
survive every change of layout; words may change, but never unseen.
"""

import contextlib
import gzip
import io
import json
from dataclasses import replace
from datetime import datetime
from pathlib import Path
from typing import Any

from monitor.cli import main
from monitor.dough.causes import Account, account_of, settled_by
from monitor.dough.learning import learned_from
from monitor.dough.outlook import Band, Moments
from monitor.dough.prior import prior_of
from monitor.plan.steps import steps
from monitor.recipe.batch import Batch
from monitor.recipe.intent import Intent
from monitor.settings.config import load_config
from monitor.settings.data_dir import DATABASE_NAME
from monitor.store.store import Store
from monitor.wording.reader import Reader
from monitor.wording.review import calls_sentence, causes_sentence, next_time_lines, outcome_title

STORES = Path(__file__).parent / "data" / "stores"
COMMANDS = ("batch list", "alerts list", "alerts history", "alerts count", "plan list", "plan show 2")
LIVED_PLAN = 2


def unpacked(folder: Path, name: str, language: str) -> Path:
    """A copy of a store in a data directory of its own, whose reader has a language; returns the directory."""
    folder.mkdir()
    (folder / DATABASE_NAME).write_bytes(gzip.decompress((STORES / f"{name}.sqlite.gz").read_bytes()))
    (folder / "config.toml").write_text(f'language = "{language}"\ntimezone = "Europe/Vienna"\n')
    return folder


def words(folder: Path) -> str:
    """What the commands print of a data directory, and the reviews of its finished batches."""
    parts = []
    for command in COMMANDS:
        out = io.StringIO()
        with contextlib.redirect_stdout(out):
            status = main([*command.split(), "--data-dir", str(folder)])
        assert status == 0, f"{command}: {status}"
        parts.append(f"$ {command}\n{out.getvalue()}")
    reader = load_config(folder, {}).reader
    with Store(folder / DATABASE_NAME) as store:
        parts += [_review(store, batch, reader) for batch in store.batches.ended()]
    return "\n".join(parts).replace(str(folder), "DATA")


def _review(store: Store, batch: Batch, reader: Reader) -> str:
    account = _account(store, batch)
    if account is None:
        return f"# {batch.name}: nothing to look back at\n"
    judgement = store.reviews.judgement(batch.id)
    lines = [
        f"# {batch.name}: {outcome_title(account, batch, None if judgement is None else judgement.verdict, reader)}",
        causes_sentence(account, reader),
        calls_sentence(account, batch, store.alerts.all(batch.id), reader),
        *next_time_lines(account, batch, None, reader),
        "" if judgement is None else judgement.notes,
    ]
    return "\n".join(line for line in lines if line) + "\n"


def _account(store: Store, batch: Batch) -> Account | None:
    assert batch.ended_at is not None
    intent = store.reviews.intent(batch.id) or Intent()
    planned = replace(batch, formula=intent.formula or batch.formula)
    learned = learned_from(store.lessons.before(planned), planned)
    expected = prior_of(planned) if learned is None else learned.prior
    found, last = (
        account_of(batch, store.readings.track(batch), batch.ended_at, intent, expected),
        store.outlooks.latest(batch.id),
    )
    return found if found is None or last is None else settled_by(found, batch, last)


def facts(folder: Path) -> dict[str, Any]:
    """What is so, without a word of it: numbers, moments, kinds and phases; free text that people wrote."""
    path = folder / DATABASE_NAME
    with Store(path) as store:
        found: dict[str, Any] = {
            "batches": {batch.id: _batch(store, batch) for batch in store.batches.all()},
            "reviews": {batch.id: _numbers(_account(store, batch)) for batch in store.batches.ended()},
            "alerts": [
                [each.number, each.subject.key, each.kind.value, each.episode, each.phase.value, each.about]
                + [
                    _moment(at)
                    for at in (each.since_at, each.fired_at, each.returned_at, each.called_at, each.acknowledged_at)
                ]
                + [_moment(each.shelved_until), bool(each.suppressed_by)]
                for each in store.alerts.all()
            ],
            "history": [
                [each.subject.key, each.kind.value, each.episode, each.phase.value, each.by, len(each.readings)]
                for each in store.alerts.history()
            ],
            "history moments": [[_moment(each.at), _moment(each.outlook_at)] for each in store.alerts.history()],
            "standing": [each.number for each in store.alerts.active()],
            "messages": [
                [each.id, each.kind.value, _moment(each.created_at), _moment(each.delivered_at), each.text]
                for each in store.outbox.messages()
            ],
            "open messages": [message.id for message, _, _ in store.outbox.open_messages()],
            "calls": [
                [each.message_id, each.number, each.recipient, _moment(each.at), _moment(each.accepted_at), each.tries]
                for each in store.outbox.calls()
            ],
            "quarantine": [
                [each.node, each.source, each.reason, each.frame.hex()] for each in store.nodes.quarantined()
            ],
            "faults": sorted([each.source, each.node, each.reason, each.count] for each in store.nodes.faults()),
            "nodes": [[each.node, each.source, each.is_online, each.lost_packs] for each in store.nodes.all()],
            "calibrations": [
                [each.node, each.channel.value, each.offset, each.sd, each.how.value]
                for each in store.calibrations.all()
            ],
            "lessons": [[_moment(each.ended_at), len(each.misses)] for each in store.lessons.all()],
        }
        found["plans"] = [plan.id for plan in store.plans.all()]
        found["open plans"] = [plan.id for plan in store.plans.open()]
        plan = store.plans.get(LIVED_PLAN)
        found["plan"] = [[step.key, step.kind.value, _moment(step.at)] for step in steps(plan)]
        found["done"] = {key: _moment(at) for key, at in store.plans.done(LIVED_PLAN).items()}
        found["watched"] = {key: batch.id for key, batch in store.plans.batches_of(LIVED_PLAN).items()}
        found["told"] = {key: _moment(at) for key, at in store.plans.announced(LIVED_PLAN).items()}
        found["mixes"] = [[_moment(each.at), each.dough_c, each.water_c] for each in store.mixes.of("bench mixer")]
        found["vessels"] = sorted(store.vessels.all())
    return dict(json.loads(json.dumps(found)))  # as the file has it: keys are texts, tuples lists


def _batch(store: Store, batch: Batch) -> dict[str, Any]:
    last, reviews = store.outlooks.latest(batch.id), store.reviews
    intent, judgement = reviews.intent(batch.id), reviews.judgement(batch.id)
    return {
        "name": batch.name,
        "stage": batch.stage.value,
        "started": _moment(batch.started_at),
        "ended": _moment(batch.ended_at),
        "target": batch.target.rise_pct,
        "events": [[_moment(each.at), each.kind.value, each.note] for each in batch.events],
        "readings": len(store.readings.of(batch)),
        "outlooks": len(store.outlooks.of(batch.id, has_fan=False)),
        "state": None if last is None else last.state.value,
        "rise": None if last is None else _band(last.rise_pct),
        "ready": None if last is None else _moments(last.ready),
        "peak": None if last is None else _moments(last.peak),
        "fan": None if last is None else len(last.fan),
        "intent": None if intent is None else [intent.dough_temp_c, intent.proof_min],
        "judgement": None if judgement is None else [judgement.verdict.value, judgement.notes],
    }


def _numbers(account: Account | None) -> dict[str, Any] | None:
    if account is None:
        return None
    bands = {"warmth": account.warmth_min, "yeast": account.yeast_min, "rest": account.rest_min}
    return {
        "plan": round(account.plan_min, 1),
        "taken": round(account.taken_min, 1),
        "ready": _band(account.ready_min),
        **{name: _band(band) for name, band in bands.items()},
    }


def _band(band: Band | None) -> list[float] | None:
    return None if band is None else [round(each, 1) for each in (band.p05, band.p50, band.p95)]


def _moments(moments: Moments) -> list[str | None]:
    return [_moment(at) for at in (moments.p05, moments.p50, moments.p95)]


def _moment(at: datetime | None) -> str | None:
    return None if at is None else at.isoformat(timespec="seconds")
