"""Which columns hold the ids and the names, and their values as text."""

from __future__ import annotations

import difflib
import re
from collections.abc import Mapping, Sequence
from typing import Any, NamedTuple, TypeAlias

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from scout.errors import InputError
from scout.model import GEOMETRY, RECORD, Layer
from scout.parks.names import fold

# An array of str: of numpy, or of pandas where a column is one already. To make objects of all would take
# longer than to read them, and most are never looked at.
Texts: TypeAlias = Any

# Column names in lower case without signs, the more telling first.
ID_WORDS = (
    *("parkid", "parkcode", "parkref", "parkno", "unitid", "unitcode", "unitno", "siteid", "sitecode"),
    *("areaid", "areacode", "reserveid", "trailid", "riverid", "reference", "ref", "code", "refno", "number"),
    *("identifier", "uniqueid", "uuid", "guid", "globalid", "id", "sourceid", "featureid", "featid"),
    *("codigo", "codice", "kode", "kod", "koodi", "clave", "tunnus", "kennung", "kennziffer", "referenz"),
    *("referencia", "identifiant", "identificador", "identificativo", "編號", "编号", "コード", "код"),
    *("osmid", "osmwayid", "objectid", "gid", "fid", "ogcfid", "recordid", "recno", "atid"),
)
NAME_WORDS = (
    *("parkname", "unitname", "sitename", "areaname", "reservename", "trailname", "rivername"),
    *("name", "fullname", "officialname", "longname", "nameen", "englishname", "title", "label"),
    *("nombre", "nom", "navn", "namn", "naam", "nome", "nimi", "nazwa", "nazev", "nazov", "naziv", "ime"),
    *("nev", "nume", "isim", "имя", "название", "наименование", "назва", "име", "ονομα", "ονομασια"),
    *("名称", "名稱", "名前", "名", "公園名", "이름", "명칭", "공원명", "اسم", "الاسم", "שם", "नाम", "ชื่อ"),
    *("nombreoficial", "nomofficiel", "denominacion", "denominazione", "denominacao", "bezeichnung"),
    *("benennung", "gebietsname", "benaming", "toponyme"),
    *("unitnm", "parknm", "locnm", "localname", "shortname", "nm", "placename", "featurename"),
)
# Names of columns that tell records apart, whatever parks these belong to,
_RECORD_KEYS = frozenset({"uuid", "guid", "globalid", "featureid", "osmid", "osmwayid"})
_PERHAPS_KEYS = frozenset({"id", "identifier", "uniqueid", "sourceid"})  # where they are whole numbers
_KEY = re.compile(
    r"\{?[0-9a-f]{8}-?[0-9a-f]{4}-?[0-9a-f]{4}-?[0-9a-f]{4}-?[0-9a-f]{12}\}?|(node|way|relation|[nwr])/?\d+",
    re.I,
)
# and of row counters among them: they tell records of one file apart and mean nothing in another.
_COUNTERS = frozenset({"objectid", "gid", "fid", "ogcfid", "recordid", "recno", "featid", "atid"})
# Texts that mean "no value" in tables of real agencies; as an id they would join strangers.
_NOTHING = frozenset({"", "null", "<null>", "none", "nan", "n/a", "na", "-", "?", "unknown", "tbd"})
_LEAST_FILLED = 0.5  # of the records; below, a column is no id column
_SHOWN = 20  # columns listed in a line
_LEAST_DISTINCT = 0.5  # of the filled ones; below, a column is a class, such as a state's code


def convert_to_texts(column: pd.Series) -> Texts:
    """Values as text: whole numbers without ".0", blanks trimmed, missing ones empty.

    Examples
    --------
    >>> convert_to_texts(pd.Series([12.0, None, 3.5])).tolist()
    ['12', '', '3.5']
    >>> convert_to_texts(pd.Series([" Q-7 ", None, 8])).tolist()
    ['Q-7', '', '8']
    """
    made: NDArray[np.object_]
    plain = column.dtype.kind if isinstance(column.dtype, np.dtype) else ""
    if plain and plain in "iu":
        made = column.astype(str).to_numpy(dtype=object)
        return made
    if plain == "f":
        values = column.to_numpy()
        whole = np.isfinite(values) & (np.floor(values) == values) & (np.abs(values) < 2**53)
        made = np.full(len(values), "", dtype=object)
        made[whole] = values[whole].astype(np.int64).astype(str)
        odd = np.isfinite(values) & ~whole
        made[odd] = [repr(float(value)) for value in values[odd]]
        return made
    if isinstance(column.dtype, pd.StringDtype):
        return column.str.strip().fillna("").array
    return np.array([_convert_to_text(value) for value in column], dtype=object)


