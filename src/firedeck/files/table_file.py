"""Tables on disk, as CSV for people and Parquet for programs, from the same columns."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path

import pyarrow as pa
import pyarrow.csv
import pyarrow.parquet

__all__ = ["write_table"]


def write_table(stem: Path, columns: Mapping[str, Sequence[object]], *, units: Mapping[str, str]) -> None:
    """Write a table twice, as `stem`.csv and `stem`.parquet.

    Parameters
    ----------
    stem : Path
        Path without suffix.
    columns : mapping
        Column name -> values; a name carries its unit where there is one, as in ``line_load_N_per_mm``.
    units : mapping
        Column name -> unit, kept in the Parquet file's column metadata.
    """
    arrays = {name: pa.array(values) for name, values in columns.items()}
    fields = [
        pa.field(name, array.type, metadata={"unit": units.get(name, "1")}) for name, array in arrays.items()
    ]
    table = pa.table(list(arrays.values()), schema=pa.schema(fields))
    pa.csv.write_csv(table, stem.with_suffix(".csv"))
    pa.parquet.write_table(table, stem.with_suffix(".parquet"))
