// Degrees, minutes and seconds by grammar. A text becomes a row of kinds, one letter a token: i a whole number,
// f one with decimals, I and F the same with a sign; o m s marks of degrees, minutes, seconds; : a colon; L a
// hemisphere letter; a comma for what separates.

import { Refusal, checkPlace } from "./refusal.js";

// Marks are lower case, so that S is never a second.
const TOKEN = new RegExp(
  [
    "(?<number>[+-]?[0-9]+(?:\\.[0-9]+)?)",
    "(?<s>''|′′|’’|\"|″|”|sec(?:onds?)?)",
    "(?<o>°|º|˚|deg(?:rees?)?|d)",
    "(?<m>'|′|’|´|min(?:utes?)?|m)",
    "(?<colon>:)|(?<comma>[,;/])|(?<letter>[NSEWnsew])|(?<blank> )",
  ].join("|"),
  "uy",
);
const ONE_ANGLE = /^(?:[iIfF]o?|[iI][o:]?[if]m?|[iI][o:]?i[m:]?[if]s?)$/;
const MARKED_ANGLE = /^(?:[iIfF]o|[iI]o[if]m|[iI]oim[if]s|[iI]:[if]|[iI]:i:[if])$/;

export function readAngles(text) {
  const tokens = splitTokens(text);
  const kinds = tokens.map((token) => token.kind).join("");
  const ways = kinds.includes("L") ? divideByLetters(kinds) : divideByPlace(kinds);
  if (ways.length > 1) {
    throw new Refusal(
      "it is not clear where latitude ends and longitude begins",
      "put a comma between them, such as 45 30, -89 15",
    );
  }
  if (!ways.length) throw explainMisreading(text, kinds);
  const [first, second] = ways[0].map(([from, to]) => gatherAngle(tokens.slice(from, to)));
  if (first.numbers.length !== second.numbers.length && !first.letter && !(first.marked && second.marked)) {
    throw new Refusal(
      "one coordinate has more parts than the other",
      "mark each number, such as 45° 30' 15\" 89° 15', or add hemisphere letters",
    );
  }
  const eastFirst = "EW".includes(first.letter) && first.letter !== "";
  const [lat, lon] = eastFirst ? [second, first] : [first, second];
  checkAngle(lat, "latitude", "NS");
  checkAngle(lon, "longitude", "EW");
  const found = checkPlace(sumDegrees(lat, "S"), sumDegrees(lon, "W"), lat.letter !== "");
  if (!lat.letter && /^[+-]?0[0-9]{2}/.test(lat.numbers[0])) {
    throw new Refusal(
      `${lat.numbers[0]} has three digits, as a longitude has`,
      "latitude comes first, with two digits",
    );
  }
  return found;
}

function splitTokens(text) {
  const tokens = [];
  let at = 0;
  while (at < text.length) {
    TOKEN.lastIndex = at;
    const found = TOKEN.exec(text);
    if (!found) throw refuseLetter(text, at);
    const kind = Object.keys(found.groups).find((name) => found.groups[name] !== undefined);
    if (kind !== "blank") tokens.push(makeToken(text, at, kind, found[0]));
    at = TOKEN.lastIndex;
  }
  return tokens;
}

function refuseLetter(text, at) {
  const letter = String.fromCodePoint(text.codePointAt(at));
  if ("+-".includes(letter)) {
    return new Refusal("a sign stands alone", "write it before its number: 45.5, -89.25");
  }
  if (letter === ".") return new Refusal("a point lacks a digit before or after it", "write 0.5 or 5.0");
  return new Refusal(`${letter} at character ${at + 1} has no meaning in coordinates`);
}

