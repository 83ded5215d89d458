"""What the comparison asks of the store: light courses of many finished batches, kept, and what bakers said of them."""

from collections.abc import Iterable, Sequence

import streamlit as st

from dashboard import queries
from dashboard.compare.course import Course, course_of
from monitor.recipe.batch import Batch, BatchId
from monitor.recipe.intent import Judgement
from monitor.store.reviews import Reviews
from monitor.store.store import Store

KEPT_COURSES = 400  # ten recipes' newest; some ten kilobytes each


def courses(batches: Iterable[Batch]) -> list[Course]:
    """How some ended batches went, in their order; kept, since an ended batch changes no more."""
    with queries.opened_as(Store) as store:
        return [_course(str(store.path), batch, store) for batch in batches]


@st.cache_resource(max_entries=KEPT_COURSES, ttl=3600, show_spinner="Reading the batches")
def _course(path: str, batch: Batch, _store: Store) -> Course:
    return course_of(batch, _store.outlooks(batch.id, has_fan=False), _store.track(batch))


def judgements(batches: Sequence[Batch]) -> dict[BatchId, Judgement]:
    """What the baker said of each batch that has a verdict."""
    with queries.opened_as(Reviews) as store:
        said = {batch.id: store.judgement(batch.id) for batch in batches}
    return {batch_id: judgement for batch_id, judgement in said.items() if judgement is not None}
