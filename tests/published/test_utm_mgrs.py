"""UTM and MGRS against implementations that are not ours.

R: `GeoConvert` of GeographicLib 2.1.2 (its own series and lettering), run for the points below; PyPI `mgrs`
(the C code of NGA's GEOTRANS), run in the test; pyproj's EPSG definitions, run in the test.
M: worked places that encyclopaedias and manuals print, from memory, each confirmed with GeoConvert (R).

GeographicLib gives latitude 84 to the polar zones, as we do. GEOTRANS gives it, and what lies within half a
millimetre short of a metre, to the other side: it is compared away from these.
"""

from __future__ import annotations

import math

import mgrs
import numpy as np
import pyproj
import pytest

from scout.errors import PlaceError
from scout.geo.coordinates.grids import format_mgrs, format_utm
from scout.geo.coordinates.parse import parse_place, read_place
from scout.geo.geodesy import measure_geodesic

# Latitude, longitude, zone with hemisphere, easting, northing (mm), MGRS: GeographicLib, R.
VECTORS = [
    (42, 15, "33n 500000.000 4649776.225", "33TWG0000049776"),
    (0, 0, "31n 166021.443 0.000", "31NAA6602100000"),
    (-0.00001, 0, "31s 166021.443 9999998.893", "31MAV6602199998"),
    (0, -0.00001, "30n 833977.443 0.000", "30NZF3397700000"),
    (45.123456, -89.456789, "16n 306783.893 4999601.317", "16TCQ0678399601"),
    (-34.91, -56.21166, "21s 572016.797 6136653.971", "21HWB7201636653"),
    (-33.8688, 151.2093, "56s 334368.634 6250948.345", "56HLH3436850948"),
    (64.1466, -21.9426, "27n 454138.377 7113689.869", "27WVM5413813689"),
    (-54.8, -68.3, "19s 545000.053 3927239.381", "19FEV4500027239"),
    (60, 5, "32n 276979.926 6658157.202", "32VKM7697958157"),
    (56, 3, "32n 126049.971 6222336.335", "32VJH2604922336"),
    (55.9999, 5.9999, "31n 687065.689 6210129.932", "31UFC8706510129"),
    (63.9999, 3.0001, "32n 206861.485 7110815.587", "32VKS0686110815"),
    (64, 5, "31n 597812.110 7098548.749", "31WEL9781298548"),
    (59, 2.9999, "31n 499994.255 6540052.018", "31VDF9999440052"),
    (72, 8.9999, "31n 706633.062 7999233.294", "31XGV0663399233"),
    (72, 9, "33n 293363.504 7999233.637", "33XTV9336399233"),
    (75, 20.9999, "33n 673065.391 8332368.661", "33XXD7306532368"),
    (78, 21, "35n 360973.604 8665496.996", "35XLG6097365496"),
    (80, 32.9999, "35n 616112.723 8887578.808", "35XPJ1611287578"),
    (80, 33, "37n 383885.349 8887579.008", "37XCJ8388587579"),
    (83.9999, 41.9999, "37n 534994.071 9328993.973", "37XEP3499428993"),
    (71.9999, 8, "32n 465510.796 7989207.602", "32WME6551089207"),
    (79, -0.0001, "30n 563874.035 8771615.856", "30XWN6387471615"),
    (79, 42, "38n 436123.838 8771615.966", "38XMN3612371615"),
    (36.5, -79.9, "17n 598512.577 4039970.618", "17SNA9851239970"),
    (-51.7, -57.85, "21s 441258.273 4271985.828", "21FVC4125871985"),
    (-54.28, -36.5, "24s 662755.771 3982441.095", "24FXE6275582441"),
    (-79.9999, 179.9999, "60s 558130.854 1116926.291", "60CWS5813016926"),
    (-80, -180, "01s 441867.785 1116915.044", "01CDM4186716915"),
    (10, 179.9999, "60n 828917.762 1106908.754", "60PZS2891706908"),
    (10, -179.9999, "01n 171082.238 1106908.754", "01PAM7108206908"),
    (8, -6, "30n 169256.158 885503.759", "30PSP6925685503"),
    (7.9999, -6.0001, "29n 830732.889 885492.609", "29NRJ3073285492"),
    (31.9999, 117, "50n 500000.000 3540424.609", "50RNA0000040424"),
    (32, 117, "50n 500000.000 3540435.693", "50SNA0000040435"),
    (40, -105, "13n 500000.000 4427757.219", "13TEE0000027757"),
    (84, 0, None, "ZAA0000033272"),
    (84.0001, -0.0001, None, "YZA9999833283"),
    (87.5, -45, None, "YYF0370503705"),
    (88, 135, None, "ZBJ5702657026"),
    (90, 0, None, "ZAH0000000000"),
    (-80.0001, 10, None, "BBY9325996031"),
    (-85, -120, None, "ATK1895922271"),
    (-89.9, 0, None, "BAN0000011102"),
    (-90, 0, None, "BAN0000000000"),
]
IN_UTM = [row for row in VECTORS if row[2]]


