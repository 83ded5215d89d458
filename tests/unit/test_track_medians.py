"""The median of a value and its neighbours, by a few comparisons."""

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from monitor.dough.track import running_median

values = st.lists(st.floats(-1e6, 1e6), min_size=1, max_size=40).map(np.array)


@given(values, st.sampled_from([3, 5]))
def test_it_is_the_median_of_each_window(values, n):
    padded = np.pad(values, n // 2, mode="edge")
    expected = np.median(np.lib.stride_tricks.sliding_window_view(padded, n), axis=1)
    np.testing.assert_array_equal(running_median(values, n), expected)


def test_a_value_that_is_none_spoils_its_neighbours_alone():
    found = running_median(np.array([1.0, 2.0, 3.0, np.nan, 5.0, 6.0, 7.0]), 3)
    assert np.isnan(found).tolist() == [False, False, True, True, True, False, False]
