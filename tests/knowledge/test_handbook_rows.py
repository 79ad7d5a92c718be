"""Every row of the handbook's pest tables is in the product, or left out for a named reason."""

from __future__ import annotations

import pytest
from handbook_rows import HANDBOOK, LEFT_OUT, missing, rows_of

needs_handbook = pytest.mark.skipif(
    not HANDBOOK.is_dir(), reason="no folder ../shared/handbook beside the checkout"
)


@needs_handbook
def test_no_row_of_the_handbook_is_missing() -> None:
    """Each row has its threshold, replaced figure, remark, end, return, arrival or stop."""
    assert list(missing(HANDBOOK)) == []


@needs_handbook
def test_what_is_left_out_is_in_the_handbook() -> None:
    """A reason for a row that is not there any more would hide the next one."""
    assert set(LEFT_OUT) <= {row.key for row in rows_of(HANDBOOK)}
