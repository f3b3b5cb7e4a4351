// KML 2.2 made in the page: places and walks, nothing that is fetched. The order of elements is the schema's.

import { escapeXml, makeXmlElement } from "./gpx.js";

function formatTuples(line) {
  return line.map(([lon, lat]) => `${lon.toFixed(8)},${lat.toFixed(8)}`).join(" ");
}

// A description is HTML inside XML: escaped for one, then for the other.
function tell({ name, description }) {
  return makeXmlElement("name", name) + makeXmlElement("description", escapeXml(description));
}

// A line over the antimeridian is two: one would be drawn the long way round.
function splitAtAntimeridian(line) {
  const parts = [[]];
  line.forEach((at, k) => {
    if (k && Math.abs(at[0] - line[k - 1][0]) > 180) parts.push([]);
    parts[parts.length - 1].push(at);
  });
  return parts.filter((part) => part.length > 1);
}

function writeLine(line) {
  return `<LineString><tessellate>1</tessellate><coordinates>${formatTuples(line)}</coordinates></LineString>`;
}

// Places and walks as for a GPX file.
export function makePlacesKml(title, description, places, walks) {
  const points = places.map((place) => {
    const point = `<Point><coordinates>${formatTuples([[place.lon, place.lat]])}</coordinates></Point>`;
    return `<Placemark>${tell(place)}${point}</Placemark>`;
  });
  const tracks = walks.map((walk) => {
    return `<Placemark>${tell(walk)}<MultiGeometry>${splitAtAntimeridian(walk.line).map(writeLine).join("")}</MultiGeometry></Placemark>`;
  });
  const body = [tell({ name: title, description }), ...points, ...tracks].join("\n");
  return `<?xml version="1.0" encoding="UTF-8"?>\n<kml xmlns="http://www.opengis.net/kml/2.2"><Document>${body}</Document></kml>\n`;
}