def random_places(seed, count=10_000, south=-90.0, north=90.0):
    rng = np.random.default_rng(seed)
    low, high = math.sin(math.radians(south)), math.sin(math.radians(north))
    lats = np.degrees(np.arcsin(rng.uniform(low, high, count)))
    return list(zip(rng.uniform(-180, 180, count).tolist(), lats.tolist(), strict=True))


@pytest.mark.parametrize(("lat", "lon", "expected", "_"), IN_UTM)
def test_utm_agrees_with_geographiclib(lat, lon, expected, _):
    head, east, north = expected.split()
    zone, given_east, given_north = format_utm(lon, lat, digits=3).split()
    assert zone[:2] == head[:2]
    assert (zone[2] >= "N") == (head[2] == "n")
    assert float(given_east) == pytest.approx(float(east), abs=0.0011)
    assert float(given_north) == pytest.approx(float(north), abs=0.0011)


@pytest.mark.parametrize(("lat", "lon", "expected", "_"), IN_UTM)
def test_utm_of_geographiclib_reads_back(lat, lon, expected, _):
    head, east, north = expected.split()
    word = {"n": "north", "s": "south"}[head[2]]
    back = parse_place(f"{head[:2]} {word} {east} {north}")
    assert measure_geodesic(*back, lon, lat)[0] < 0.001


@pytest.mark.parametrize(("lat", "lon", "_", "expected"), VECTORS)
def test_mgrs_agrees_with_geographiclib(lat, lon, _, expected):
    assert format_mgrs(lon, lat).replace(" ", "") == expected
    place = read_place(expected)
    assert measure_geodesic(place.lon, place.lat, lon, lat)[0] <= place.uncertainty_m * 1.007


def test_a_hair_south_of_the_equator_is_the_last_metre_of_the_south():
    """The C library writes `31MEA0000000000` for the first, and refuses to read it again (R)."""
    for hair in (1e-9, 1e-12, 1e-300):
        assert format_mgrs(3, -hair) == "31M EV 00000 99999"
    assert format_mgrs(3, -0.0) == format_mgrs(3, 0) == "31N EA 00000 00000"


def test_utm_agrees_with_the_epsg_definitions():
    """EPSG:32601-32660 and 32701-32760 by pyproj (R), the zone taken from its number alone."""
    groups = {}
    for lon, lat in random_places(1, 3000, -80, 84):
        text = format_utm(lon, lat, digits=4)
        groups.setdefault((int(text[:2]), lat < 0), []).append((lon, lat, *map(float, text.split()[1:])))
    for (zone, south), rows in groups.items():
        to_utm = pyproj.Transformer.from_crs(4326, (32700 if south else 32600) + zone, always_xy=True)
        lon, lat, east, north = np.array(rows).T
        assert np.allclose(to_utm.transform(lon, lat), (east, north), rtol=0, atol=1e-3)


def test_mgrs_agrees_with_geotrans():
    geotrans, compared = mgrs.MGRS(), 0
    for lon, lat in random_places(2):
        metre = format_utm(lon, lat, digits=4).split()[1:] if -80 <= lat < 84 else ["0.5"]
        if min(abs(lat - 84), abs(lat + 80)) > 1e-4 and all(float(v) % 1 < 0.999 for v in metre):
            assert format_mgrs(lon, lat).replace(" ", "") == geotrans.toMGRS(lat, lon), (lat, lon)
            compared += 1
    assert compared > 9900


def test_mgrs_reads_as_geotrans_does():
    """GEOTRANS gives a point of the square in UTM: its corner up to release 1.5, its centre in 1.6 (R)."""
    geotrans = mgrs.MGRS()
    for lon, lat in random_places(3, 2000, -79.9, 83.9):
        text = format_mgrs(lon, lat, digits=4)
        zone, hemisphere, east, north = geotrans.MGRSToUTM(text.replace(" ", ""))
        word = {"N": "north", "S": "south"}[hemisphere]
        theirs, ours = parse_place(f"{zone} {word} {east:.1f} {north:.1f}"), read_place(text)
        assert measure_geodesic(*theirs, ours.lon, ours.lat)[0] < ours.uncertainty_m * 1.001


