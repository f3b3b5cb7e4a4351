// Locator text of a lattice cell from whole numbers: column eastwards from 180 W, row northwards from 90 S.
// Same rule as the codec that made the findings; one file of numbers tests both.

export const PAIRS = [
  { parts: 18, first: "A" },
  { parts: 10, first: "0" },
  { parts: 24, first: "a" },
  { parts: 10, first: "0" },
  { parts: 24, first: "a" },
];

// Cells of a level round a parallel; as many from pole to pole.
export function cellsOf(level) {
  return PAIRS.slice(0, level).reduce((product, pair) => product * pair.parts, 1);
}

export function wrapColumn(column, level) {
  const cells = cellsOf(level);
  return ((column % cells) + cells) % cells;
}

export function locatorOf(column, row, level) {
  let x = wrapColumn(column, level);
  let y = row;
  let text = "";
  for (let pair = level - 1; pair >= 0; pair -= 1) {
    const { parts, first } = PAIRS[pair];
    const base = first.charCodeAt(0);
    text = String.fromCharCode(base + (x % parts), base + (y % parts)) + text;
    x = Math.floor(x / parts);
    y = Math.floor(y / parts);
  }
  return text;
}

// Longitude and latitude of lattice lines; whole numbers first, one division last.
export function meridian(column, level) {
  const cells = cellsOf(level);
  return ((column - cells / 2) * 360) / cells;
}

export function parallel(row, level) {
  const cells = cellsOf(level);
  return ((row - cells / 2) * 180) / cells;
}

// Degrees in cells, a lattice line being a whole number; a double this near one is taken as on it.
const SNAP_DEG = 1e-9;

function convertToCells(degrees, whole, parts) {
  const number = parts >= whole ? degrees * (parts / whole) : degrees / (whole / parts);
  const near = Math.round(number);
  return Math.abs(number - near) <= (SNAP_DEG * parts) / whole ? near : number;
}

export function columnNumber(lon, level) {
  return convertToCells(lon + 180, 360, cellsOf(level));
}

export function rowNumber(lat, level) {
  return convertToCells(lat + 90, 180, cellsOf(level));
}

export function columnAt(lon, level) {
  return Math.floor(columnNumber(lon, level));
}

export function rowAt(lat, level) {
  return Math.min(Math.floor(rowNumber(lat, level)), cellsOf(level) - 1);
}

// South-west corner and size of the cell a locator names; the text must be one (see read_place.js).
export function readCell(locator) {
  const level = locator.length / 2;
  let [column, row] = [0, 0];
  for (let pair = 0; pair < level; pair += 1) {
    const { parts, first } = PAIRS[pair];
    const digit = (at) => locator[at].toLowerCase().charCodeAt(0) - first.toLowerCase().charCodeAt(0);
    column = column * parts + digit(2 * pair);
    row = row * parts + digit(2 * pair + 1);
  }
  const cells = cellsOf(level);
  return {
    locator: locatorOf(column, row, level),
    level,
    west: meridian(column, level),
    south: parallel(row, level),
    width: 360 / cells,
    height: 180 / cells,
  };
}
