"""One batch whole as a folder of files, CSV or Parquet, and back into a store: nothing is lost on the way.

A folder holds a file for each table (``batch.csv``, ``reading.csv``, ...) and ``ARCHIVE.json``, which tells how many
rows each has and its SHA-256, so that a file that was cut short or changed is seen. In CSV an empty cell is nothing,
numbers are written so that they read back the same, and a text that a spreadsheet would take for a formula has an
apostrophe before it.
"""

import csv
import hashlib
import io
import json
import zipfile
from collections.abc import Callable, Sequence
from itertools import islice
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Annotated

import msgspec
import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.parquet as pq

from monitor.errors import ConfigError, StoreError, UnfitError
from monitor.files import bounded_bytes
from monitor.recipe.batch import Batch, BatchId
from monitor.store import schema
from monitor.store.store import Store
from monitor.store.transfer import Rows, Value
from monitor.translatable import Number

ARCHIVE_NAME = "ARCHIVE.json"
FORMAT = "proofing-monitor batch 1"
LARGEST_FILE_BYTES = 200_000_000  # judgement: ten days of one batch's readings are a fifth of it
LARGEST_LIST_BYTES = 1_000_000  # judgement: of ARCHIVE.json, which names a dozen tables
MOST_ROWS = 500_000  # judgement: ten days of four channels each ten seconds are 345,600; a small file can hold many
INTEGERS = range(-(2**63), 2**63)  # what SQLite can hold
QUOTED = ("=", "+", "-", "@", "\t", "\r", "'")  # OWASP's list for CSV injection, and the mark itself
MARK = "'"
_ARROW = {"INTEGER": pa.int64(), "REAL": pa.float64(), "TEXT": pa.string()}


class _File(msgspec.Struct, forbid_unknown_fields=True):
    rows: Annotated[int, msgspec.Meta(ge=0)]
    sha256: str
    columns: list[tuple[str, str]]


class _Archive(msgspec.Struct, forbid_unknown_fields=True):
    format: str
    kind: str
    tables_version: int
    files: dict[str, _File]


# -- CSV --------------------------------------------------------------------------------------------------------------


def _cell(value: Value) -> str:
    """A value as a cell: nothing for None, and no text that could be taken for a formula or for nothing.

    >>> _cell("=1+1"), _cell("'"), _cell(""), _cell(None), _cell(-0.1)
    ("'=1+1", "''", "'", '', '-0.1')
    """
    if value is None:
        return ""
    if isinstance(value, str):
        return MARK + value if not value or value.startswith(QUOTED) else value
    return repr(value)


def _value(cell: str, kind: str) -> Value:
    """What :func:`_cell` wrote, in a column of a type.

    >>> _value("'=1+1", "TEXT"), _value("'", "TEXT"), _value("", "REAL"), _value("-0.1", "REAL")
    ('=1+1', '', None, -0.1)
    """
    if not cell:
        return None
    if kind == "TEXT":
        return cell.removeprefix(MARK)
    if "_" in cell:  # Python reads 1_000 as a number, nobody else does
        raise UnfitError("{cell!r} is no number", cell=cell[:40])
    if kind != "INTEGER":
        return float(cell)
    if (whole := int(cell)) not in INTEGERS:
        raise UnfitError("{cell!r} is beyond all numbers that are kept", cell=cell[:40])
    return whole


def _csv_bytes(found: Rows) -> bytes:
    out = io.StringIO(newline="")
    writer = csv.writer(out, lineterminator="\r\n")  # RFC 4180
    writer.writerow([name for name, _ in found.columns])
    writer.writerows([_cell(value) for value in row] for row in found.values)
    return out.getvalue().encode()