@pytest.mark.parametrize(
    ("text", "lat", "lon", "off_m"),
    [
        ("17N 630084 4833438", 43 + 38 / 60 + 33.24 / 3600, -79 - 23 / 60 - 13.7 / 3600, 1),  # M
        ("17T 630084E 4833438N", 43 + 38 / 60 + 33.24 / 3600, -79 - 23 / 60 - 13.7 / 3600, 1),  # M
        ("4QFJ12345678", 21.309478, -157.916819, 0.1),  # M, coordinates R
        ("38SMB4488", 33.334235085, 44.403627848, 0.1),  # M, coordinates R
        ("38S MB 44 88", 33.334235085, 44.403627848, 0.1),
        ("33TWG0000049776", 42.000002478, 15.000006037, 0.1),  # R
    ],
)
def test_a_printed_place_is_where_it_is_printed(text, lat, lon, off_m):
    assert measure_geodesic(*parse_place(text), lon, lat)[0] < off_m


@pytest.mark.parametrize("digits", [0, 2])
def test_ten_thousand_places_come_back_from_utm(digits):
    half_m = math.hypot(0.5, 0.5) / 0.9996 * 10.0**-digits + 1e-6  # the scale of UTM is 0.9996 to 1.001
    places = random_places(4, 10_000, -80, 84)
    back = [parse_place(format_utm(lon, lat, digits)) for lon, lat in places]
    distance, _ = measure_geodesic(*np.array(places).T, *np.array(back).T)
    assert distance.max() <= half_m


@pytest.mark.parametrize("digits", [5, 3])
def test_ten_thousand_places_come_back_from_mgrs(digits):
    places = [*random_places(5, 9000), *random_places(6, 500, 83, 90), *random_places(7, 500, -90, -79)]
    read = [read_place(format_mgrs(lon, lat, digits)) for lon, lat in places]
    distance, _ = measure_geodesic(*np.array(places).T, *np.array([(p.lon, p.lat) for p in read]).T)
    half_diagonal = math.sqrt(0.5) * 10.0 ** (5 - digits)
    assert [p.uncertainty_m for p in read] == pytest.approx([half_diagonal] * len(read))
    assert distance.max() <= half_diagonal * 1.007  # the polar scale falls to 0.994


def test_s_is_read_only_where_it_can_mean_one_thing():
    assert parse_place("56S 334368.634 6250948.345") == pytest.approx((151.2093, -33.8688), abs=1e-7)
    for text in ("17S 598512.577 4039970.618", "21S 441258.273 4271985.828"):
        with pytest.raises(PlaceError, match=r'write ".. south .* or ".. north'):
            read_place(text)
    assert parse_place("17 north 598512.577 4039970.618") == pytest.approx((-79.9, 36.5), abs=1e-7)
    assert parse_place("21 south 441258.273 4271985.828") == pytest.approx((-57.85, -51.7), abs=1e-7)
    for lon, lat in ((-79.9, 36.5), (-57.85, -51.7)):
        assert parse_place(format_utm(lon, lat)) == pytest.approx((lon, lat), abs=1e-5)


def test_n_and_e_after_the_numbers_give_their_order():
    assert parse_place("33T 500000mE 4649776mN") == parse_place("33T 4649776N 500000E")


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("33U 500000 4649776", "band U holds latitudes 48 to 56"),
        ("33I 500000 4649776", "no band I"),
        ("61N 500000 4649776", "no zone 61"),
        ("0N 500000 4649776", "no zone 0"),
        ("33N 4649776 500000", "easting comes before northing"),
        ("33N 99999 4649776", "easting 99999"),
        ("33N 500000 9999999", "not in the northern part"),
        ("33 south 500000 1000000", "not in the southern part"),
        ("33N 500000E 4649776E", "letters of easting and northing"),
        ("33N 500000 4649776 17", "too many digits"),
        ("33 500000 4649776", "too many digits"),
        ("UTM 33N 500000", "is not understood as UTM"),
        ("33UWG0000049776", "does not reach into zone 33U"),
        ("33TSG0000049776", "does not reach into zone 33T"),
        ("33TAG0000049776", "no square AG"),
        ("61TWG0000049776", "no zone 61T"),
        ("32XNG0000000000", "no zone 32X"),
        ("33TWG000049776", "same number of digits"),
        ("33TWG 0000 049776", "same number of digits"),
        ("33TWG 000000 497760", "same number of digits"),
        ("AAA1234512345", "no square AA in zone A"),
        ("YJA0000", "no square JA in zone Y"),
        ("ZJP9999", "does not reach into zone Z"),
        ("BRZ9999", "does not reach into zone B"),
    ],
)
def test_what_no_zone_or_square_holds_is_refused(text, says):
    """The C library reads `33UWG0000049776` at 60 N, outside the band it names, with a warning only (R)."""
    with pytest.raises(PlaceError) as caught:
        read_place(text)
    assert says in str(caught.value)


def test_utm_is_not_written_beyond_its_ends():
    for lat in (84.1, -80.1, 90):
        with pytest.raises(PlaceError, match="MGRS"):
            format_utm(0, lat)
