// Places as people type them, latitude first: decimal degrees, degrees and minutes (and seconds), geo: links,
// locators. The command's rules: a text that could mean two things is refused, with a line that says how to
// write it. Values never decide how a text divides; one file of texts tests both.

const HOW_TO_WRITE = 'write 45.123, -89.456 or 45 30.5 N 89 15.2 W, or a locator such as EN55';
const LONGEST_TEXT = 200;

class Refusal extends Error {
  constructor(what, remedy = HOW_TO_WRITE) {
    super(`${what}; ${remedy}`);
  }
}

// { lon, lat }, with a cell where the text was a locator; or { refusal }, one line.
function readPlace(text) {
  try {
    const blanked = text.replace(/[\t\r\n\u00a0\u2009\u202f]/g, " ").replace(/ +/g, " ");
    return placeOf(blanked.replace(/\u2212/g, "-").trim());
  } catch (error) {
    if (error instanceof Refusal) return { refusal: error.message };
    throw error;
  }
}

function placeOf(text) {
  if (text === "") throw new Refusal("there is nothing to read");
  if (text.length > LONGEST_TEXT) throw new Refusal(`it is longer than ${LONGEST_TEXT} characters`);
  if (/^geo:/i.test(text)) return placeOfLink(text);
  if (/^[A-Za-z]{2}(?:(?=[!-~]*[0-9])[!-~]+)?$/.test(text)) return placeOfLocator(text);
  return placeOfAngles(text);
}

// RFC 5870 without its parameters, but for the datum it has by default.
function placeOfLink(text) {
  const number = "(-?[0-9]+(?:\\.[0-9]+)?)";
  const found = new RegExp(`^geo:${number},${number}(?:,${number})?(?:;crs=wgs84)?$`, "i").exec(text);
  if (!found) {
    throw new Refusal("this geo: link is not understood", "write geo:45.123,-89.456 and nothing after it");
  }
  return checkedPlace(Number(found[1]), Number(found[2]));
}

function placeOfLocator(text) {
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
  const cell = cellOf(text);
  return { lon: cell.west + cell.width / 2, lat: cell.south + cell.height / 2, cell };
}

function checkedPlace(lat, lon, lettered = false) {
  if (Math.abs(lat) > 90) {
    const swapped = Math.abs(lon) <= 90 && Math.abs(lat) <= 180 && !lettered;
    throw new Refusal(
      `latitude ${lat} is over 90`,
      swapped ? `latitude comes first: write ${lon}, ${lat}` : "latitude runs from 90 S to 90 N",
    );
  }
  if (Math.abs(lon) > 180) throw new Refusal(`longitude ${lon} is over 180`, "longitude runs from -180 to 180");
  return { lon: lon === 180 ? -180 : lon + 0, lat: lat + 0 };
}