function makeToken(text, at, kind, word) {
  if (kind === "number") {
    const signed = "+-".includes(word[0]);
    if (signed && at > 0 && !" ,;/NSEWnsew".includes(text[at - 1])) {
      const what = `${word[0]} at character ${at + 1} may be a sign or a dash`;
      throw new Refusal(what, "put a comma before a sign");
    }
    if (word.replace(/^[+-]/, "").split(".")[0].length > 3) {
      throw new Refusal(
        `${word} has too many digits for degrees`,
        "write 45 30.5 N 89 15.2 W; UTM and the like are read by the command scout check",
      );
    }
    const letter = word.includes(".") ? "f" : "i";
    return { kind: signed ? letter.toUpperCase() : letter, word };
  }
  if (kind === "letter") {
    // A small s is seconds where minutes carry a letter too: 34d 54m 36s.
    const seconds = word === "s" && /(?:m|min|minutes?) ?[0-9.]+ ?$/.test(text.slice(0, at));
    return seconds ? { kind: "s", word } : { kind: "L", word: word.toUpperCase() };
  }
  return { kind: { colon: ":", comma: "," }[kind] ?? kind, word };
}

function divideByPlace(kinds) {
  const ways = [];
  for (let k = 1; k < kinds.length; k += 1) {
    const next = kinds[k] === "," ? k + 1 : k;
    if (ONE_ANGLE.test(kinds.slice(0, k)) && ONE_ANGLE.test(kinds.slice(next))) {
      ways.push([[0, k], [next, kinds.length]]);
    }
  }
  return ways;
}

// Letters stand after both coordinates, or before both.
function divideByLetters(kinds) {
  for (const pattern of [/^([^L,]+L),?([^L,]+L)$/, /^(L[^L,]+),?(L[^L,]+)$/]) {
    const found = pattern.exec(kinds);
    if (found && found.slice(1).every((part) => ONE_ANGLE.test(part.replace("L", "")))) {
      return [[[0, found[1].length], [kinds.length - found[2].length, kinds.length]]];
    }
  }
  return [];
}

function gatherAngle(tokens) {
  const words = (kinds) => tokens.filter(({ kind }) => kinds.includes(kind)).map(({ word }) => word);
  return {
    numbers: words("iIfF"),
    letter: words("L").join(""),
    marked: MARKED_ANGLE.test(tokens.map(({ kind }) => kind).join("").replace("L", "")),
  };
}

// Sign and letter agree; minutes and seconds are under 60.
function checkAngle({ numbers, letter }, name, letters) {
  if (letter && !letters.includes(letter)) {
    const twice = name === "latitude" ? "longitudes" : "latitudes";
    throw new Refusal(`there are two ${twice}`, "N and S go with the latitude, E and W with the longitude");
  }
  const sign = numbers[0][0];
  if (letter && "+-".includes(sign) && (sign === "-") !== "SW".includes(letter)) {
    throw new Refusal(`${sign} and ${letter} contradict each other`, `leave one out of the ${name}`);
  }
  numbers.slice(1).forEach((number, k) => {
    const what = ["minutes", "seconds"][k];
    if (number.split(".")[0].length > 2 || Number(number) >= 60) {
      throw new Refusal(`${number} ${what} is 60 or more`, `write ${what} from 0 to 59.999`);
    }
  });
}

function sumDegrees({ numbers, letter }, minus) {
  const size = numbers.reduce((sum, number, k) => sum + Math.abs(Number(number)) / 60 ** k, 0);
  return letter === minus || numbers[0][0] === "-" ? -size : size;
}

// Why a row of kinds is no pair of coordinates, and what its writer probably meant.
function explainMisreading(text, kinds) {
  const commas = /^([+-]?[0-9]+),([0-9]+)[ ;/,]+([+-]?[0-9]+),([0-9]+)$/.exec(text);
  if (commas) {
    const [, a, b, c, d] = commas;
    return new Refusal("these look like decimal commas", `write ${a}.${b}, ${c}.${d}`);
  }
  if (/^[iIfF],[iIfF],[iIfF]$/.test(kinds)) {
    return new Refusal("there are three numbers", "give latitude and longitude only");
  }
  if (kinds.split("L").length === 2) {
    return new Refusal("only one coordinate has a hemisphere letter", "give both a letter, or none");
  }
  if (/[0-9],[0-9]/.test(text) && (kinds.includes("L") || kinds.split(",").length > 2)) {
    return new Refusal("these look like decimal commas");
  }
  if (kinds.replace(/[^iIfF]/g, "").length === 1) return new Refusal("it holds one number, a place needs two");
  return new Refusal("it is not understood");
}