def _from_csv(data: bytes, columns: Sequence[tuple[str, str]], n_rows: int) -> list[tuple[Value, ...]]:
    lines = csv.reader(io.TextIOWrapper(io.BytesIO(data), "utf-8", newline=""), strict=True)
    names = [name for name, _ in columns]
    kinds = [kind for _, kind in columns]
    usual = csv.field_size_limit(LARGEST_FILE_BYTES)  # a picture is one cell
    try:
        if next(lines, None) != names:
            raise UnfitError("its first row must name the columns {names}", names=", ".join(names))
        return [
            tuple(_value(cell, kind) for cell, kind in zip(row, kinds, strict=True))
            for row in islice(lines, n_rows + 1)  # one more tells that there are too many
        ]
    finally:
        csv.field_size_limit(usual)


# -- Parquet ----------------------------------------------------------------------------------------------------------


def _parquet_bytes(found: Rows) -> bytes:
    across = list(zip(*found.values, strict=True)) or [()] * len(found.columns)
    arrays = [pa.array(list(cells), _ARROW[kind]) for cells, (_, kind) in zip(across, found.columns, strict=True)]
    out = io.BytesIO()
    pq.write_table(pa.table(arrays, names=[name for name, _ in found.columns]), out, compression="zstd")
    return out.getvalue()


def _from_parquet(data: bytes, columns: Sequence[tuple[str, str]], n_rows: int) -> list[tuple[Value, ...]]:
    """The rows; texts stay as they are packed, each once, until it is known that they do not unpack beyond bounds."""
    texts = [name for name, kind in columns if kind == "TEXT"]
    file = pq.ParquetFile(io.BytesIO(data), read_dictionary=texts)
    types = {**_ARROW, "TEXT": pa.dictionary(pa.int32(), pa.string())}
    if not file.schema_arrow.equals(pa.schema([(name, types[kind]) for name, kind in columns])):
        raise UnfitError("its columns must be {columns}", columns=", ".join((name for name, _ in columns)))
    if file.metadata.num_rows != n_rows:
        raise UnfitError("it has {n} rows, {rows} were written", n=file.metadata.num_rows, rows=n_rows)
    groups = [file.metadata.row_group(number) for number in range(file.metadata.num_row_groups)]
    left_bytes = LARGEST_FILE_BYTES - sum(group.total_byte_size for group in groups)
    across: list[list[Value]] = [[] for _ in columns]
    for number in range(len(groups)) if left_bytes >= 0 else ():
        for cells, column in zip(across, file.read_row_group(number).columns, strict=True):
            for chunk in column.chunks:
                if isinstance(chunk, pa.DictionaryArray):
                    lengths = pc.take(pc.binary_length(chunk.dictionary), chunk.indices)
                    left_bytes -= pc.sum(lengths).as_py() or 0
                    if left_bytes < 0:
                        break
                    words = chunk.dictionary.to_pylist()
                    cells += [None if at is None else words[at] for at in chunk.indices.to_pylist()]
                else:
                    cells += chunk.to_pylist()
    if left_bytes < 0:
        raise UnfitError("it unpacks to more than {most} MB", most=Number(LARGEST_FILE_BYTES / 1e6, "g"))
    return list(zip(*across, strict=True))


_Read = Callable[[bytes, Sequence[tuple[str, str]], int], list[tuple[Value, ...]]]
_KINDS: dict[str, tuple[Callable[[Rows], bytes], _Read]] = {
    "csv": (_csv_bytes, _from_csv),
    "parquet": (_parquet_bytes, _from_parquet),
}
KINDS = tuple(_KINDS)


# -- folders ----------------------------------------------------------------------------------------------------------


def archive_batch(store: Store, batch_id: BatchId, folder: Path, kind: str = "csv") -> dict[Path, int]:
    """Write everything the store holds of a batch into a folder; returns how many rows each file has.

    Raises
    ------
    StoreError
        When the store has no such batch or the folder cannot be written.
    """
    write, _ = _KINDS[kind]
    n_rows: dict[Path, int] = {}
    files = {}
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for found in store.transfer.take_out(batch_id):
            data = write(found)
            path = folder / f"{found.table}.{kind}"
            path.write_bytes(data)
            files[found.table] = _File(len(found.values), hashlib.sha256(data).hexdigest(), list(found.columns))
            n_rows[path] = len(found.values)
        archive = _Archive(FORMAT, kind, len(schema.MIGRATIONS), files)
        (folder / ARCHIVE_NAME).write_text(json.dumps(msgspec.to_builtins(archive), indent=1) + "\n")
    except OSError as error:
        raise StoreError(
            "{folder}: cannot be written ({why}); name a folder this user may write", folder=folder, why=error.strerror
        ) from error
    return n_rows


