"""The compiled loops of ``kernels.c``, where they were built; elsewhere numpy does the same, more slowly."""

from __future__ import annotations

import ctypes
import zlib
from collections.abc import Sequence
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]
Indices = NDArray[np.int32]

GROUP = 16  # runs of edges in a bigger box: 8 to 32 time alike on outlines of 1,000 to 100,000 vertices
_STEPS = 16  # from each point of a grid
_REACHED = np.dtype([("minutes", "<f8"), ("before", "<i4"), ("begin", "<i4")])
_COEFFICIENTS = ("x1", "x2", "y1", "y4")  # of `make_polynomial_frame`, in the order of the C side


def _load() -> ctypes.CDLL | None:
    """The library beside this file, or None where none is there that is of this source and loads."""
    place = Path(__file__).parent
    try:
        library = ctypes.CDLL(str(place / "kernels.compiled"))
        library.get_source_checksum.restype = ctypes.c_uint32
        if library.get_source_checksum() != zlib.crc32((place / "kernels.c").read_bytes()):
            return None
    except (OSError, AttributeError):
        return None
    library.find_nearest_edges.restype = None
    library.measure_nearby.restype = None
    library.read_cells.restype = None
    library.list_edges_in_boxes.restype = ctypes.c_int64
    return library


LIBRARY = _load()


class _OutlinePointers(ctypes.Structure):
    _fields_ = tuple(
        (name, ctypes.c_void_p)
        for name in (
            *("lon", "lat", "first", "count", "west", "south", "east", "north", "shrink", "group_run"),
            *("group_west", "group_south", "group_east", "group_north", "group_shrink", "park_group"),
        )
    )


class JoinErrors(NamedTuple):
    """The station, its errors and those of the boundaries, for pairs of a claim and a park."""

    known: Floats  # for each pair, as `Boundaries.know_side` gives it
    pair_p: Floats  # how surely the disc lies inside
    claim_p: Floats  # and touches the cells of the claim
    sigma_m: Floats  # of the boundary's error of each pair
    radius_m: float
    sigma_fix_m: float
    sharp: float  # share of that under which a boundary's error is taken as straight over it
    points: Floats  # shape (2, count), of unit sigma
    furthest: float  # the length of the longest
    kernel: Floats

    def words(self, n: int) -> tuple[Any, ...]:
        """What the library is called with for n pairs."""
        count = self.points.shape[1]
        station = (ctypes.c_double(v) for v in (self.radius_m, self.sigma_fix_m, self.sharp))
        points = (_floats(self.points[k], count) for k in (0, 1))
        furthest, kernel = ctypes.c_double(self.furthest), _floats(self.kernel, len(self.kernel))
        known = _floats(self.pair_p, n), _floats(self.claim_p, len(self.claim_p))
        return (
            _floats(self.known, n, 3),
            *known,
            _floats(self.sigma_m, n),
            *station,
            count,
            *points,
            furthest,
            kernel,
        )


