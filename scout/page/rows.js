// The rows of the list, each made when it is first asked for.

function rowOf(spot) {
  spot.row ??= makeRow(spot);
  return spot.row;
}

const FIRST_ROWS = 60; // at once; the others follow in slices, so that a long list holds nothing up
const MORE_ROWS = 150;
let laying = 0;

// Lay out the rows of the shown spots in their order.
function layRows(first = FIRST_ROWS) {
  window.clearTimeout(laying);
  const list = byId("spots");
  const rows = inOrder.filter((spot) => spot.shown);
  const lay = (from, to) => {
    list.append(...rows.slice(from, to).map(rowOf));
    if (to < rows.length) laying = window.setTimeout(lay, 0, to, to + MORE_ROWS);
  };
  list.replaceChildren();
  lay(0, first);
}

function makeRow(spot) {
  const row = element("li", outOfReach(spot) ? "unreached" : "");
  row.id = `spot=${spot.rank}`;
  row.dataset.rank = spot.rank;
  const link = element("a", "row");
  link.href = `#spot=${spot.rank}`;
  const name = element("span", "row-name");
  name.append(element("span", "unseen", `${spot.rank}, ${KIND_WORDS[spot.kind]}: `), spot.locators.join(" "));
  link.append(numbered(spot), name, rowVerdict(spot), rowParks(spot), rowFacts(spot), ...rowWarnings(spot));
  row.append(link, pickTick(spot));
  const point = (on) => () => spot.mark?.getElement()?.classList.toggle("pointed", on);
  row.addEventListener("mouseenter", point(true));
  row.addEventListener("mouseleave", point(false));
  return row;
}

// The mark with its number; a bar across what cannot be reached on foot.
function numbered(spot) {
  const node = picture(spot.look, spot.kind);
  const y = spot.kind === "near-miss" ? 25 : 21.2;
  if (outOfReach(spot)) node.append(...barAcross());
  node.append(svg("text", { class: "number", x: 17, y }, spot.rank));
  return node;
}

function barAcross() {
  return ["bar-case", "bar"].map((name) => svg("path", { class: name, d: "M2.5 31.5 10.5 23.5M23.5 10.5 31.5 2.5" }));
}

function rowVerdict(spot) {
  const verdict = element("span", `row-verdict ${spot.look}`, VERDICT_WORDS[spot.look]);
  if (!spot.near) verdict.append(" ", element("span", "share", percentText(spot.confidence)));
  return verdict;
}

function rowParks(spot) {
  const node = element("span", "row-parks");
  (spot.near ? [spot.near.park] : spot.parks).forEach((park, k) => {
    node.append(k ? ", " : "", bdi(park.name || park.id));
  });
  return node;
}

function rowFacts(spot) {
  const facts = [];
  if (spot.near) {
    const [away, bearing] = spot.near.away;
    facts.push(`the park is ${metresText(away)} to the ${bearingText(bearing)}`);
  } else {
    const worth = element("span");
    worth.append(element("strong", "", countText(spot.pairs, "pair")));
    worth.append(` (${countText(spot.grids, "grid")} × ${countText(spot.held, "park")})`);
    if (spot.missing) worth.append(`, ${spot.missing[2]} new`);
    facts.push(worth, spot.parks.length ? clearanceText(spot.clearance) + (spot.plenty ? " (plenty)" : "") : "no park near");
    if (spot.edge > spot.clearance) facts.push(`furthest edge ${metresText(spot.edge)}`);
  }
  if (isWalked(spot)) facts.push(`walk ${spanText(spot.walk.out)}`);
  if (spot.home !== undefined) facts.push(`home ${metresText(1000 * spot.home)}`);
  const node = element("span", "row-facts");
  facts.forEach((fact, k) => {
    const part = typeof fact === "string" ? element("span", "", fact) : fact;
    node.append(k ? " " : "", part);
    if (k < facts.length - 1) part.append(",");
  });
  return node;
}

function rowWarnings(spot) {
  const texts = [...spot.warnings];
  if (outOfReach(spot)) texts.unshift(`Out of reach on foot${spot.walk.reason ? `: ${spot.walk.reason}` : ""}`);
  return texts.map((text) => {
    const line = element("span", "row-warning");
    line.append(warningSign(), bdi(text));
    return line;
  });
}