def _convert_to_text(value: Any) -> str:
    if isinstance(value, bytes):
        return value.decode("utf-8", errors="replace").strip()
    if isinstance(value, (float, np.floating)):
        return (
            "" if not np.isfinite(value) else str(int(value)) if value == int(value) else repr(float(value))
        )
    if value is None or value is pd.NA or value is pd.NaT:
        return ""
    return str(value).strip()


def _convert_ids(column: pd.Series) -> Texts:
    """Ids as text, empty where the text only says that there is none."""
    made = convert_to_texts(column)
    if isinstance(made, np.ndarray):
        low = map(str.casefold, made.tolist())
        none = np.fromiter(map(_NOTHING.__contains__, low), dtype=bool, count=len(made))
    else:
        none = pd.Series(made).str.lower().isin(_NOTHING).to_numpy(dtype=bool)
    if none.any():
        made[none] = ""
    return made


def _order(words: Sequence[str]) -> dict[str, int]:
    """Place of each word, as `_simplify_name` leaves it."""
    return {_simplify_name(word): k for k, word in reversed(list(enumerate(words)))}


def split_columns(asked: str | None) -> list[str]:
    """Split a text that names several columns, with commas between them."""
    return [part for part in map(str.strip, (asked or "").split(",")) if part]


def check_id_columns(layers: Sequence[Layer], asked: str | None) -> None:
    """See that a column, or each of several, is in one layer at least; see `check_column_named`."""
    if asked is not None and not any(find_column(layer, asked) for layer in layers):
        for one in split_columns(asked) or [asked]:
            check_column_named(layers, one, "ids")


def check_column_named(layers: Sequence[Layer], asked: str | None, role: str) -> None:
    """See that a column named by option is in one layer at least.

    Raises
    ------
    InputError
        With the columns there are, and the one that was perhaps meant.
    """
    if asked is None or any(find_column(layer, asked) for layer in layers):
        return
    there = list(dict.fromkeys(name for layer in layers for name in list_attributes(layer)))
    meant = _guess_column(asked, there)
    hint = f"did you mean {meant!r}? " if meant else ""
    what = f"there is no column {asked!r} for the {role}"
    raise InputError(
        ", ".join(layer.source.where for layer in layers), what, f"{hint}columns: {', '.join(there)}"
    )


def _guess_column(asked: str, there: Sequence[str]) -> str:
    """The column that was perhaps meant; empty if none is like it."""
    near = difflib.get_close_matches(asked.casefold(), [name.casefold() for name in there], 1)
    return next((name for name in there if near and name.casefold() == near[0]), "")


def list_attributes(layer: Layer) -> list[str]:
    """List the columns of a layer that are the file's own."""
    return [str(name) for name in layer.frame.columns if name not in (GEOMETRY, RECORD)]


def find_column(layer: Layer, asked: str) -> str:
    """Find the column of that name, exact or but for its case; empty if there is none."""
    there = list_attributes(layer)
    if asked in there:
        return asked
    return min((name for name in there if name.casefold() == asked.casefold()), default="")


def _simplify_name(name: str) -> str:
    return fold(name).replace(" ", "")


_ID_ORDER, _NAME_ORDER = _order(ID_WORDS), _order(NAME_WORDS)


def _find_known_columns(layer: Layer, words: Mapping[str, int]) -> list[str]:
    """Columns with a known name, the more telling first."""
    plain = {name: _simplify_name(name) for name in list_attributes(layer)}
    known = [name for name in plain if plain[name] in words]
    # Of names alike but for signs and case the order in the file says nothing: readers differ in it.
    return sorted(known, key=lambda name: (words[plain[name]], name))


def select_telling_columns(there: Sequence[str], asked: Sequence[str]) -> list[str]:
    """The columns among some that can hold ids or names, or are asked for, in their order."""
    wanted = {name.casefold() for name in asked}
    return [
        name
        for name in there
        if _simplify_name(name) in _ID_ORDER
        or _simplify_name(name) in _NAME_ORDER
        or name.casefold() in wanted
    ]


