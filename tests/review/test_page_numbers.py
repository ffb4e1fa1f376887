"""Numbers as the pages print them, and templates made once."""

import pytest

from underdash.page import number, signed, span, template


@pytest.mark.parametrize(
    ("value", "digits", "told"),
    [(-0.001, 2, "0.00"), (-0.0, 1, "0.0"), (0.004, 2, "0.00"), (-0.005001, 2, "\u22120.01"), (-4.71, 2, "\u22124.71")],
)
def test_nothing_has_no_sign(value: float, digits: int, told: str) -> None:
    assert signed(value, digits) == told and number(value, digits, "V") == f"{told} V"


def test_a_range_of_two_equal_ends_is_one_figure() -> None:
    assert span(14.09, 14.31, 2, "V") == "14.09 to 14.31 V"
    assert span(14.0901, 14.0949, 2, "V") == "14.09 V"
    assert span(-0.001, 0.001, 2, "Ah") == "0.00 Ah"


def test_a_template_is_compiled_once() -> None:
    name, filters = "page_parts.html.j2", {"clock": str}
    assert template(name, **filters) is template(name, **filters)
    assert template(name, **filters) is not template(name, clock=repr)
