"""What a Parquet file unpacks to, known from its metadata before anything is unpacked.

A value that is kept once may stand for a million records, and a text of a gigabyte packs to nothing.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from scout.errors import InputError

__all__ = ["Budget"]

_MOST, _TIMES = 2**29, 40  # bytes that are always taken, and times the file's size
_EACH = 200  # bytes that a record takes here beside its values
_BATCH, _AT_ONCE = 2000, 2**28  # records of a batch, and bytes that one may take
# Apache Parquet's format: physical types of fixed width, in bytes; PageType of dictionaries.
_WIDTHS = {"BOOLEAN": 1, "INT32": 4, "INT64": 8, "FLOAT": 4, "DOUBLE": 8, "INT96": 12}
_DICTIONARY_PAGE, _HEADER = 2, 64


@dataclass
class Budget:
    """What may be unpacked of some columns of a file, and what of it is left."""

    where: str
    rows: int  # of a batch
    left: int

    @classmethod
    def of(cls, file: Any, where: str, columns: Iterable[str]) -> Budget:
        """Look at the metadata of the columns that are to be read, by the names of their roots.

        Raises
        ------
        InputError
            They are too much, whatever else is in them.
        """
        meta, roots = file.metadata, tuple(columns)
        budget = cls(where, _BATCH, max(_MOST, _TIMES * Path(where).stat().st_size))
        places = [
            place
            for place in range(meta.num_columns)
            if (path := meta.schema.column(place).path) in roots
            or any(path.startswith(f"{root}.") for root in roots)
        ]
        widths = {
            k: max(_WIDTHS.get((one := meta.schema.column(k)).physical_type, one.length), 0) for k in places
        }
        total, longest = meta.num_rows * _EACH, 1
        with Path(where).open("rb") as stream:
            for group in range(meta.num_row_groups):
                for place, width in widths.items():
                    chunk = meta.row_group(group).column(place)
                    total += max(chunk.total_uncompressed_size, chunk.num_values * width)
                    if chunk.physical_type == "BYTE_ARRAY":
                        longest = max(longest, _longest(stream, chunk))
        if total > budget.left:
            raise budget.refusal()
        budget.rows = min(max(_AT_ONCE // longest, 1), _BATCH)
        return budget

    def take(self, batch: Any) -> None:
        """Count what has been unpacked.

        Raises
        ------
        InputError
            It is too much.
        """
        self.left -= batch.nbytes + _EACH * len(batch)
        if self.left < 0:
            raise self.refusal()

    def refusal(self) -> InputError:
        """Say that it is too much."""
        what = (
            f"its records unpack to more than {_MOST // 2**20} MiB and {_TIMES} times the size of the file: "
            "values are repeated, or texts very long"
        )
        return InputError(self.where, what, "export it with each park once and short texts")


def _longest(stream: Any, chunk: Any) -> int:
    """Bytes that one of a column's values may have where it is kept once for many; 1 where none is."""
    if "DELTA_BYTE_ARRAY" in chunk.encodings:  # each value may be the one before and a little more
        return int(chunk.total_uncompressed_size)
    offsets = (chunk.dictionary_page_offset, chunk.data_page_offset)
    stream.seek(min(one for one in offsets if one))
    kind, size = _page(stream.read(_HEADER))
    return size if kind == _DICTIONARY_PAGE else 1


def _page(header: bytes) -> tuple[int, int]:
    """Type of a page and what it unpacks to: the first two fields of its header, in Thrift's compact form."""
    values, at = [], 0
    for _ in range(2):
        if header[at : at + 1] != b"\x15":  # the next field, a whole number of 32 bits
            raise RuntimeError("the header of a page is damaged")
        shift = value = 0
        while True:
            at += 1
            if at >= len(header):
                raise RuntimeError("the header of a page is damaged")
            value |= (header[at] & 0x7F) << shift
            shift += 7
            if not header[at] & 0x80:
                break
        at += 1
        values.append(value >> 1 ^ -(value & 1))
    return values[0], values[1]
