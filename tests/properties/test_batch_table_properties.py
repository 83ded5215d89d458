"""A table of a batch, as CSV and as Parquet: whatever stands in it comes back."""

from hypothesis import given, settings
from hypothesis import strategies as st

from monitor.archive.batch_files import _csv_bytes, _from_csv, _from_parquet, _parquet_bytes
from monitor.store.transfer import Rows

TEXTS = st.none() | st.text(st.characters(codec="utf-8", exclude_characters="\x00"), max_size=20)
NUMBERS = st.none() | st.floats(allow_nan=False, allow_infinity=False)
VALUES = st.lists(st.tuples(TEXTS, st.none() | st.integers(-(2**63), 2**63 - 1), NUMBERS), max_size=5)


@settings(max_examples=200)
@given(VALUES)
def test_whatever_stands_in_a_table_comes_back(values: list[tuple[str | None, int | None, float | None]]) -> None:
    rows = Rows("any", (("text", "TEXT"), ("whole", "INTEGER"), ("real", "REAL")), tuple(values))
    assert _from_csv(_csv_bytes(rows), rows.columns, len(values)) == values
    assert _from_parquet(_parquet_bytes(rows), rows.columns, len(values)) == values
