"""Reading opens local files of the listed formats, and asks no network for anything.

A server on this machine counts what reaches it. GDAL remembers addresses, so each try has its own.
"""

from __future__ import annotations

import itertools
import socket
import threading
import zipfile
from collections.abc import Iterator
from pathlib import Path

import pyogrio
import pyproj.network
import pytest
import shapely
from boundary_files import geojson

from scout.errors import InputError
from scout.io.layers import read_layers
from scout.io.local_files import run_offline

NUMBERS = itertools.count()
KML = '<kml xmlns="http://www.opengis.net/kml/2.2"><Document>{}</Document></kml>'
MARK = (
    "<Placemark><name>Tern Marsh</name>{}<Polygon><outerBoundaryIs><LinearRing><coordinates>"
    "0,0 1,0 1,1 0,0</coordinates></LinearRing></outerBoundaryIs></Polygon></Placemark>"
)


class Server:
    """Answers everything with 404 and remembers what was asked."""

    def __init__(self, listener: socket.socket) -> None:
        self.listener, self.asked = listener, list[bytes]()
        self.root = f"http://127.0.0.1:{listener.getsockname()[1]}"

    def address(self, suffix: str = "geojson") -> str:
        return f"{self.root}/{next(NUMBERS)}.{suffix}"

    def serve(self) -> None:
        while True:
            try:
                connection, _ = self.listener.accept()
            except OSError:
                return
            with connection:
                self.asked.append(connection.recv(4096).split(b"\r\n")[0])
                connection.sendall(b"HTTP/1.1 404 Not Found\r\nContent-Length: 0\r\n\r\n")


@pytest.fixture
def server(monkeypatch: pytest.MonkeyPatch) -> Iterator[Server]:
    for name in ("http_proxy", "https_proxy", "all_proxy", "HTTP_PROXY", "HTTPS_PROXY", "ALL_PROXY"):
        monkeypatch.delenv(name, raising=False)
    with socket.create_server(("127.0.0.1", 0)) as listener:
        made = Server(listener)
        thread = threading.Thread(target=made.serve, daemon=True)
        thread.start()
        yield made
        listener.shutdown(socket.SHUT_RDWR)
    thread.join(5)


def recipe(address: str) -> str:
    layer = f'<OGRVRTLayer name="x"><SrcDataSource>/vsicurl/{address}</SrcDataSource></OGRVRTLayer>'
    return f"<OGRVRTDataSource>{layer}</OGRVRTDataSource>"


def test_a_recipe_does_reach_the_server_when_gdal_is_left_to_itself(server: Server, tmp_path: Path) -> None:
    """Without this the tests below could not fail."""
    (tmp_path / "x.geojson").write_text(recipe(server.address()))
    with pytest.raises(pyogrio.errors.CRSError):
        pyogrio.read_info(tmp_path / "x.geojson")
    assert server.asked
    linked = {"type": "link", "properties": {"href": server.address("prj"), "type": "proj4"}}
    before = len(server.asked)
    pyogrio.read_info(geojson(tmp_path / "y.geojson", [shapely.box(0, 0, 1, 1)], crs=linked))
    assert len(server.asked) > before


def test_inside_offline_nothing_reaches_the_server_even_so(server: Server, tmp_path: Path) -> None:
    with run_offline():
        (tmp_path / "x.geojson").write_text(recipe(server.address()))
        with pytest.raises((pyogrio.errors.DataSourceError, pyogrio.errors.CRSError)):
            pyogrio.read_info(tmp_path / "x.geojson")
        linked = {"type": "link", "properties": {"href": server.address("prj"), "type": "proj4"}}
        pyogrio.read_info(geojson(tmp_path / "y.geojson", [shapely.box(0, 0, 1, 1)], crs=linked))
    assert server.asked == []


@pytest.mark.parametrize("suffix", ["geojson", "json", "kml", "kmz", "gpkg", "fgb", "shp", "zip", "parquet"])
def test_a_recipe_named_as_a_known_format_is_refused(suffix: str, server: Server, tmp_path: Path) -> None:
    path = tmp_path / f"parks.{suffix}"
    text = recipe(server.address())
    path.write_text(text)
    with pytest.raises(InputError, match=r"parks\."):
        read_layers([path])
    with zipfile.ZipFile(path, "w") as archive:
        archive.writestr("parks.shp", text)
        archive.writestr("parks.kml", text)
    with pytest.raises(InputError, match=r"parks\."):
        read_layers([path])
    assert server.asked == []


def test_other_drivers_do_not_get_at_texts_that_carry_their_mark(server: Server, tmp_path: Path) -> None:
    marked = recipe(server.address()).replace('"', "'")
    (layer,) = read_layers([geojson(tmp_path / "a.geojson", [shapely.box(0, 0, 1, 1)], title=marked)])
    assert len(layer.frame) == 1
    pipeline = {
        "type": "gdal_streamed_alg",
        "command_line": f"gdal vector pipeline ! read {server.address()}",
    }
    (layer,) = read_layers([geojson(tmp_path / "b.geojson", [shapely.box(0, 0, 1, 1)], more=pipeline)])
    assert len(layer.frame) == 1
    (tmp_path / "c.kml").write_text(f"<!-- {marked} -->" + KML.format(MARK.format("")))
    with pytest.raises(InputError, match="outermost element is not kml"):
        read_layers([tmp_path / "c.kml"])
    assert server.asked == []


