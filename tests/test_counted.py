"""Numbers in sentences."""

import pytest

from lapsekit.counted import p_text


@pytest.mark.parametrize(
    ("p", "told"),
    [
        (0.0, "below 0.001"),
        (0.0001, "below 0.001"),
        (0.00099, "below 0.001"),
        (0.001, "0.001"),
        (0.0244, "0.024"),
        (0.0996, "0.100"),
        (0.314, "0.31"),
        (1.0, "1.00"),
    ],
)
def test_a_p_value_is_told_with_the_figures_that_tell_something(p, told):
    assert p_text(p) == told
