"""Why an ended batch went as it did: its account, held against what was planned, and what its baker said of it."""

from dataclasses import dataclass, replace

import streamlit as st

from dashboard import queries
from dashboard.queries import EndedBatch
from monitor.dough.causes import Account, account_of, settled_by
from monitor.dough.learning import learned_from
from monitor.dough.outlook import Band
from monitor.dough.prior import prior_of
from monitor.dough.verdicts import RiseVerdict, best_rise_pct
from monitor.recipe.batch import Batch
from monitor.recipe.intent import Intent, Judgement
from monitor.store.store import Store


@dataclass(frozen=True, slots=True)
class Review:
    """What is known of why an ended batch went as it did.

    Attributes
    ----------
    account
        Where its minutes went; None when its height was never measured.
    is_intent_saved
        True when the baker had said what was planned.
    best_rise_pct
        Where the verdicts of this recipe put the band; None before there is one, or for a peak.
    """

    account: Account | None
    intent: Intent
    is_intent_saved: bool
    judgement: Judgement | None
    best_rise_pct: Band | None


def review_of(store: Store, ended: EndedBatch) -> Review:
    """An ended batch looked back at; what takes long is kept until the plan it is held against changes."""
    batch = ended.batch
    saved = store.reviews.intent(batch.id)
    intent = saved or Intent()
    account = _account(str(store.path), batch, intent, ended, store)
    return Review(account, intent, saved is not None, store.reviews.judgement(batch.id), _best_rise(store, batch))


@st.cache_resource(max_entries=4 * queries.CACHED_BATCHES, ttl=3600, show_spinner=False)
def _account(path: str, batch: Batch, intent: Intent, _ended: EndedBatch, _store: Store) -> Account | None:
    planned = replace(batch, formula=intent.formula or batch.formula)
    learned = learned_from(_store.lessons.before(planned), planned)
    expected = prior_of(planned) if learned is None else learned.prior
    found = account_of(batch, _ended.track, _ended.outcome.ended_at, intent, expected)
    return found if found is None or not _ended.outlooks else settled_by(found, batch, _ended.outlooks[-1])


def _best_rise(store: Store, batch: Batch) -> Band | None:
    """Where the baker's verdicts on a recipe's batches of one stage put the band."""
    asked_pct = batch.target.rise_pct
    if asked_pct is None:
        return None
    tasted = []
    for batch_id, verdict in store.reviews.judged().items():
        other = store.batches.get(batch_id)
        if other.recipe_key != batch.recipe_key or other.stage is not batch.stage:
            continue
        rises = [each.rise_pct.p50 for each in store.outlooks.of(batch_id, has_fan=False) if each.rise_pct is not None]
        if rises:
            tasted.append(RiseVerdict(max(rises), verdict))
    return best_rise_pct(tasted, asked_pct) if tasted else None
