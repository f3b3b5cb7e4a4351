"""Ground for walks, drawn in metres about a place: ways, starts, barriers and heights by hand."""

import geopandas as gpd
import numpy as np
import pyproj
import shapely

from scout.model import CROSSING, DRIVE, HAZARD, NAME, WALK, WHAT, Relief, Surroundings


class Plain:
    """Metres about a place to degrees, through PROJ's own azimuthal equidistant projection."""

    def __init__(self, lon=10.0, lat=47.0):
        self.crs = pyproj.CRS.from_proj4(f"+proj=aeqd +lat_0={lat} +lon_0={lon} +datum=WGS84 +units=m")
        self._back = pyproj.Transformer.from_crs(self.crs, "EPSG:4326", always_xy=True)

    def degrees(self, *points):
        lon, lat = self._back.transform(*np.array(points, dtype=float).T)
        return np.atleast_1d(lon), np.atleast_1d(lat)

    def metres(self, lon, lat):
        return self._back.transform(lon, lat, direction="INVERSE")

    def placed(self, geometry):
        return shapely.transform(
            geometry, lambda xy: np.column_stack(self._back.transform(xy[:, 0], xy[:, 1]))
        )

    def frame(self, rows, **columns):
        """Rows are (metres geometry, what, name, ...) with more columns in order."""
        names = [WHAT, NAME, *columns]
        table = {name: [row[k + 1] for row in rows] for k, name in enumerate(names)}
        return gpd.GeoDataFrame(table, geometry=[self.placed(row[0]) for row in rows], crs="EPSG:4326")

    def surroundings(self, ways=(), starts=(), barriers=(), openings=(), closed=(), power=()):
        """Ways are (line, walk, drive, crossing), starts points or (point, what, name), others likewise."""
        way_rows = [(line, "way", "", walk, drive, crossing) for line, walk, drive, crossing in ways]
        start_rows = [s if isinstance(s, tuple) else (s, "parking", "") for s in starts]
        return Surroundings(
            ways=self.frame(way_rows, **{WALK: bool, DRIVE: bool, CROSSING: bool}).astype(
                {WALK: bool, DRIVE: bool, CROSSING: bool}
            ),
            starts=self.frame(start_rows),
            barriers=self.frame(list(barriers)),
            openings=self.frame([(p, "gate", "") for p in openings]),
            hazards=self.frame(
                [(*row, kind) for kind, rows in (("closed", closed), ("power", power)) for row in rows],
                **{HAZARD: str},
            ),
        )

    def relief(self, height, half_m=4000.0, cell_m=20.0):
        """Heights by a function of x and y in metres, sampled at the middles of cells."""
        n = int(2 * half_m / cell_m)
        middle = -half_m + (np.arange(n) + 0.5) * cell_m
        x, y = np.meshgrid(middle, middle[::-1])
        to_pixel = (1 / cell_m, 0.0, half_m / cell_m, 0.0, -1 / cell_m, half_m / cell_m)
        heights = np.broadcast_to(height(x, y), x.shape).astype(np.float32)
        return Relief(heights, to_pixel, self.crs.to_wkt(), "made.tif")
