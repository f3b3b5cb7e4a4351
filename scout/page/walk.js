// The walk to a spot in words, and its heights as a picture.

function walkStory(spot) {
  const { walk } = spot;
  if (!walk) return [];
  if (walk.state === "walked") return [heading("The walk"), ...walkedStory(walk)];
  const lead = walk.state === "unknown" ? "Walking time not worked out" : "Out of reach on foot";
  const why = paragraph("walk-state", warningSign(), " ", element("strong", "", lead));
  if (walk.reason) why.append(": ", bdi(walk.reason));
  return [heading("The walk"), why, ...startStory(walk, "Nearest place to start from")];
}

function walkedStory(walk) {
  const times = figures({ "out": spanText(walk.out), "back": spanText(walk.back ?? walk.out) });
  times.classList.add("times");
  const facts = [];
  if (walk.length !== undefined) facts.push(`${metresText(walk.length)} each way`);
  facts.push(walk.climb === undefined ? "climb not known" : `${walk.climb.toFixed(0)} m up on the way out`);
  if (walk.off !== undefined) {
    facts.push(walk.off < 0.5 ? "on paths all the way" : `${metresText(walk.off)} off paths`);
  }
  return [
    times,
    paragraph("", `${facts.join(", ")}.`),
    ...profileOf(walk.profile),
    ...startStory(walk, "Leave the car at"),
    paragraph("aside", "Reckoned from the access data. Look at the ground before you trust it."),
  ];
}

function startStory(walk, title) {
  if (!walk.start) return [];
  const [lat, lon] = place(walk.start);
  const label = element("span");
  label.append(walk.startKind || "start", walk.startName ? ", " : "", bdi(walk.startName ?? ""));
  const pairs = [[title, label, exact(decimalText(wrapLon(lon), lat)), linkTo(geoLink(wrapLon(lon), lat))]];
  if (walk.straight !== undefined) pairs.push(["Straight from there", metresText(walk.straight)]);
  return [terms("coordinates", pairs)];
}

// Heights along the walk, packed as points of distance and height, metres.
function profileOf(packed) {
  if (!packed) return [];
  const { lon: distances, lat } = unpackRing(packed, 1);
  const heights = [...lat];
  const points = heights.map((height, k) => [distances[k], height]);
  const [low, high] = [Math.min(...heights), Math.max(...heights)];
  const far = points[points.length - 1][0] || 1;
  const span = Math.max(high - low, 20); // a flat walk looks flat
  const [width, tall, top] = [300, 70, 8];
  const x = (distance) => ((distance / far) * width).toFixed(1);
  const y = (height) => (top + (1 - (height - low) / span) * (tall - top - 6)).toFixed(1);
  const line = points.map(([distance, height]) => `${x(distance)} ${y(height)}`).join("L");
  const label =
    `Heights along the walk: ${heights[0]} m at the start, ${heights[heights.length - 1]} m at the spot, ` +
    `lowest ${low} m, highest ${high} m, over ${metresText(far)}`;
  const drawing = svg("svg", { viewBox: `0 0 ${width} ${tall}`, role: "img", "aria-label": label });
  drawing.append(
    svg("path", { class: "profile-ground", d: `M0 ${tall}L${line}L${width} ${tall}Z` }),
    svg("path", { class: "profile-line", d: `M${line}` }),
  );
  const figure = element("figure", "profile");
  const ends = element("figcaption");
  ends.append(
    element("span", "", `start ${heights[0]} m`),
    element("span", "", low === high ? "level" : `${low} to ${high} m`),
    element("span", "", `spot ${heights[heights.length - 1]} m`),
  );
  figure.append(drawing, ends);
  return [figure];
}