class IdColumn(NamedTuple):
    """The id column of a layer ("" if none), its values, and what is known of them."""

    column: str
    values: Texts
    asked: bool = False  # it was named by option
    counter: bool = False  # they only count the rows
    keys: bool = False  # they tell records apart and not parks, as a counter does
    distinct: bool = False  # every record is known to have one of its own


def choose_id(layer: Layer, asked: str | None) -> IdColumn:
    """Find the id column.

    A column found by its name must be filled for half of the records and have as many different values as
    half of those: records of one id are joined, and a column of classes would join everything. One named by
    option is taken as it is; of several, with commas between them, the values make one id.
    """
    named = find_column(layer, asked) if asked else ""
    several = [named] if named else [find_column(layer, one) for one in split_columns(asked)]
    if several and all(several):
        return IdColumn(", ".join(several), _join_ids(layer, several), asked=True)
    for name in _find_known_columns(layer, _ID_ORDER):
        values = _convert_ids(layer.frame[name])
        there = np.asarray(values != "", dtype=bool)
        filled = values if there.all() else values[there]
        if not 0 < len(filled) >= _LEAST_FILLED * len(values):
            continue
        different = len(pd.factorize(filled)[1])
        if different >= _LEAST_DISTINCT * len(filled):
            counter = _simplify_name(name) in _COUNTERS or _is_row_counter(filled)
            keys = counter or _simplify_name(name) in _RECORD_KEYS
            if not keys and different == len(filled):
                keys = _key_like(filled, _simplify_name(name) in _PERHAPS_KEYS)
            return IdColumn(name, values, False, counter, keys, different == len(values))
    return IdColumn("", np.full(len(layer.frame), "", dtype=object))


def _join_ids(layer: Layer, columns: Sequence[str]) -> Texts:
    """Ids of one column or several: without a value in the first the others tell no park."""
    first, *rest = (_convert_ids(layer.frame[name]) for name in columns)
    if not rest:
        return first
    rows = zip(first.tolist(), *(texts.tolist() for texts in rest), strict=True)
    return np.array([" / ".join(filter(None, row)) if row[0] else "" for row in rows], dtype=object)


def _key_like(values: Texts, perhaps: bool) -> bool:
    """Whether values are keys of a database or of OpenStreetMap; ``perhaps``: whole numbers will do."""
    if perhaps and all(map(str.isdecimal, values)):
        return True
    return bool(_KEY.fullmatch(values[0])) and all(map(_KEY.fullmatch, values))


def _is_row_counter(values: Texts) -> bool:
    """Whether values are the numbers from 0 or from 1, three of them at least."""
    size = len(values)
    if size < 3 or not values[0].isdecimal():
        return False
    whole = set(values.tolist())
    return any(whole == {str(n) for n in range(first, first + size)} for first in (0, 1))


def choose_name(layer: Layer, asked: str | None) -> tuple[str, Texts]:
    """The name column of a layer and its values; ("", all empty) if there is none with any text in it."""
    named = find_column(layer, asked) if asked else ""
    for name in [named] if named else _find_known_columns(layer, _NAME_ORDER):
        values = convert_to_texts(layer.frame[name])
        if named or (values != "").any():
            return name, values
    return "", np.full(len(layer.frame), "", dtype=object)


def list_nameless(layer: Layer, id_column: str, name_column: str) -> list[str]:
    """Say of a layer where no column of names was found which columns there are but that of the ids."""
    there = list_attributes(layer) if layer.columns is None else layer.columns
    there = [name for name in there if name != id_column]
    if name_column or not there:
        return []
    shown = ", ".join(there[:_SHOWN]) + (f" and {len(there) - _SHOWN:,} more" if len(there) > _SHOWN else "")
    return [
        f"{layer.source.where}: no column of names was found; if it is one of these, name it as the name "
        f"column: {shown}"
    ]


def list_lacking(layer: Layer, names: Sequence[str]) -> list[str]:
    """Say which columns to show a layer lacks."""
    lacking = []
    for name in names:
        if not find_column(layer, name):
            meant = _guess_column(name, list_attributes(layer))
            lacking.append(f"{name!r} (did you mean {meant!r}?)" if meant else repr(name))
    return [f"{layer.source.where}: there is no column {', '.join(lacking)} to show"] if lacking else []


def read_texts(layer: Layer, asked: str) -> Texts:
    """Texts of a column, all empty where there is none of that name."""
    column = find_column(layer, asked)
    return convert_to_texts(layer.frame[column]) if column else np.full(len(layer.frame), "", dtype=object)
