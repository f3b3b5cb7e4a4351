// Outlines unpacked. Every edge is straight in longitude and latitude; on this map a long one is curved, so
// the drawn ring gets vertices between.

const LETTERS = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz-_";
const LETTER_VALUES = new Uint8Array(128);
[...LETTERS].forEach((letter, value) => {
  LETTER_VALUES[letter.charCodeAt(0)] = value;
});
const LONGEST_DRAWN_DEG = 0.04; // leaves 0.2 m at most between a segment and its curve, up to 80 N

// Whole numbers of a text: five bits a letter, low ones first, the sixth says that more letters follow.
function unpackNumbers(text) {
  const numbers = [];
  let value = 0;
  let unit = 1;
  for (let i = 0; i < text.length; i += 1) {
    const bits = LETTER_VALUES[text.charCodeAt(i)];
    value += (bits % 32) * unit;
    unit *= 32;
    if (bits < 32) {
      numbers.push(value);
      value = 0;
      unit = 1;
    }
  }
  return numbers;
}

function decodeStep(count) {
  return count % 2 ? -(count + 1) / 2 : count / 2;
}

// An open ring: longitudes, latitudes, and 1 where the edge to the next vertex is not the outline's own.
export function unpackRing(text, unitsPerDegree) {
  const numbers = unpackNumbers(text);
  const size = numbers.length / 2;
  const found = { lon: new Float64Array(size), lat: new Float64Array(size), loose: new Uint8Array(size) };
  let x = 0;
  let y = 0;
  for (let k = 0; k < size; k += 1) {
    const east = numbers[2 * k];
    found.loose[k] = east % 2;
    x += decodeStep(Math.floor(east / 2));
    y += decodeStep(numbers[2 * k + 1]);
    found.lon[k] = x / unitsPerDegree;
    found.lat[k] = y / unitsPerDegree;
  }
  return found;
}

function makeDrawnRing({ lon, lat }) {
  const out = [];
  for (let k = 0; k < lon.length; k += 1) {
    const next = (k + 1) % lon.length;
    const [dx, dy] = [lon[next] - lon[k], lat[next] - lat[k]];
    const parts = Math.max(Math.ceil(Math.hypot(dx, dy) / LONGEST_DRAWN_DEG), 1);
    for (let part = 0; part < parts; part += 1) {
      out.push([lat[k] + (part / parts) * dy, lon[k] + (part / parts) * dx]);
    }
  }
  return out;
}

// Lines for the map, each a list of [lat, lon].
export function makeDrawnLines(texts, unitsPerDegree) {
  return texts.map((text) => {
    const { lon, lat } = unpackRing(text, unitsPerDegree);
    return Array.from(lon, (x, k) => [lat[k], x]);
  });
}

// Polygons for the map, each a list of rings of [lat, lon].
export function makeDrawnPolygons(outline, unitsPerDegree) {
  return outline.map((rings) => rings.map((text) => makeDrawnRing(unpackRing(text, unitsPerDegree))));
}
