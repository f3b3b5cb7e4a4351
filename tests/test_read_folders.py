"""KML of many folders: each record is parsed once, and everything reads as it does from the whole text.

The oracle is GDAL, which is asked for each layer of the whole file in turn.
"""

from __future__ import annotations

import zipfile
from pathlib import Path

import pandas as pd
import pyogrio
import pyogrio.raw
import pytest

from scout.errors import InputError
from scout.io.layers import list_requests, read_layers
from scout.parks.build import build_parks

HEAD = '<?xml version="1.0" encoding="UTF-8"?>\n<kml xmlns="http://www.opengis.net/kml/2.2">'


def square(name: str, x: float = 1.0, more: str = "") -> str:
    ring = f"{x},1 {x + 0.5},1 {x + 0.5},1.5 {x},1.5 {x},1"
    outline = f"<outerBoundaryIs><LinearRing><coordinates>{ring}</coordinates></LinearRing></outerBoundaryIs>"
    return f"<Placemark><name>{name}</name>{more}<Polygon>{outline}</Polygon></Placemark>"


def folders(count: int) -> str:
    each = (f"<Folder><name>F{k}</name>{square(f'Q{k}', k % 90)}</Folder>" for k in range(count))
    return f"{HEAD}<Document>{''.join(each)}</Document></kml>"


def told(path: Path) -> list[object]:
    return [
        (layer.source, layer.refused, layer.repaired, list(layer.frame.columns), layer.frame)
        for layer in read_layers(path)
    ]


def count_read(monkeypatch) -> list[int]:
    """Bytes of what GDAL is handed from now on, one number for each opening."""
    sizes: list[int] = []

    def counting(function):
        def counted(target, *args, **kwargs):
            sizes.append(len(target) if isinstance(target, bytes) else Path(target).stat().st_size)
            return function(target, *args, **kwargs)

        return counted

    for place, name in (
        (pyogrio, "list_layers"),
        (pyogrio, "read_info"),
        (pyogrio, "open_arrow"),
        (pyogrio.raw, "read"),
    ):
        monkeypatch.setattr(place, name, counting(getattr(place, name)))
    return sizes


@pytest.mark.parametrize("suffix", [".kml", ".kmz"])
def test_a_folder_per_park_is_parsed_once(suffix, tmp_path, monkeypatch):
    path, text = tmp_path / f"parks{suffix}", folders(60)
    if suffix == ".kml":
        path.write_text(text)
    else:
        with zipfile.ZipFile(path, "w") as archive:
            archive.writestr("doc.kml", text)
    sizes = count_read(monkeypatch)
    layers = read_layers(path)
    assert [layer.source.layer for layer in layers] == [f"F{k}" for k in range(60)]
    # Once for the list of layers and once for the records, with a short head around each.
    assert sum(sizes) < 3 * len(text)
    assert sum(size >= len(text) for size in sizes) == 1


SCHEMAS = (
    '<Schema name="kinds" id="kinds_id"><SimpleField name="code" type="int"/></Schema>'
    '<Schema name="other" id="other_id"><SimpleField name="county" type="string"/></Schema>'
)
OF_KINDS = (
    '<ExtendedData><SchemaData schemaUrl="#kinds_id"><SimpleData name="code">7</SimpleData>'
    "</SchemaData></ExtendedData>"
)
OF_OTHER = OF_KINDS.replace("kinds_id", "other_id").replace('"code">7', '"county">Q')
PLAIN = '<ExtendedData><Data name="ref"><value>R-1</value></Data></ExtendedData>'
OPEN_RING = square("open").replace(" 1.0,1</c", "</c")
TEXTS = {
    "flat": f"<Document><name>top</name>{square('a')}{square('b')}</Document>",
    "folders": f"<Document><Folder><name>A</name>{square('a')}</Folder>"
    f"<Folder><name>B</name>{square('b', 3)}{square('c', 4, PLAIN)}</Folder></Document>",
    "parks beside folders": f"<Document><name>top</name>{square('p')}<Folder><name>A</name>{square('a')}"
    f"<Folder><name>B</name>{square('b')}<Folder>{square('c')}</Folder></Folder>{square('d')}</Folder>"
    f"<Document><Folder><name>empty</name></Folder></Document><Folder><name>A</name>{square('e')}</Folder>"
    f"{square('q')}</Document>",
    "a folder outermost": f"<Folder><name>top</name><Folder><name>A</name>{square('a')}</Folder>"
    f"<Document><name>B</name>{square('b')}</Document></Folder>",
    "schemas": f"<Document>{SCHEMAS}<Folder><name>A</name>{square('a', 1, OF_KINDS)}</Folder>"
    f"<Folder><name>B</name>{square('b', 2, OF_OTHER)}</Folder>"
    f"<Folder><name>C</name>{square('c', 3)}</Folder></Document>",
    "schemas of inner documents": f"<Document><Document><name>A</name>{SCHEMAS}{square('a', 1, OF_KINDS)}"
    f"</Document><Folder><name>B</name>{square('b', 2, OF_KINDS)}</Folder></Document>",
    "schemas of a document with parks": f"<Document><name>top</name>{SCHEMAS}{square('p', 5, OF_OTHER)}"
    f"<Folder><name>A</name>{square('a', 1, OF_KINDS)}</Folder></Document>",
    "schemas in a folder": f"<Folder><name>top</name>{SCHEMAS}"
    f"<Folder><name>A</name>{square('a', 1, OF_KINDS)}</Folder><Folder>{square('b')}</Folder></Folder>",
    "a schema after its use, by name and by file": "<Document>"
    f"<Folder><name>A</name>{square('a', 1, OF_KINDS.replace('#kinds_id', '#kinds'))}</Folder>"
    f"<Folder><name>B</name>{square('b', 1, OF_KINDS.replace('#', 'doc.kml#'))}</Folder>"
    f"<Folder><name>C</name>{square('b', 1, OF_KINDS.replace('#', ''))}</Folder>{SCHEMAS}</Document>",
    "texts that look like tags": "<Document><!-- <Folder> --><Folder id='a>b'>"
    f"<name><![CDATA[<Folder>]]></name>{square('a')}</Folder><Folder><name>B &amp; C</name>"
    f"<description><![CDATA[</Folder><Folder>]]></description>{square('b')}</Folder></Document>",
    "other features": "<Document><Folder><name>A</name><NetworkLink><name>n</name></NetworkLink>"
    f"{square('a')}<GroundOverlay><name>g</name></GroundOverlay>{square('b')}</Folder>"
    "<Folder><name>B</name><ScreenOverlay/></Folder><NetworkLink/></Document>",
    "styles": "<Document><Style id='s'><LineStyle><color>ff0000ff</color></LineStyle></Style><Folder>"
    f"<name>A</name>{square('a', 1, '<styleUrl>#s</styleUrl>')}</Folder>"
    f"<Folder><name>B</name>{square('b')}</Folder></Document>",
    "broken rings": f"<Document><Folder><name>A</name>{OPEN_RING}{square('a')}</Folder>"
    f"<Folder><name>B</name>{square('b').replace('1.5,1 ', '').replace('1.5,1.5 ', '')}{square('c')}</Folder>"
    "</Document>",
    "a namespace further in": "<Document xmlns:gx='http://www.google.com/kml/ext/2.2'><Folder><name>A</name>"
    "<Placemark><name>a</name><gx:balloonVisibility>1</gx:balloonVisibility><Point><coordinates>1,2"
    f"</coordinates></Point></Placemark>{square('b')}</Folder><Folder>{square('c')}</Folder></Document>",
    "two outermost": f"<Document>{square('a')}</Document><Folder><name>B</name>{square('b')}</Folder>",
    "a folder in a park": f"<Document><Folder>{square('a', 1, '<Folder/>')}</Folder>"
    f"<Folder>{square('b')}</Folder></Document>",
}


