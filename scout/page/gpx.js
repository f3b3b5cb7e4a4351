// GPX 1.1 made in the page: a recording. The order of elements is the schema's.

// Characters that no XML 1.0 may hold, and halves of pairs; the five that mean something are escaped.
const NOT_IN_XML = /[^\t\n\r\u0020-\ud7ff\ue000-\ufffd\u{10000}-\u{10ffff}]/gu;
const ENTITIES = { "&": "&amp;", "<": "&lt;", ">": "&gt;", '"': "&quot;", "'": "&apos;" };

function escapeXml(text) {
  return String(text).replace(NOT_IN_XML, "").replace(/[&<>"']/g, (sign) => ENTITIES[sign]);
}

function makeXmlElement(name, text) {
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
