"""Pack Natural Earth 1:50m into the file that maps take their base geography from; run by hand.

    python tests/tools/make_geography.py ../shared/data/natural_earth

The sources are the GeoJSON files ``ne_50m_*`` of Natural Earth (naturalearthdata.com, public domain): land,
lakes, lines along rivers, lines between countries and between states, populated places.
`scout.output.base_geography` reads the result and describes it.
"""

from __future__ import annotations

import io
import json
import sys
import zipfile
from pathlib import Path
from typing import Any

import numpy as np
import shapely
from shapely.geometry import shape

from scout.output.base_geography import BASE_UNITS_PER_DEG, PACKED_FILE

OUT = Path(__file__).resolve().parents[2] / "scout" / "output" / PACKED_FILE
# Layer, file, what ranks a record (0 first) and the columns of its name.
LINES = {
    "land": ("land", None),
    "lakes": ("lakes", "name"),
    "rivers": ("rivers_lake_centerlines", "name"),
    "countries": ("admin_0_boundary_lines_land", None),
    "states": ("admin_1_states_provinces_lines", None),
}
OPEN_LINE = 1  # rank of a border that is not agreed on


def read_records(folder: Path, name: str) -> list[tuple[Any, dict[str, Any]]]:
    text = (folder / f"ne_50m_{name}.geojson").read_text(encoding="utf-8")
    records = [(f["geometry"], f["properties"]) for f in json.loads(text)["features"]]
    return [(shape(geometry), properties) for geometry, properties in records if geometry]


def rank_record(layer: str, properties: dict[str, Any]) -> int:
    if layer == "countries":
        return 0 if str(properties.get("featurecla", "")).startswith("International") else OPEN_LINE
    return int(properties.get("scalerank", 0))


def list_parts(geometry: Any) -> list[Any]:
    """The lines of a geometry; of polygons all their rings, which an even-odd filling puts together again."""
    if geometry.geom_type.endswith("Polygon"):
        return list(shapely.get_rings(shapely.get_parts(geometry)))
    return list(shapely.get_parts(geometry))


def thin_units(line: Any) -> np.ndarray:
    """Vertices in whole units, without those that repeat the one before."""
    units = np.rint(shapely.get_coordinates(line) * BASE_UNITS_PER_DEG).astype(np.int64)
    return units[np.concatenate([[True], np.any(np.diff(units, axis=0) != 0, axis=1)])]


def pack_lines(
    layer: str, records: list[tuple[Any, dict[str, Any]]], name: str | None
) -> dict[str, np.ndarray]:
    first, steps, sizes, ranks, names = [], [], [], [], []
    for geometry, properties in records:
        for line in list_parts(geometry):
            units = thin_units(line)
            if len(units) < 2:
                continue
            first.append(units[0])
            steps.append(np.diff(units, axis=0))
            sizes.append(len(units))
            ranks.append(rank_record(layer, properties))
            names.append(str((name and properties.get(name)) or ""))
    away = np.concatenate(steps)
    # The edge of the world, where Antarctica ends, has vertices of its own often enough.
    assert np.abs(away).max() < 2**15, layer
    packed = {
        "first": np.array(first, dtype=np.int32),
        "steps": away.astype(np.int16),
        "sizes": np.array(sizes, dtype=np.int32),
        "ranks": np.array(ranks, dtype=np.int8),
    }
    if name:
        packed["names"] = pack_texts(names)
    return {f"{layer}_{key}": value for key, value in packed.items()}


def pack_texts(texts: list[str]) -> np.ndarray:
    assert not any("\n" in text for text in texts)
    return np.frombuffer("\n".join(texts).encode("utf-8"), dtype=np.uint8)


def pack_towns(records: list[tuple[Any, dict[str, Any]]]) -> dict[str, np.ndarray]:
    """Towns by rank, the most people first; research stations and ruins are none."""
    kept = [(g, p) for g, p in records if p["featurecla"] not in ("Scientific station", "Historic place")]
    kept.sort(key=lambda record: (record[1]["scalerank"], -record[1]["pop_max"], record[1]["name"]))
    at = np.array([geometry.coords[0] for geometry, _ in kept])
    return {
        "towns_at": np.rint(at * BASE_UNITS_PER_DEG).astype(np.int32),
        "towns_ranks": np.array([p["scalerank"] for _, p in kept], dtype=np.int8),
        "towns_names": pack_texts([p["name"] for _, p in kept]),
    }


def write_packed(arrays: dict[str, np.ndarray]) -> None:
    """As `numpy.savez_compressed` writes it, pressed harder and with one date: the same bytes every time."""
    with zipfile.ZipFile(OUT, "w", zipfile.ZIP_DEFLATED, compresslevel=9) as archive:
        for name, array in arrays.items():
            text = io.BytesIO()
            np.lib.format.write_array(text, array, allow_pickle=False)
            archive.writestr(zipfile.ZipInfo(f"{name}.npy"), text.getvalue(), zipfile.ZIP_DEFLATED, 9)


def main() -> None:
    folder = Path(sys.argv[1])
    arrays: dict[str, np.ndarray] = {}
    for layer, (file, name) in LINES.items():
        arrays |= pack_lines(layer, read_records(folder, file), name)
    arrays |= pack_towns(read_records(folder, "populated_places_simple"))
    write_packed(arrays)
    sizes = ", ".join(f"{layer} {arrays[f'{layer}_sizes'].sum():,}" for layer in LINES)
    print(f"{OUT.name}: {OUT.stat().st_size:,} bytes; vertices: {sizes}; towns {len(arrays['towns_at']):,}")


if __name__ == "__main__":
    main()