def zipped_batch(store: Store, batch_id: BatchId, kind: str = "csv") -> bytes:
    """The folder of :func:`archive_batch` as one ZIP file.

    Raises
    ------
    StoreError
        When the store has no such batch, or nothing can be written for a moment.
    """
    out = io.BytesIO()
    with TemporaryDirectory() as name, zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as packed:
        archive_batch(store, batch_id, Path(name), kind)
        for path in sorted(Path(name).iterdir()):
            packed.write(path, path.name)
    return out.getvalue()


def import_batch(store: Store, folder: Path) -> Batch:
    """Put an archived batch into the store; returns it as it is there.

    Raises
    ------
    ConfigError
        When the folder holds no archive, or one that was changed, is too large, or does not fit.
    """
    try:
        archive = msgspec.json.decode(bounded_bytes(folder / ARCHIVE_NAME, LARGEST_LIST_BYTES), type=_Archive)
    except (OSError, msgspec.DecodeError) as error:
        raise ConfigError(
            "{folder}: holds no archived batch ({archive_name}: {why})",
            folder=folder,
            archive_name=ARCHIVE_NAME,
            why=error,
        ) from error
    if archive.format != FORMAT or archive.kind not in _KINDS or archive.tables_version > len(schema.MIGRATIONS):
        raise ConfigError(
            "{folder}: was written by a newer version of this program; install that version", folder=folder
        )
    if archive.tables_version < 1 or sum(file.rows for file in archive.files.values()) > MOST_ROWS:
        raise ConfigError(
            "{folder}: {archive_name} says tables of version {version} and {rows} rows, which no batch has; at most "
            "{most} rows are read",
            folder=folder,
            archive_name=ARCHIVE_NAME,
            version=archive.tables_version,
            rows=sum(file.rows for file in archive.files.values()),
            most=MOST_ROWS,
        )
    tables = [_table(folder, archive.kind, table, file) for table, file in archive.files.items()]
    try:
        return store.transfer.put_in(tables)
    except (ValueError, OverflowError, StoreError) as error:
        raise ConfigError("{folder}: is no batch of this program: {why}", folder=folder, why=error) from error


def _table(folder: Path, kind: str, table: str, file: _File) -> Rows:
    if not (table.isascii() and table.replace("_", "").isalpha()):
        raise ConfigError(
            "{folder}: names a table {table!r}, which is no table's name", folder=folder, table=table[:40]
        )
    path = folder / f"{table}.{kind}"
    _, read = _KINDS[kind]
    try:
        data = bounded_bytes(path, LARGEST_FILE_BYTES)
        if hashlib.sha256(data).hexdigest() != file.sha256:
            raise ConfigError(
                "{path}: was changed or cut short since it was written; archive the batch again", path=path
            )
        if any(column_kind not in _ARROW for _, column_kind in file.columns):
            raise UnfitError("it has columns of an unknown kind")
        values = read(data, file.columns, file.rows)
    except OSError as error:
        raise ConfigError("{path}: cannot be read ({why})", path=path, why=error.strerror) from error
    except (ValueError, csv.Error, pa.ArrowException) as error:
        raise ConfigError("{path}: cannot be read: {why}", path=path, why=error) from error
    if len(values) != file.rows:
        raise ConfigError("{path}: has other rows than the {rows} that were written", path=path, rows=file.rows)
    return Rows(table, tuple(file.columns), tuple(values))