class CompiledOutlines:
    """Outlines laid out for the compiled loops: runs of edges and groups of runs, with their boxes.

    Parameters
    ----------
    lon, lat : arrays, shape (vertices,)
        Degrees.
    first, count, ring : arrays of int, shape (runs,)
        First vertex, number of edges, and ring of each run; ascending.
    boxes : west, south, east, north, shrink
        Arrays, shape (runs,); the last is the least cosine of a latitude in the box.
    park_run : array of int, shape (parks + 1,)
        First run of each park.
    """

    def __init__(
        self,
        lon: Floats,
        lat: Floats,
        first: Ints,
        count: Ints,
        ring: Ints,
        boxes: Sequence[Floats],
        park_run: Ints,
    ) -> None:
        heads = np.flatnonzero(np.diff(ring, prepend=-1))
        at = np.arange(len(first)) - np.repeat(heads, np.diff(heads, append=len(first)))
        group = np.flatnonzero(at % GROUP == 0)
        reduce = (np.minimum, np.minimum, np.maximum, np.maximum, np.minimum)
        groups = [
            least.reduceat(box, group) if len(group) else box
            for least, box in zip(reduce, boxes, strict=True)
        ]
        arrays = [lon, lat, first, count, *boxes, np.append(group, len(first)), *groups]
        arrays.append(np.searchsorted(group, park_run))
        # Held here: the structure has their addresses only.
        self._held = [
            np.ascontiguousarray(one, dtype=np.int64 if one.dtype.kind == "i" else np.float64)
            for one in arrays
        ]
        self._parks = len(park_run) - 1
        self._all = _OutlinePointers(*(one.ctypes.data for one in self._held))

    def find_nearest(self, park: Ints, lon: Floats, lat: Floats, frame: Any) -> tuple[Ints, Floats, Bools]:
        """Nearest edge of each pair by its first vertex, the share along it, whether the point is inside."""
        n = len(park)
        vertex, share, inside = np.empty(n, dtype=np.int64), np.empty(n), np.empty(n, dtype=np.uint8)
        _call(
            "find_nearest_edges",
            *(ctypes.byref(self._all), n, _numbers(park, self._parks), _floats(lon, n), _floats(lat, n)),
            *(_stack_frame(frame, n), vertex, share, inside),
        )
        return vertex, share, inside.view(np.bool_)

    def list_in_boxes(self, park: Ints, low: Floats, high: Floats) -> tuple[Ints, Ints]:
        """Pair and first vertex of the edges whose own box meets the box of a pair, in order."""
        n = len(park)
        boxes = _floats(low, n, 2), _floats(high, n, 2)
        words = (ctypes.byref(self._all), n, _numbers(park, self._parks), *boxes)
        size = _call("list_edges_in_boxes", *words, None, None)
        pair, vertex = np.empty(size, dtype=np.int64), np.empty(size, dtype=np.int64)
        _call("list_edges_in_boxes", *words, pair, vertex)
        return pair, vertex

    def integrate(
        self,
        park: Ints,
        lon: Floats,
        lat: Floats,
        frame: Any,
        known: Floats,
        radius_m: float,
        sigma_m: Floats,
        rays: Floats,
    ) -> Floats:
        """Probability that a disc lies inside each park, by errors along rays of shape (2, rays).

        ``known`` as `Boundaries.know_side` gives it.
        """
        n = len(park)
        probability = np.empty(n)
        words = (
            ctypes.byref(self._all),
            n,
            _numbers(park, self._parks),
            _floats(lon, n),
            _floats(lat, n),
            _stack_frame(frame, n),
        )
        _call_checked("integrate_contained", *words, *_error(known, radius_m, sigma_m, rays), probability)
        return probability

    def join(
        self, claim: Ints, cell: Floats, park: Ints, lon: Floats, lat: Floats, frame: Any, errors: JoinErrors
    ) -> Floats:
        """Probability that each claim's conditions hold together, see `scout.geo.joint`.

        Pairs of a claim and a park come end to end; ``claim`` has where a claim's begin, and the end.
        """
        n = len(park)
        joint = np.empty(len(errors.claim_p))
        words = (
            ctypes.byref(self._all),
            len(joint),
            *_claims(claim, cell, n),
            n,
            _numbers(park, self._parks),
        )
        places = _floats(lon, n), _floats(lat, n), _stack_frame(frame, n)
        _call_checked("join_contained", *words, *places, *errors.words(n), joint)
        return joint


class CompiledEdges:
    """Edges near pairs, end to end, in metres from each pair's point."""

    def __init__(self, first: Ints, start: Floats, end: Floats, known: Floats, inside: Bools) -> None:
        self._pairs = len(first) - 1
        self._first = np.ascontiguousarray(first, dtype=np.int64)
        self._ends = _floats(start, int(first[-1]), 2), _floats(end, int(first[-1]), 2)
        self._known, self._inside = (
            _floats(known, self._pairs, 2),
            np.ascontiguousarray(inside).view(np.uint8),
        )

    def measure(self, pair: Ints, place: Floats, stretch: Floats) -> Floats:
        """Signed distances from places to the edges of pairs, positive inside; infinite without edges."""
        n = len(pair)
        clearance = np.empty(n)
        places = _floats(place, n, 2), _floats(stretch, n, 2)
        _call(
            "measure_nearby",
            *(
                self._first,
                *self._ends,
                self._known,
                self._inside,
                n,
                _numbers(pair, self._pairs),
                *places,
                clearance,
            ),
        )
        return clearance

    def integrate(
        self,
        pair: Ints,
        place: Floats,
        stretch: Floats,
        known: Floats,
        radius_m: float,
        sigma_m: Floats,
        rays: Floats,
    ) -> Floats:
        """Probability that a disc lies inside the park of each pair, see `CompiledOutlines.integrate`."""
        n = len(pair)
        probability = np.empty(n)
        words = (
            self._first,
            *self._ends,
            n,
            _numbers(pair, self._pairs),
            _floats(place, n, 2),
            _floats(stretch, n, 2),
        )
        _call_checked("integrate_nearby", *words, *_error(known, radius_m, sigma_m, rays), probability)
        return probability

    def join(
        self, claim: Ints, cell: Floats, pair: Ints, place: Floats, stretch: Floats, errors: JoinErrors
    ) -> Floats:
        """Probability that each claim's conditions hold together, see `CompiledOutlines.join`."""
        n = len(pair)
        joint = np.empty(len(errors.claim_p))
        words = (self._first, *self._ends, len(joint), *_claims(claim, cell, n), _numbers(pair, self._pairs))
        places = _floats(place, n, 2), _floats(stretch, n, 2)
        _call_checked("join_nearby", *words, *places, *errors.words(n), joint)
        return joint


