"""The largest of seven rows is that of an independent filter."""

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import ndimage

from underdash.review.season.load_steps import _largest_around


@settings(max_examples=200, deadline=None)
@given(sizes=st.lists(st.floats(0.0, 3.0), min_size=1, max_size=60))
def test_the_largest_of_seven_is_ndimages(sizes: list[float]) -> None:
    expected = ndimage.maximum_filter1d(np.array(sizes), 7)
    assert _largest_around(np.array(sizes)).tolist() == expected.tolist()
