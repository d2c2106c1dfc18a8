"""The table of a study: one row per deck, as CSV and, where pyarrow is installed, as Parquet.

Units, hashes and versions stand in the Parquet file's metadata: the unit of a column in its field,
the rest under the schema's key "deckslab" as JSON, and a digest of all values under
"deckslab.values", because Parquet's own checksums leave its footer out. Nothing in either file
depends on when, where, in which order or by how many workers the decks were computed.
"""

import csv
import hashlib
import io
import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from importlib.util import find_spec
from pathlib import Path
from typing import Any

from pipelines.errors import MissingError
from pipelines.study.groups import VARIABLES
from pipelines.study.own import own_meanings, own_names
from pipelines.study.plan import Plan, Row
from pipelines.study.spec import ERROR, Study
from pipelines.study.task import Finished
from pipelines.system.files import plain_cell

METADATA = "deckslab"
DIGEST = "deckslab.values"
RESPONSE = "response"
MODEL_COLUMNS = ("order", "cells", "degrees_of_freedom")


@dataclass(frozen=True)
class Column:
    """name, unit, meaning in words, and the values of all rows; None = not known."""

    name: str
    unit: str
    meaning: str
    values: tuple[Any, ...]


def study_columns(
    study: Study, plan: Plan, finished: Mapping[str, Finished], stopped: str = ""
) -> tuple[Column, ...]:
    """Columns of the table; finished : rows by key; stopped : why others are not
    there."""
    rows = plan.rows
    results = [None if row.reason else finished.get(row.key) for row in rows]
    columns = [
        Column("row", "", "number in the design, from 1", tuple(row.number for row in rows)),
        Column("key", "", "hash of deck, wishes and program", tuple(row.key for row in rows)),
        Column(
            "status",
            "",
            "done, above target (of the numerical tolerance), failed or not computed",
            tuple(_status(row, r) for row, r in zip(rows, results, strict=True)),
        ),
        Column(
            "reason",
            "",
            "why the row failed or is above target",
            tuple(
                row.reason or (r.reason if r else stopped)
                for row, r in zip(rows, results, strict=True)
            ),
        ),
    ]
    own = own_meanings(study, own_names(row.own for row in rows))
    for parameter in study.parameters:
        where = parameter.group or ", ".join(parameter.keys) or "for formulas"
        levels = tuple(row.values[parameter.name] for row in rows)
        meaning = f"parameter: {where}{own.get(parameter.name, '')}"
        columns.append(Column(parameter.name, parameter.unit, meaning, levels))
    for name, unit in VARIABLES.items() if study.reference is not None else ():
        lengths = tuple(row.variables.get(name) for row in rows)
        columns.append(Column(name, unit, "of the reference", lengths))
    for response in study.responses:
        name = response.name
        values = tuple(r.values.get(name) if r else None for r in results)
        columns.append(Column(name, response.unit, RESPONSE + own.get(name, ""), values))
        errors = tuple(r.errors.get(name) if r else None for r in results)
        meaning = f"numerical tolerance of {name}"
        columns.append(Column(name + ERROR, response.unit, meaning, errors))
    for name in MODEL_COLUMNS:
        sizes = tuple(r.model.get(name) if r else None for r in results)
        columns.append(Column(name, "", "of the mesh", sizes))
    return tuple(columns)


def _status(row: Row, result: Finished | None) -> str:
    if result is not None:
        return result.status
    return "failed" if row.reason else "not computed"


def has_parquet() -> bool:
    """Whether Parquet files can be read and written here."""
    return find_spec("pyarrow") is not None


def write_parquet(path: Path, columns: Sequence[Column], metadata: Mapping[str, Any]) -> None:
    """Write the columns with their units, and the metadata."""
    import pyarrow as pa
    import pyarrow.parquet as pq

    arrays = [_array(column) for column in columns]
    fields = [
        pa.field(c.name, a.type, metadata={"unit": c.unit, "meaning": c.meaning})
        for c, a in zip(columns, arrays, strict=True)
    ]
    about = {METADATA: json.dumps(metadata, sort_keys=True)}
    table = pa.Table.from_arrays(arrays, schema=pa.schema(fields, metadata=about))
    table = table.replace_schema_metadata({**about, DIGEST: _digest(table)})
    # Bytes of one place together: numbers with all their digits take a fifth less.
    real = [field.name for field in table.schema if field.type == pa.float64()]
    pq.write_table(
        table,
        path,
        compression="zstd",
        compression_level=15,
        use_byte_stream_split=real,
        use_dictionary=[name for name in table.column_names if name not in real],
        write_page_checksum=True,
    )


def csv_text(columns: Sequence[Column]) -> str:
    """The columns as CSV with one line of names; numbers with all their digits."""
    stream = io.StringIO()
    writer = csv.writer(stream, lineterminator="\n")
    writer.writerow([plain_cell(column.name) for column in columns])
    for values in zip(*(column.values for column in columns), strict=True):
        writer.writerow([_in_csv(value) for value in values])
    return stream.getvalue()


def read_table(path: Path) -> tuple[tuple[Column, ...], dict[str, Any]]:
    """Columns and metadata of a study's Parquet file.

    Raises OSError or ValueError where it is not one, MissingError where pyarrow is not installed.
    """
    if not has_parquet():
        raise MissingError("a table in Parquet", "study")
    import pyarrow as pa
    import pyarrow.parquet as pq

    try:
        table = pq.read_table(path, page_checksum_verification=True)
    except (OSError, ValueError):
        raise
    except pa.ArrowException as error:  # a turned bit can name a type that pyarrow does not know
        raise ValueError(str(error)) from error
    kept = table.schema.metadata or {}
    written = kept.get(DIGEST.encode())
    if written is not None and written != _digest(table).encode():
        raise ValueError("its values are not those that were written")
    about = json.loads(kept.get(METADATA.encode(), b"{}"))
    if not isinstance(about, dict):
        raise ValueError("its metadata is no table")
    columns = []
    for field, array in zip(table.schema, table.columns, strict=True):
        told = {k.decode(): v.decode() for k, v in (field.metadata or {}).items()}
        values = tuple(array.to_pylist())
        columns.append(Column(field.name, told.get("unit", ""), told.get("meaning", ""), values))
    return tuple(columns), about


def _digest(table: Any) -> str:
    """Of a pyarrow table's names, units, meanings and values."""
    found = hashlib.sha256()
    for field, array in zip(table.schema, table.columns, strict=True):
        told = sorted((field.metadata or {}).items())
        found.update(repr((field.name, told, array.to_pylist())).encode())
    return found.hexdigest()


def _array(column: Column) -> Any:
    import pyarrow as pa

    values = [None if _missing(v) else v for v in column.values]
    known = [v for v in values if v is not None]
    if all(isinstance(v, bool) for v in known) and known:
        return pa.array(values, pa.bool_())
    if column.name in ("row", *MODEL_COLUMNS):
        return pa.array(values, pa.int64())
    if all(isinstance(v, int | float) and not isinstance(v, bool) for v in known):
        floats = known or column.meaning.startswith(RESPONSE) or column.name.endswith(ERROR)
        if floats:
            return pa.array([None if v is None else float(v) for v in values], pa.float64())
    return pa.array([None if v is None else _cell(v) for v in values], pa.string())


def _missing(value: object) -> bool:
    return value is None or value != value


def _cell(value: object) -> str:
    return str(value).lower() if isinstance(value, bool) else str(value)


def _in_csv(value: object) -> str:
    if _missing(value):
        return ""
    return plain_cell(value) if isinstance(value, str) else _cell(value)