def find_least_times(
    grid: tuple[Indices, NDArray[np.float32]],
    links: tuple[Indices, Indices, Floats],
    sources: Ints,
    targets: Ints,
    limit: float,
) -> tuple[Floats, Indices, Indices]:
    """Least times from the nearest of some sources, see `scout.walk.routes`.

    Parameters
    ----------
    grid : shifts, minutes
        Of its sixteen steps, shape (16,), what the number of a point grows by, in order, as far back as
        forth; their minutes, shape (points, 16), endless where a step would leave the grid.
    links : first, head, minutes
        Single edges by the points they begin at, those of the grid first: where those of each begin, and
        the end.
    sources, targets : arrays of int
        Numbers of points.
    limit : float
        Longer times are not followed.

    Returns
    -------
    times, points before, sources : arrays
        Of each point; of those further than the furthest target they mean nothing.
    """
    (shift, step), (first, head, minutes) = grid, links
    n, points = len(first) - 1, step.size // _STEPS
    if shift.shape != (_STEPS,) or step.dtype != np.float32 or points > n:
        raise ValueError("a grid of other steps, or larger than its points")
    steps = points, np.ascontiguousarray(shift, dtype=np.int32), np.ascontiguousarray(step)
    edges = first.astype(np.int32, copy=False), head.astype(np.int32, copy=False), _floats(minutes, len(head))
    ends = len(sources), _numbers(sources, n), len(targets), _numbers(targets, n)
    reached = np.empty(n, dtype=_REACHED)
    _call_checked("find_least_times", *steps, n, *edges, *ends, ctypes.c_double(limit), reached)
    return reached["minutes"], reached["before"], reached["begin"]


def find_circle_centres(
    ring: Ints, size: Ints, xy: Floats, inside: Floats, tolerance: Floats
) -> tuple[Floats, Bools]:
    """Centres of the largest circles in polygons, as GEOS has them of any with five vertices or more.

    Parameters
    ----------
    ring : array of int, shape (n + 1,)
        First ring of each polygon, and the number of rings at the end.
    size : array of int, shape (rings,)
        Vertices of each ring, which repeats its first.
    xy : array, shape (vertices, 2)
    inside : array, shape (n, 2)
        A place in each polygon: GEOS begins with `shapely.point_on_surface`.
    tolerance : array, shape (n,)

    Returns
    -------
    centre : array, shape (n, 2)
    found : array of bool, shape (n,)
        False where it took too long.
    """
    n, vertex = len(tolerance), np.append(0, np.cumsum(size))
    if len(ring) != n + 1 or ring[0] != 0 or ring[-1] != len(size) or np.any(np.diff(ring) < 1):
        raise ValueError("polygons that do not cover their rings")
    centre, found = np.empty((n, 2)), np.empty(n, dtype=np.uint8)
    places = _floats(xy, int(vertex[-1]), 2), _floats(inside, n, 2), _floats(tolerance, n)
    _call_checked("find_circle_centres", n, np.ascontiguousarray(ring), vertex, *places, centre, found)
    return centre, found.view(np.bool_)


def read_cells(cells: NDArray[np.float32], col: Floats, row: Floats) -> Floats:
    """Heights of a raster, shape (high, wide), see `scout.walk.terrain.read_cells`."""
    n, (high, wide) = len(col), cells.shape
    if cells.dtype != np.float32 or not high * wide:
        raise ValueError("a raster of other numbers, or of none")
    height = np.empty(n)
    words = np.ascontiguousarray(cells), high, wide, n, _floats(col, n), _floats(row, n), height
    _call("read_cells", *words)
    return height


def _error(known: Floats, radius_m: float, sigma_m: Floats, rays: Floats) -> tuple[Any, ...]:
    count = rays.shape[1]
    east, north = (_floats(rays[k], count) for k in (0, 1))
    return (
        _floats(known, len(known), 3),
        ctypes.c_double(radius_m),
        _floats(sigma_m, len(known)),
        count,
        east,
        north,
    )


def _claims(claim: Ints, cell: Floats, pairs: int) -> tuple[Ints, Floats]:
    first = np.ascontiguousarray(claim, dtype=np.int64)
    if first[0] != 0 or first[-1] != pairs or np.any(np.diff(first) < 0):
        raise ValueError("claims that do not cover their pairs")
    return first, _floats(cell, len(first) - 1, 3)


def _stack_frame(frame: Any, n: int) -> Floats:
    return _floats(np.stack([getattr(frame, name) for name in _COEFFICIENTS]), len(_COEFFICIENTS), n)


def _numbers(some: Ints, count: int) -> Ints:
    """Numbers of parks or pairs, of which there are so many; the C side does not look."""
    made = np.ascontiguousarray(some, dtype=np.int64)
    if len(made) and not 0 <= int(made.min()) <= int(made.max()) < count:
        raise IndexError(f"a number that is none of {count}")
    return made


def _floats(some: Any, *shape: int) -> Floats:
    made = np.ascontiguousarray(some, dtype=np.float64)
    if made.shape != shape:
        raise ValueError(f"an array of shape {made.shape} in place of {shape}")
    return made


def _call_checked(name: str, *words: Any) -> None:
    if not _call(name, *words):
        raise MemoryError("no memory for the compiled loops")


def _call(name: str, *words: Any) -> Any:
    """Call a function of the library; arrays go by address and numbers as 64 bits."""
    given: list[Any] = []
    for word in words:
        if isinstance(word, np.ndarray):
            given.append(ctypes.c_void_p(word.ctypes.data))
        else:
            given.append(ctypes.c_int64(word) if isinstance(word, int) else word)
    return getattr(LIBRARY, name)(*given)
