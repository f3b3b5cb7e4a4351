// Small parts of the page that lists and details are put together from. Text from data goes in as text only.

const SVG = "http://www.w3.org/2000/svg";

function svg(name, attributes, text) {
  const node = document.createElementNS(SVG, name);
  for (const [key, value] of Object.entries(attributes)) node.setAttribute(key, value);
  if (text !== undefined) node.textContent = text;
  return node;
}

function bdi(text, className = "") {
  return element("bdi", className, text);
}

function paragraph(className, ...parts) {
  const node = element("p", className);
  node.append(...parts);
  return node;
}

// The title of a part: of a story, or one level deeper in the answer to a check.
function heading(text, level = 3) {
  return element(`h${level}`, "story-part", text);
}

function bullets(items) {
  const list = element("ul");
  for (const parts of items) {
    const row = element("li");
    row.append(...[parts].flat());
    list.append(row);
  }
  return list;
}

// Pairs of a term and its values, each a text or a node.
function terms(className, pairs) {
  const list = element("dl", className);
  for (const [term, ...values] of pairs) {
    list.append(element("dt", "", term));
    for (const value of values) {
      const line = element("dd");
      line.append(value);
      list.append(line);
    }
  }
  return list;
}

function figures(counts) {
  const list = element("dl", "figures");
  for (const [name, count] of Object.entries(counts)) {
    const pair = element("div");
    pair.append(element("dt", "", name), element("dd", "", String(count)));
    list.append(pair);
  }
  return list;
}

function picture(look, shape) {
  const node = svg("svg", { class: `picture ${look}`, viewBox: "0 0 34 34", "aria-hidden": "true" });
  node.append(svg("use", { href: `#shape-${shape}` }));
  return node;
}

function warningSign() {
  const node = svg("svg", { class: "sign", viewBox: "0 0 20 20", "aria-hidden": "true" });
  node.append(svg("path", { d: "M10 2.5 18.5 17.5h-17Z" }), svg("path", { d: "M10 8v4.5M10 14.6v.8" }));
  return node;
}

function nameOf(park) {
  return bdi(park.name || park.id, "name");
}

function parkLabel(park) {
  const label = element("span");
  label.append(bdi(park.name || "(no name)", "name"), " ", bdi(park.id, "park-id"));
  return label;
}

function exact(text) {
  return element("span", "exact", text);
}

function linkTo(address, text = address) {
  const link = element("a", "", text);
  link.href = address;
  return link;
}

// One place in the usual forms.
function placeForms(lon, lat, utm) {
  const forms = [exact(decimalText(lon, lat)), exact(minutesText(lon, lat))];
  if (utm) forms.push(exact(`UTM ${utm}`));
  return [...forms, linkTo(geoLink(lon, lat))];
}
