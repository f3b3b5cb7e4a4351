// Small parts of the page that lists and details are put together from. Text from data goes in as text only.

import { formatDecimal, formatGeoLink, formatMinutes } from "./wording.js";

export function byId(id) {
  return document.getElementById(id);
}

export function makeElement(name, className, text) {
  const node = document.createElement(name);
  if (className) node.className = className;
  if (text !== undefined) node.textContent = text;
  return node;
}

const SVG = "http://www.w3.org/2000/svg";

export function makeSvg(name, attributes, text) {
  const node = document.createElementNS(SVG, name);
  for (const [key, value] of Object.entries(attributes)) node.setAttribute(key, value);
  if (text !== undefined) node.textContent = text;
  return node;
}

export function makeBdi(text, className = "") {
  return makeElement("bdi", className, text);
}

export function makeParagraph(className, ...parts) {
  const node = makeElement("p", className);
  node.append(...parts);
  return node;
}

// The title of a part: of a story, or one level deeper in the answer to a check.
export function makeHeading(text, level = 3) {
  return makeElement(`h${level}`, "story-part", text);
}

export function makeBullets(items) {
  const list = makeElement("ul");
  for (const parts of items) {
    const row = makeElement("li");
    row.append(...[parts].flat());
    list.append(row);
  }
  return list;
}

// Pairs of a term and its values, each a text or a node.
export function makeTerms(className, pairs) {
  const list = makeElement("dl", className);
  for (const [term, ...values] of pairs) {
    list.append(makeElement("dt", "", term));
    for (const value of values) {
      const line = makeElement("dd");
      line.append(value);
      list.append(line);
    }
  }
  return list;
}

export function makeFigures(counts) {
  const list = makeElement("dl", "figures");
  for (const [name, count] of Object.entries(counts)) {
    const pair = makeElement("div");
    pair.append(makeElement("dt", "", name), makeElement("dd", "", String(count)));
    list.append(pair);
  }
  return list;
}

export function makePicture(look, shape) {
  const node = makeSvg("svg", { class: `picture ${look}`, viewBox: "0 0 34 34", "aria-hidden": "true" });
  node.append(makeSvg("use", { href: `#shape-${shape}` }));
  return node;
}

export function makeWarningSign() {
  const node = makeSvg("svg", { class: "sign", viewBox: "0 0 20 20", "aria-hidden": "true" });
  node.append(makeSvg("path", { d: "M10 2.5 18.5 17.5h-17Z" }), makeSvg("path", { d: "M10 8v4.5M10 14.6v.8" }));
  return node;
}

export function makeParkName(park) {
  return makeBdi(park.name || park.id, "name");
}

export function makeParkLabel(park) {
  const label = makeElement("span");
  label.append(makeBdi(park.name || "(no name)", "name"), " ", makeBdi(park.id, "park-id"));
  return label;
}

export function makeExact(text) {
  return makeElement("span", "exact", text);
}

export function makeLink(address, text = address) {
  const link = makeElement("a", "", text);
  link.href = address;
  return link;
}

// One place in the usual forms.
export function makePlaceForms(lon, lat, utm) {
  const forms = [makeExact(formatDecimal(lon, lat)), makeExact(formatMinutes(lon, lat))];
  if (utm) forms.push(makeExact(`UTM ${utm}`));
  return [...forms, makeLink(formatGeoLink(lon, lat))];
}
