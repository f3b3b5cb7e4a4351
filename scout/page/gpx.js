// GPX 1.1 made in the page: a recording, places and walks. The order of elements is the schema's.

// Controls and what no XML 1.0 may hold, halves of pairs among it; the five signs that mean something are escaped.
const NOT_IN_XML = /[^\t\n\r\u0020-\u007e\u0085\u00a0-\ud7ff\ue000-\ufffd\u{10000}-\u{10ffff}]/gu;
const TURNING = /[\u202a-\u202e\u2066-\u2069]/gu; // marks that would turn the words after a name
const ENTITIES = { "&": "&amp;", "<": "&lt;", ">": "&gt;", '"': "&quot;", "'": "&apos;" };

export function escapeXml(text) {
  return String(text).replace(NOT_IN_XML, "\ufffd").replace(/[&<>"']/g, (sign) => ENTITIES[sign]);
}

// Text from data for the middle of a line.
export function makeOneLine(text) {
  return String(text).replace(TURNING, "").replace(/[\s\p{Cc}]+/gu, " ").trim();
}

export function makeXmlElement(name, text) {
  return `<${name}>${escapeXml(text)}</${name}>`;
}

function writeGpx(metadata, body, space = "") {
  const root = `<gpx version="1.1" creator="scout" xmlns="http://www.topografix.com/GPX/1/1"${space}>`;
  return `<?xml version="1.0" encoding="UTF-8"?>\n${root}\n<metadata>${metadata}</metadata>\n${body}\n</gpx>\n`;
}

function writePoint(name, lon, lat, inside = "") {
  return `<${name} lat="${lat.toFixed(8)}" lon="${lon.toFixed(8)}">${inside}</${name}>`;
}

// Fixes { time, lon, lat, radius } of a device at rest, as `scout arrive` reads them: `radius` is what the device
// states, which holds 68 % of fixes, NaN where it states none.
export function makeRecordingGpx(fixes, title, description) {
  const points = fixes.map(({ time, lon, lat, radius }) => {
    const stated = radius > 0 ? `<extensions><scout:radius68>${radius}</scout:radius68></extensions>` : "";
    return writePoint("trkpt", lon, lat, makeXmlElement("time", new Date(1000 * time).toISOString()) + stated);
  });
  const track = `<trk>${makeXmlElement("name", title)}<trkseg>\n${points.join("\n")}\n</trkseg></trk>`;
  const metadata = makeXmlElement("name", title) + makeXmlElement("desc", description);
  return writeGpx(metadata, track, ' xmlns:scout="urn:scout:recording"');
}

// Places { name, description, symbol, lon, lat } and walks { name, description, line } of [lon, lat].
export function makePlacesGpx(title, description, places, walks) {
  const told = (part) => makeXmlElement("name", part.name) + makeXmlElement("desc", part.description);
  const points = places.map((place) => writePoint("wpt", place.lon, place.lat, told(place) + makeXmlElement("sym", place.symbol)));
  const tracks = walks.map((walk) => {
    const line = walk.line.map(([lon, lat]) => writePoint("trkpt", lon, lat));
    return `<trk>${told(walk)}<trkseg>${line.join("")}</trkseg></trk>`;
  });
  const metadata = makeXmlElement("name", title) + makeXmlElement("desc", description);
  return writeGpx(metadata, [...points, ...tracks].join("\n"));
}