def test_links_in_a_kml_are_named_and_not_followed(server: Server, tmp_path: Path) -> None:
    link = f"<NetworkLink><Link><href>{server.address('kml')}</href></Link></NetworkLink>"
    style = f"<styleUrl>{server.address('kml')}#here</styleUrl>"
    text = KML.format(link + MARK.format(style))
    (tmp_path / "parks.kml").write_text(text)
    with zipfile.ZipFile(tmp_path / "parks.kmz", "w") as archive:
        archive.writestr("doc.kml", text)
    for name in ("parks.kml", "parks.kmz"):
        (layer,) = read_layers([tmp_path / name])
        assert len(layer.frame) == 1
        assert "not followed" in layer.source.warnings[0]
    assert server.asked == []


def test_an_outside_entity_in_a_kml_is_not_fetched(server: Server, tmp_path: Path) -> None:
    entity = f'<!DOCTYPE kml [<!ENTITY far SYSTEM "{server.address("xml")}">]>'
    text = entity + KML.format(MARK.format("&far;"))
    (tmp_path / "parks.kml").write_text(text)
    with pytest.raises(InputError):
        read_layers([tmp_path / "parks.kml"])
    assert server.asked == []


def test_coordinate_systems_are_not_fetched(server: Server, tmp_path: Path) -> None:
    linked = {"type": "link", "properties": {"href": server.address("prj"), "type": "proj4"}}
    named = {"type": "name", "properties": {"name": server.address("prj")}}
    for crs in (linked, named):
        with pytest.raises(InputError, match=r"crs member|not known"):
            read_layers([geojson(tmp_path / "parks.geojson", [shapely.box(0, 0, 1, 1)], crs=crs)])
    late = geojson(tmp_path / "late.geojson", [shapely.box(0, 0, 1, 1)])
    late.write_text(
        late.read_text().removesuffix("}") + f', "crs": {{"type": "link", "x": "{server.root}"}}}}'
    )
    with pytest.raises(InputError, match="of type link"):
        read_layers([late])
    assert server.asked == []


@pytest.mark.parametrize("prefix", ["", "/vsicurl/", "/vsizip//vsicurl/", "GeoJSON:", "zip+"])
def test_addresses_are_refused(prefix: str, server: Server) -> None:
    with pytest.raises(InputError, match="is not a local file"):
        read_layers([f"{prefix}{server.address()}"])
    assert server.asked == []


@pytest.mark.parametrize(
    "path",
    [
        "ftp://example.org/a.shp",
        "s3://bucket/a.gpkg",
        "/vsizip/a.zip/a.shp",
        "/vsimem/a.geojson",
        "PG:dbname=parks",
        "CSV:/etc/hostname",
    ],
)
def test_virtual_paths_are_refused(path: str) -> None:
    with pytest.raises(InputError, match="is not a local file"):
        read_layers([path])


@pytest.mark.parametrize("suffix", ["vrt", "txt", "gpx", "xml", "sqlite", "mdb", "tif", ""])
def test_other_formats_are_refused_by_their_suffix(suffix: str, tmp_path: Path) -> None:
    path = tmp_path / f"parks{'.' if suffix else ''}{suffix}"
    path.write_text("anything")
    with pytest.raises(InputError, match="is not that of a known format"):
        read_layers([path])


@pytest.mark.parametrize(
    "member", ["../parks.shp", "/etc/parks.shp", "a/../../parks.shp", "..\\parks.shp", "C:\\p.shp"]
)
def test_archives_that_lead_out_of_themselves_are_refused(member: str, tmp_path: Path) -> None:
    for name in ("parks.zip", "parks.shz", "parks.kmz"):
        with zipfile.ZipFile(tmp_path / name, "w") as archive:
            archive.writestr(member, "x")
        with pytest.raises(InputError, match="leads out of it"):
            read_layers([tmp_path / name])


def test_settings_of_the_process_come_back(tmp_path: Path) -> None:
    path = geojson(tmp_path / "parks.geojson", [shapely.box(0, 0, 1, 1)])
    networked = pyproj.network.is_network_enabled()
    pyogrio.set_gdal_config_options({"GDAL_HTTP_PROXY": "proxy.example:8080"})
    pyproj.network.set_network_enabled(True)
    try:
        read_layers([path])
        with pytest.raises(InputError):
            read_layers([tmp_path / "nowhere.gpkg"])
        assert pyogrio.get_gdal_config_option("GDAL_HTTP_PROXY") == "proxy.example:8080"
        assert pyogrio.get_gdal_config_option("OGR_ARC_STEPSIZE") is None
        assert pyproj.network.is_network_enabled()
    finally:
        pyproj.network.set_network_enabled(networked)
        pyogrio.set_gdal_config_options({"GDAL_HTTP_PROXY": None})
