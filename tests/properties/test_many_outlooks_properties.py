"""Whoever shares its group: a dough's outlook is its own."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from many_doughs import KINDS, asked_of, numbers

from monitor.dough.forecast import outlook, outlooks

doughs = st.builds(asked_of, st.sampled_from(KINDS), st.integers(0, 10_000))


@settings(max_examples=15)
@given(one=doughs, others=st.lists(doughs, max_size=8), place=st.integers(0, 8))
def test_who_shares_a_group_changes_nothing(one, others, place):
    among = [*others[:place], one, *others[place:]]
    found = outlooks(among)[min(place, len(others))]
    alone = outlook(one.batch, one.track, one.at)
    assert found.state is alone.state
    assert numbers(found) == pytest.approx(numbers(alone), rel=1e-9, abs=1e-9)
