// Numbers and places as people read them, in metres or feet; scout/quantities.py says the same, and one file of
// numbers tests both. What is no such quantity reads "unknown".

const WINDS = ["north", "north-east", "east", "south-east", "south", "south-west", "west", "north-west"];
const UNKNOWN_TEXT = "unknown";
const FOOT_M = 0.3048; // exact, as the mile: NIST Special Publication 811 (2008), appendix B.6
const MILE_M = 1609.344;
const MILES_FROM_FT = 2640;

export let lengthUnits = "metric";

export function setLengthUnits(name) {
  lengthUnits = name === "imperial" ? "imperial" : "metric";
}

// Rounded down, so that it never looks better than its verdict; never certain.
export function formatPercent(share) {
  if (!(share >= 0 && share <= 1 + 1e-9)) return UNKNOWN_TEXT;
  const tenths = Math.floor(share * 1000 + 1e-9);
  if (share > 0.999) return "over 99.9 %";
  return tenths ? `${(tenths / 10).toFixed(1)} %` : "under 0.1 %";
}

// The word of a verdict; where an outline is in doubt, what counts does so if that is true.
export function formatVerdict(word, ifTrue) {
  return ifTrue && (word === "firm" || word === "doubtful") ? `${word} if the outline is true` : word;
}

function groupDigits(text) {
  return text.replace(/\B(?=(\d{3})+(?!\d))/g, ",");
}

// The size of a number with so many decimals, three at most; a half goes up.
function formatFixed(value, digits = 0) {
  const [whole, part] = Math.abs(value).toFixed(digits).split(".");
  return groupDigits(whole) + (part ? `.${part}` : "");
}

function isSize(value) {
  return value >= 0 && value < Infinity;
}

// In the small unit, or nothing where it would round to the end.
function formatNear(value, unit, end) {
  if (value < 9.95) return `${formatFixed(value, 1)} ${unit}`;
  return value < end - 0.5 ? `${formatFixed(value)} ${unit}` : "";
}

function formatFar(value, unit) {
  return `${formatFixed(value, value < 9.995 ? 2 : value < 99.95 ? 1 : 0)} ${unit}`;
}

// A length to three digits or so.
export function formatLength(length) {
  if (!isSize(length)) return UNKNOWN_TEXT;
  if (lengthUnits === "imperial") {
    return formatNear(length / FOOT_M, "ft", MILES_FROM_FT) || formatFar(length / MILE_M, "mi");
  }
  return formatNear(length, "m", 1000) || formatFar(length / 1000, "km");
}

// A length that a verdict or a step hangs on: to 0.1 below 100 m.
export function formatFineLength(length) {
  if (!(length >= 0 && length < 99.95)) return formatLength(length);
  return lengthUnits === "imperial" ? `${formatFixed(length / FOOT_M, 1)} ft` : `${formatFixed(length, 1)} m`;
}

// A length that somebody set, as it was given.
export function formatStatedLength(length) {
  if (!isSize(length)) return UNKNOWN_TEXT;
  const trim = (text) => (text.includes(".") ? text.replace(/\.?0+$/, "") : text);
  if (lengthUnits === "metric") {
    const near = length < 999.9995;
    return `${trim(formatFixed(near ? length : length / 1000, 3))} ${near ? "m" : "km"}`;
  }
  const near = length / FOOT_M < MILES_FROM_FT;
  const value = length / (near ? FOOT_M : MILE_M);
  const digits = value < 1 ? 3 : value < 10 ? 2 : value < 100 ? 1 : 0;
  return `${trim(formatFixed(value, digits))} ${near ? "ft" : "mi"}`;
}

// A height or a climb, whole.
export function formatHeight(height) {
  if (!Number.isFinite(height)) return UNKNOWN_TEXT;
  const text = formatFixed(lengthUnits === "imperial" ? height / FOOT_M : height);
  return `${height < 0 && text !== "0" ? "-" : ""}${text} ${lengthUnits === "imperial" ? "ft" : "m"}`;
}

export const LENGTH_FORMS = { plain: formatLength, fine: formatFineLength, stated: formatStatedLength };

// A sentence of the program: a text, or texts and lengths as [metres, form].
export function formatSentence(sentence) {
  if (!Array.isArray(sentence)) return sentence;
  return sentence.map((part) => (Array.isArray(part) ? LENGTH_FORMS[part[1]](part[0]) : part)).join("");
}

// What rounds to nothing lies on the boundary.
export function formatClearance(clearance) {
  if (Math.abs(clearance) < 0.05) return "on the boundary";
  if (!Number.isFinite(clearance)) return Number.isNaN(clearance) ? "no park near" : UNKNOWN_TEXT;
  return `${formatFineLength(Math.abs(clearance))} ${clearance > 0 ? "inside" : "outside"}`;
}

export function formatBearing(bearing) {
  if (!Number.isFinite(bearing)) return UNKNOWN_TEXT;
  const turn = (value, full) => ((Math.floor(value + 0.5) % full) + full) % full;
  return `${WINDS[turn(bearing / 45, 8)]} (${turn(bearing, 360)}°)`;
}

export function formatSlope(slope) {
  return Number.isFinite(slope) ? `${formatFixed(slope)}°` : UNKNOWN_TEXT;
}

// How much of a walk is off paths; scout/quantities.py says the same.
export function formatOffPaths(off, length) {
  if (!(isSize(off) && isSize(length) && length > 0)) return UNKNOWN_TEXT;
  if (off < 0.5) return "on paths";
  return `${Math.min(Math.max(Math.floor((100 * off) / length + 0.5), 1), 100)} % off paths`;
}

export function formatCount(count, one, many = `${one}s`) {
  return `${groupDigits(String(count))} ${count === 1 ? one : many}`;
}

// Latitude first, 0.11 m; longitude 180 is -180, and no minus stands before a zero.
export function formatDecimal(lon, lat) {
  const fixed = (degrees) => degrees.toFixed(6).replace(/^-(0\.0+)$/, "$1");
  const east = fixed(lon);
  return `${fixed(lat)}, ${east === "180.000000" ? "-180.000000" : east}`;
}

// At a pole the longitude is 0 (RFC 5870, section 3.4.2).
export function formatGeoLink(lon, lat) {
  const [north, east] = formatDecimal(lon, lat).split(", ");
  return `geo:${north},${Math.abs(Number(north)) === 90 ? "0.000000" : east}`;
}

// Degrees and minutes to 0.19 m; 60 minutes never show, and 180 is west, as everywhere.
export function formatMinutes(lon, lat) {
  const [east, north] = [lon, lat].map((degrees) => Math.round(Math.abs(degrees) * 600000));
  const text = (parts, width) => {
    const whole = Math.floor(parts / 600000);
    const minutes = ((parts - whole * 600000) / 10000).toFixed(4).padStart(7, "0");
    return `${String(whole).padStart(width, "0")}° ${minutes}'`;
  };
  const south = lat < 0 && north > 0;
  const west = (lon < 0 && east > 0) || east === 180 * 600000;
  return `${text(north, 2)} ${south ? "S" : "N"} ${text(east, 3)} ${west ? "W" : "E"}`;
}

// A time on foot, to the nearest minute, one at the least.
export function formatDuration(minutes) {
  if (!isSize(minutes)) return UNKNOWN_TEXT;
  const whole = Math.max(Math.floor(minutes + 0.5), 1);
  if (whole < 60) return `${whole} min`;
  return `${groupDigits(String(Math.floor(whole / 60)))} h ${String(whole % 60).padStart(2, "0")} min`;
}
