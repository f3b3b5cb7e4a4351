// All that is known of one spot, in sections.

function storyOf(spot) {
  const story = element("div", "story");
  story.append(
    storyHead(spot),
    ...storyClaim(spot),
    ...storyWarnings(spot),
    ...storyMiss(spot),
    ...storyStand(spot),
    ...walkStory(spot),
    ...storyParks(spot),
    ...storySure(spot),
    ...storyStretches(spot),
    ...(spot.notes.length ? [heading("Notes"), bullets(spot.notes.map((note) => bdi(note)))] : []),
    ...pickStory(spot),
    heading("Cautions"),
    document.querySelector("#cautions ul").cloneNode(true),
  );
  return story;
}

function storyHead(spot) {
  const head = element("h2", "story-title");
  head.id = "details-title";
  head.tabIndex = -1;
  const text = element("span");
  text.append(
    element("span", "story-kind", `Spot ${spot.rank}: ${KIND_WORDS[spot.kind]}`),
    " ",
    element("span", "story-locators", spot.locators.join(" ")),
  );
  head.append(numbered(spot), text);
  return head;
}

function storyClaim(spot) {
  const claim = paragraph(`claim ${spot.look}`, picture(spot.look, spot.kind), " ");
  claim.append(element("strong", "", VERDICT_WORDS[spot.look]), " ");
  claim.append(spot.near ? "outside every park" : `confidence ${percentText(spot.confidence)}`);
  if (spot.near) return [claim];
  const worth = figures({ grids: spot.grids, parks: spot.held, "pairs (yield)": spot.pairs });
  const counts =
    `One contact from here counts for ${countText(spot.pairs, "pair")} of grid and park` +
    `${spot.look === "firm" ? "" : ", if it counts"}.${missingText(spot)}`;
  return [claim, worth, ...(spot.pairs ? [paragraph("worth", counts)] : [])];
}

// What of it the notebook does not hold yet.
function missingText(spot) {
  if (!spot.missing) return "";
  const [grids, parks, pairs] = spot.missing;
  if (!pairs) return " All of it is in the notebook.";
  return ` Still missing: ${countText(pairs, "pair")}, with ${countText(grids, "new grid")} and ${countText(parks, "new park")}.`;
}

function storyWarnings(spot) {
  if (!spot.warnings.length) return [];
  const box = element("div", "warnings");
  box.append(heading("Take care here"), bullets(spot.warnings.map((text) => [warningSign(), bdi(text)])));
  return [box];
}

function storyMiss({ near }) {
  if (!near) return [];
  const [away, bearing] = near.away;
  const text = ` begins ${metresText(away)} to the ${bearingText(bearing)}.`;
  return [heading("What it misses"), paragraph("", parkLabel(near.park), text)];
}

// Where the station's centre goes, seen from the lattice.
function standText(spot) {
  const line = spot.stretches.length ? spot.stretches[0][5] : "lattice line";
  const mark = spot.corner ? "corner" : line;
  if (spot.near) return `No place to stand yet: the ${mark} lies outside every park.`;
  if (spot.kind === "place") return "This is the place that was asked about.";
  if (spot.kind === "overlap") {
    return "Centre the station on this point; the parks overlap here, inside one cell.";
  }
  if (spot.offset) {
    const [away, bearing] = spot.offset;
    return `Centre the station ${metresText(away)} ${bearingText(bearing)} of the ${mark}.`;
  }
  return spot.kind === "corner"
    ? "Centre the station on the corner itself."
    : `Centre the station on the ${line}.`;
}

function storyStand(spot) {
  const pairs = [[spot.near ? "This point" : "Station centre", ...placeForms(spot.lon, spot.lat, spot.utm)]];
  if (spot.corner && spot.offset) {
    const [lat, lon] = place(spot.corner);
    pairs.push(["Exact lattice corner", exact(decimalText(wrapLon(lon), lat))]);
  }
  if (spot.home !== undefined) pairs.push(["From home", `${distanceText(spot.home)}, straight`]);
  if (spot.slope !== undefined) pairs.push(["Slope of the ground", `${spot.slope.toFixed(0)}°`]);
  const beyond = `This point lies beyond the edge of the map, which ends at ${findings.mapEdge.toFixed(2)}° of latitude.`;
  return [
    heading("Where to stand"),
    paragraph("", standText(spot)),
    terms("coordinates", pairs),
    ...(spot.drawn ? [] : [paragraph("", beyond)]),
  ];
}

function storyParks(spot) {
  if (spot.near) return [];
  const table = element("table");
  const head = element("tr");
  for (const title of ["park", "boundary", "station inside"]) {
    const cell = element("th", "", title);
    cell.scope = "col";
    head.append(cell);
  }
  table.createTHead().append(head);
  const body = table.createTBody();
  spot.parks.forEach((park, k) => {
    const row = body.insertRow();
    const label = element("th");
    label.scope = "row";
    label.append(parkLabel(park));
    row.append(
      label,
      element("td", "", clearanceText(spot.clearances[k])),
      element("td", "", percentText(spot.inside[k])),
    );
  });
  return [heading("Parks"), table, ...spot.parks.filter((park) => park.own).map(parkOwn)];
}

// What the boundary file itself says of a park.
function parkOwn(park) {
  const box = element("details", "park-own");
  const title = element("summary");
  title.append("Of ", nameOf(park), " in its file");
  box.open = true;
  box.append(title, terms("own", park.own.map(([key, value]) => [key, bdi(value)])));
  for (const term of box.querySelectorAll("dt")) term.replaceChildren(bdi(term.textContent));
  return box;
}

// What holds the confidence down most.
function driverText(spot) {
  const least = spot.inside.reduce((low, p, k) => (p < spot.inside[low] ? k : low), 0);
  if (spot.touching <= spot.inside[least]) {
    return spot.grids > 1 ? [`reaching ${countText(spot.grids, "grid")}`] : ["the receiver"];
  }
  const edge = metresText(Math.abs(spot.clearances[least]));
  return ["the boundary of ", nameOf(spot.parks[least]), `, ${edge} away`];
}

function storySure(spot) {
  if (spot.near || !spot.parks.length) return [];
  const each = spot.parks.length === 1 ? "the park" : "each park";
  const sum =
    `Touching ${countText(spot.grids, "grid")}, ${percentText(spot.touching)}, times standing inside ${each} ` +
    `makes ${percentText(spot.confidence)}.`;
  const limits = paragraph(
    "aside",
    "A product, as if the errors were independent; receiver and boundary errors are taken as 95 % radii. ",
    linkTo("#assumptions", "What this rests on"),
  );
  const driver = paragraph("", "What holds it down most: ", ...driverText(spot), ".");
  return [heading("How sure"), paragraph("", sum), driver, limits];
}

function storyStretches(spot) {
  if (!spot.stretches.length) return [];
  const title = spot.kind === "corner" ? "Lattice lines that lead here" : "The stretch";
  const rows = spot.stretches.map(([x0, y0, x1, y1, length, line, locators, held]) => {
    const end = (x, y) => exact(decimalText(wrapLon(degrees(x)), degrees(y)));
    const parks = held.flatMap((number, k) => [k ? ", " : "", bdi(parkLabels[number].id)]);
    const text = `${metresText(length)} of the ${line} between ${locators.join(" and ")}, from `;
    return [text, end(x0, y0), " to ", end(x1, y1), ", in ", ...parks];
  });
  return [heading(title), bullets(rows)];
}
