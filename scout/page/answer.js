// The answer to a check as elements: verdict, parks near, lines near, coordinates, what it rests on, cautions.

const LOOKS = { firm: "firm", doubtful: "doubtful", "not counted": "uncounted", [UNSURE]: "uncounted" };

// What holds the confidence down: parts of a sentence.
function driverParts({ kind, park }, { verdict }) {
  switch (kind) {
    case "outline":
      return [
        "the outline of ",
        nameOf(park),
        `, which this page draws to ${metresText(findings.tolerance)} here`,
      ];
    case "none near":
      return ["no park that this page knows is near"];
    case "outside":
      return ["outside every park that this page knows; ", nameOf(park), ` is ${metresText(park.edgeM)} away`];
    case "shallow":
      return [`only ${metresText(park.clearance)} inside `, nameOf(park)];
    case "boundary":
      return ["the boundary of ", nameOf(park), `, ${metresText(park.clearance)} away`];
    case "grids":
      return [`reaching ${countText(verdict.locators.length, "grid")}`];
    default:
      return ["the receiver"];
  }
}

function answerOf(result, title) {
  const story = element("div", "story");
  story.append(headOf(result, title), ...claimOf(result), ...parksOf(result), ...latticeOf(result));
  story.append(...coordinatesOf(result), ...restsOn(result));
  story.append(heading("Cautions", 4), document.querySelector("#cautions ul").cloneNode(true));
  return story;
}

function headOf({ verdict }, title) {
  const head = element("h3", "story-title");
  head.tabIndex = -1;
  const text = element("span");
  const locators = verdict.locators.join(" ") || "no one grid";
  text.append(element("span", "story-kind", title), " ", element("span", "story-locators", locators));
  head.append(text);
  return head;
}

// The verdict in words; with no park that counts it holds for the parks of this page only.
function claimText({ word, parks: counted, confidence }) {
  if (word === UNSURE) return [`${UNSURE} here`, ""];
  if (!counted.length) return [word, "in the parks that this page knows"];
  return [word, `confidence ${percentText(confidence)}`];
}

function claimOf(result) {
  const { verdict, driver } = result;
  const unsure = verdict.word === UNSURE;
  const [word, more] = claimText(verdict);
  const claim = paragraph(`claim ${LOOKS[verdict.word]}`, picture(LOOKS[verdict.word], "overlap"), " ");
  claim.append(element("strong", "", word), " ", more);
  const why = paragraph("", "What holds it down: ", ...driverParts(driver, result), ".");
  if (!unsure) return [claim, figuresOf(verdict), why];
  const remedy = "Use the command scout check with the boundary file: it has the whole outline.";
  return [claim, why, paragraph("", remedy)];
}

function figuresOf({ locators, parks: counted, word }) {
  const pairs = word === "not counted" ? 0 : locators.length * counted.length;
  return figures({ grids: locators.length, parks: counted.length, "pairs (yield)": pairs });
}

function parksOf({ parks: near, cell }) {
  const list = element("ul", "near-parks");
  list.append(...near.map((park) => parkRow(park, cell)));
  const limits = paragraph(
    "aside",
    `This page knows only the ${countText(findings.parks.length, "park")} of its findings. ` +
      "Whether another park holds or borders this place, it cannot tell.",
  );
  const none = paragraph("", `None within ${NEAR_M / 1000} km${cell ? " of the cell's centre" : ""}.`);
  return [heading("Parks near", 4), near.length ? list : none, limits];
}

function parkRow(park, cell) {
  const row = element("li");
  const sure = element("span", `near-park-p ${LOOKS[park.word]}`);
  sure.append(element("strong", "", park.word));
  if (park.word !== UNSURE) sure.append(` ${percentText(park.p)}`);
  const head = element("div", "near-park");
  head.append(parkLabel(park), sure);
  row.append(head, paragraph("", clearanceOf(park)));
  if (cell) row.append(paragraph("", `${shareText(park.share)} of the cell lies inside.`));
  return row;
}

function shareText(share) {
  if (share > 1 - 1e-9) return "The whole";
  return share < 1e-9 ? "Nothing" : percentText(share);
}

function clearanceOf({ clearance, strayM, edgeDeg, atInholding, word }) {
  const rough = strayM > 0 ? `, give or take ${metresText(strayM)}` : "";
  const edge = atInholding ? "nearest edge, an inholding's," : "nearest edge";
  if (word === UNSURE && Math.abs(clearance) <= strayM) return `On the outline as it is drawn${rough}.`;
  return `${clearanceText(clearance)}${rough}; ${edge} to the ${bearingText(edgeDeg)}.`;
}

function latticeOf({ lines }) {
  const list = element("dl", "lattice-lines");
  for (const line of lines) {
    const away = `${metresText(line.distance)} to the ${bearingText(line.bearing)}`;
    list.append(element("dt", "", lineName(line)), element("dd", "", line.distance < 0.05 ? "here" : away));
  }
  return [heading("Nearest lattice lines", 4), list];
}

function lineName({ kind, lon, lat }) {
  const text = (degrees, plus, minus) => {
    return `${Number(Math.abs(degrees).toFixed(6))}° ${degrees < 0 ? minus : plus}`;
  };
  if (kind === "meridian") return `meridian ${text(lon, "E", "W")}`;
  return kind === "parallel" ? `parallel ${text(lat, "N", "S")}` : "corner";
}

function coordinatesOf({ lon, lat, cell }) {
  const list = terms("coordinates", [[cell ? "Centre of the cell" : "Place checked", ...placeForms(lon, lat)]]);
  return [heading("Coordinates", 4), list];
}

function restsOn({ station, cell, stated }) {
  const parts = [`station of ${metresText(station.radius)} radius`];
  if (!cell) parts.push(`fix error ${metresText(station.fixError)}`);
  parts.push(`boundary error ${metresText(findings.boundaryError)} and the datum's`);
  const more = linkTo("#assumptions", "What that means");
  const rows = [paragraph("", `Reckoned with a ${parts.join(", ")} (95 % radii). `, more)];
  if (cell) {
    const whole = "A locator is taken as its whole cell: a park counts by the share of the cell inside it.";
    rows.push(paragraph("", whole));
  }
  if (stated) rows.push(...statedError(stated, station.fixError));
  return [heading("What it rests on", 4), ...rows];
}

// A device states the radius of 68 % of its fixes; the award rule is of September 2008: 20 ft.
function statedError(stated, fixError) {
  const rows = [
    paragraph(
      "",
      `Your device states ${metresText(stated)}. Phones mean the radius that holds 68 % of fixes, ` +
        `so ${metresText(fixError)}, its 95 % radius, is the fix error of this check.`,
    ),
  ];
  if (stated > 6.1) {
    rows.push(paragraph("", "Award rules for grids may refuse a receiver that shows more than 6.1 m (20 ft)."));
  }
  return rows;
}
