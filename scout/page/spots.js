// The spots of these findings, unpacked: what the list, the map and the details read.

const KIND_WORDS = {
  corner: "corner",
  line: "line",
  overlap: "overlap",
  "near-miss": "near miss",
  place: "place",
};
const VERDICT_WORDS = { firm: "firm", doubtful: "doubtful", uncounted: "not counted", near: "near miss" };

// Parks with an outline first, then those that are only named.
const parkLabels = [...findings.parks, ...findings.named.map(([id, name]) => ({ id, name }))];

function plain(text) {
  return text.normalize("NFKD").replace(/\p{M}/gu, "").toLowerCase();
}

const spots = findings.spots.map((raw) => {
  const at = place(raw.at);
  const parks = (raw.parks ?? []).map((number) => parkLabels[number]);
  const near = raw.near && { ...raw.near, park: parkLabels[raw.near.park] };
  const [grids, held, pairs] = raw.worth;
  return {
    ...raw,
    at,
    lon: wrapLon(at[1]),
    lat: at[0],
    parks,
    near,
    grids,
    held,
    pairs,
    clearances: raw.clearances ?? [],
    inside: raw.inside ?? [],
    stretches: raw.stretches ?? [],
    notes: raw.notes ?? [],
    warnings: raw.warnings ?? [],
    clearance: near ? -near.away[0] : Math.min(...(raw.clearances ?? [])),
    shown: true,
    // Spots beyond the edge of a Mercator map stay in the list, which says so.
    drawn: Math.abs(at[0]) <= findings.mapEdge,
  };
});

let chosen = null; // the spot whose details are open

// What the text filter looks into.
function searchText(spot) {
  const parks = [...spot.parks, ...(spot.near ? [spot.near.park] : [])];
  spot.search ??= plain([...spot.locators, ...parks.flatMap((park) => [park.id, park.name])].join(" "));
  return spot.search;
}

const byRank = new Map(spots.map((spot) => [spot.rank, spot]));

function spotOf(rank) {
  return byRank.get(rank);
}

function isWalked(spot) {
  return spot.walk?.state === "walked";
}

function outOfReach(spot) {
  return spot.walk?.state === "out of reach";
}

const anyWalk = spots.some((spot) => spot.walk);

function spotName(spot) {
  return `${spot.rank}, ${KIND_WORDS[spot.kind]}: ${spot.locators.join(" ")}`;
}
