// Locator text of a lattice cell from whole numbers: column eastwards from 180 W, row northwards from 90 S.
// Same rule as the codec that made the findings; one file of numbers tests both.

const PAIRS = [
  { parts: 18, first: "A" },
  { parts: 10, first: "0" },
  { parts: 24, first: "a" },
  { parts: 10, first: "0" },
  { parts: 24, first: "a" },
];

// Cells of a level round a parallel; as many from pole to pole.
function cellsOf(level) {
  return PAIRS.slice(0, level).reduce((product, pair) => product * pair.parts, 1);
}

function wrapped(column, level) {
  const cells = cellsOf(level);
  return ((column % cells) + cells) % cells;
}

function locatorOf(column, row, level) {
  let x = wrapped(column, level);
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
function meridian(column, level) {
  const cells = cellsOf(level);
  return ((column - cells / 2) * 360) / cells;
}

function parallel(row, level) {
  const cells = cellsOf(level);
  return ((row - cells / 2) * 180) / cells;
}

function columnAt(lon, level) {
  return Math.floor(((lon + 180) * cellsOf(level)) / 360);
}

function rowAt(lat, level) {
  return Math.min(Math.floor(((lat + 90) * cellsOf(level)) / 180), cellsOf(level) - 1);
}
