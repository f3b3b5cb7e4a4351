// Numbers and places as people read them; the list's own words, and one file of numbers tests both.

import { roundHalfEven } from "./geodesy.js";

const WINDS = ["north", "north-east", "east", "south-east", "south", "south-west", "west", "north-west"];

// Rounded down, so that it never looks better than its verdict; never certain.
export function formatPercent(share) {
  const tenths = Math.floor(share * 1000 + 1e-9);
  if (share > 0.999) return "over 99.9 %";
  return tenths ? `${(tenths / 10).toFixed(1)} %` : "under 0.1 %";
}

function groupDigits(text) {
  return text.replace(/\B(?=(\d{3})+(?!\d))/g, ",");
}

export function formatLength(length) {
  if (length < 9.95) return `${length.toFixed(1)} m`;
  if (length < 999.5) return `${length.toFixed(0)} m`;
  if (length < 9995) return `${(length / 1000).toFixed(2)} km`;
  const [whole, part] = (length / 1000).toFixed(1).split(".");
  return `${groupDigits(whole)}.${part} km`;
}

export function formatClearance(clearance) {
  return `${formatLength(Math.abs(clearance))} ${clearance >= 0 ? "inside" : "outside"}`;
}

export function formatBearing(bearing) {
  return `${WINDS[roundHalfEven(bearing / 45) % 8]} (${roundHalfEven(bearing) % 360}°)`;
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

// Degrees and minutes to 0.19 m; 60 minutes never show.
export function formatMinutes(lon, lat) {
  const [east, north] = [lon, lat].map((degrees) => Math.round(Math.abs(degrees) * 600000));
  const side = (parts, degrees, plus, minus) => (degrees < 0 && parts ? minus : plus);
  const text = (parts, width) => {
    const whole = Math.floor(parts / 600000);
    const minutes = ((parts - whole * 600000) / 10000).toFixed(4).padStart(7, "0");
    return `${String(whole).padStart(width, "0")}° ${minutes}'`;
  };
  return `${text(north, 2)} ${side(north, lat, "N", "S")}, ${text(east, 3)} ${side(east, lon, "E", "W")}`;
}

// A road-map distance, kilometres and miles.
export function formatDistance(kilometres) {
  const digits = kilometres < 100 ? 1 : 0;
  const text = (length) => {
    const [whole, part] = length.toFixed(digits).split(".");
    return groupDigits(whole) + (part ? `.${part}` : "");
  };
  return `${text(kilometres)} km (${text(kilometres / 1.609344)} mi)`;
}

// A time on foot, to the minute.
export function formatDuration(minutes) {
  const whole = Math.max(Math.round(minutes), 1);
  if (whole < 60) return `${whole} min`;
  return `${Math.floor(whole / 60)} h ${String(whole % 60).padStart(2, "0")} min`;
}
