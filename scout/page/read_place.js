// Places as people type them, latitude first: decimal degrees, degrees and minutes (and seconds), geo: links,
// locators. The command's rules: a text that could mean two things is refused, with a line that says how to
// write it. Values never decide how a text divides; one file of texts tests both.

import { PAIRS, readCell } from "./locator.js";
import { Refusal, checkPlace } from "./refusal.js";
import { readAngles } from "./read_angles.js";

const LONGEST_TEXT = 200;

// { lon, lat }, with a cell where the text was a locator; or { refusal }, one line.
export function readPlace(text) {
  try {
    const blanked = text.replace(/[\t\r\n\u00a0\u2009\u202f]/g, " ").replace(/ +/g, " ");
    return interpretPlace(blanked.replace(/\u2212/g, "-").trim());
  } catch (error) {
    if (error instanceof Refusal) return { refusal: error.message };
    throw error;
  }
}

function interpretPlace(text) {
  if (text === "") throw new Refusal("there is nothing to read");
  if (text.length > LONGEST_TEXT) throw new Refusal(`it is longer than ${LONGEST_TEXT} characters`);
  if (/^geo:/i.test(text)) return readGeoLink(text);
  if (/^[A-Za-z]{2}(?:(?=[!-~]*[0-9])[!-~]+)?$/.test(text)) return readLocator(text);
  return readAngles(text);
}

// RFC 5870 without its parameters, but for the datum it has by default.
function readGeoLink(text) {
  const number = "(-?[0-9]+(?:\\.[0-9]+)?)";
  const found = new RegExp(`^geo:${number},${number}(?:,${number})?(?:;crs=wgs84)?$`, "i").exec(text);
  if (!found) {
    throw new Refusal("this geo: link is not understood", "write geo:45.123,-89.456 and nothing after it");
  }
  return checkPlace(Number(found[1]), Number(found[2]));
}

function readLocator(text) {
  [...text].forEach((letter, at) => {
    const pair = PAIRS[Math.floor(at / 2)];
    if (!pair) throw new Refusal(`${text} is longer than five pairs`, "shorten the locator");
    const digit = letter.toLowerCase().charCodeAt(0) - pair.first.toLowerCase().charCodeAt(0);
    if (digit >= 0 && digit < pair.parts) return;
    const [first, last] = [0, pair.parts - 1].map((n) => {
      return String.fromCharCode(pair.first.toUpperCase().charCodeAt(0) + n);
    });
    const kind = pair.first === "0" ? "a digit" : "a letter";
    throw new Refusal(
      `${text} is no locator: character ${at + 1} is ${letter}`,
      `it must be ${kind} ${first} to ${last}`,
    );
  });
  if (text.length % 2) {
    throw new Refusal(`${text} is no locator: half a pair is missing`, "write pairs, as in EN55");
  }
  const cell = readCell(text);
  return { lon: cell.west + cell.width / 2, lat: cell.south + cell.height / 2, cell };
}