def written_text(path: Path, body: str, encoding: str = "UTF-8") -> Path:
    head = HEAD.replace("UTF-8", encoding)
    path.write_bytes(f"{head}{body}</kml>".encode(encoding))
    return path


def check_same(path: Path, monkeypatch) -> None:
    cut = told(path)
    with monkeypatch.context() as patch:
        patch.setattr("scout.io.layers.cut_layers", lambda *_: None)
        whole = told(path)
    assert [one[:4] for one in cut] == [one[:4] for one in whole]
    for (*_, mine), (*_, theirs) in zip(cut, whole, strict=True):
        pd.testing.assert_frame_equal(pd.DataFrame(mine), pd.DataFrame(theirs))
        assert mine.geometry.to_wkb().tolist() == theirs.geometry.to_wkb().tolist()


@pytest.mark.parametrize("kind", TEXTS)
def test_layers_read_as_from_the_whole_text(kind, tmp_path, monkeypatch):
    check_same(written_text(tmp_path / "parks.kml", TEXTS[kind]), monkeypatch)
    with zipfile.ZipFile(tmp_path / "parks.kmz", "w") as archive:
        for name in ("doc.kml", "files/second.kml"):
            archive.writestr(name, f"{HEAD}{TEXTS[kind]}</kml>")
    check_same(tmp_path / "parks.kmz", monkeypatch)


@pytest.mark.parametrize("encoding", ["UTF-8", "ISO-8859-1"])
def test_encodings_read_as_from_the_whole_text(encoding, tmp_path, monkeypatch):
    body = TEXTS["folders"].replace("<name>A", "<name>Ä é")
    check_same(written_text(tmp_path / "parks.kml", body, encoding), monkeypatch)


@pytest.mark.parametrize("kind", ["folders", "parks beside folders", "schemas"])
def test_one_layer_of_many_and_the_parks_are_the_same(kind, tmp_path, monkeypatch):
    path = written_text(tmp_path / "parks.kml", TEXTS[kind])
    names = [one.name for one in list_requests(path, None, None)]
    parks = build_parks(read_layers(path))
    one = read_layers(path, layer="A")
    with monkeypatch.context() as patch:
        patch.setattr("scout.io.layers.cut_layers", lambda *_: None)
        assert names == [one.name for one in list_requests(path, None, None)]
        whole = build_parks(read_layers(path))
        assert [layer.source for layer in one] == [layer.source for layer in read_layers(path, layer="A")]
    assert parks.report == whole.report
    pd.testing.assert_frame_equal(pd.DataFrame(parks.frame), pd.DataFrame(whole.frame))


@pytest.mark.parametrize("spoil", [lambda t: t[:-40], lambda t: t.replace("</Folder>", "", 1)])
def test_a_text_cut_short_is_refused_as_before(spoil, tmp_path):
    path = tmp_path / "parks.kml"
    path.write_text(spoil(folders(3)))
    with pytest.raises(InputError, match="cannot be opened"):
        read_layers(path)
