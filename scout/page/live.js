// Where the reader is, while walking: way to the chosen spot, cells and parks stood in, the verdict with the device's own
// error; and, standing still, the average of all fixes with its circle, saved as a recording.

import { findings } from "./findings.js";
import { byId, makeBdi, makeElement, makeParagraph, makePicture } from "./elements.js";
import { inverse, roundHalfEven } from "./geodesy.js";
import { formatBearing, formatClearance, formatDecimal, formatDuration, formatFineLength, lengthUnits } from "./wording.js";
import { chosen, spots } from "./spots.js";
import { error95From68 } from "./confidence.js";
import { UNSURE, judge } from "./check.js";
import { computeStayWithin, settleFixes } from "./standstill.js";
import { followPosition, screenKept, wordScreen } from "./position.js";
import { makeRecordingGpx } from "./gpx.js";
import { saveFile } from "./save_file.js";
import { scoutMap } from "./map.js";
import { makeOrnament } from "./marks.js";
import { foldKey, getFreeView, say } from "./view.js";
import { LOOKS, wordClaim } from "./check_answer.js";
import { checkPosition, checkShapes } from "./check_panel.js";

const livePanel = byId("live");
const liveText = byId("live-text");
const liveButton = byId("live-button");
const standButton = byId("live-stand");
const liveLayer = L.layerGroup();
const AGES_S = 10; // a position older than this is said to be old
const SETTLE_S = 2; // an average is not worked out anew more often
let stopFollowing = null;
let fix = null; // the last one: { time, lon, lat, radius, error, heardAt }
let trouble = ""; // why there is no position
let recording = null; // fixes of a standstill under way
let settled = null; // what they come to: see settleFixes
let settledAt = 0;
let saidWord = ""; // the verdict that was read out
let shown = []; // what the panel was written from
let inView = true; // the map goes with the reader until it is dragged

function startLive() {
  livePanel.hidden = false;
  makeRoom(true);
  liveButton.setAttribute("aria-expanded", "true");
  inView = true;
  liveLayer.addTo(scoutMap);
  stopFollowing = followPosition(takeFix, refuseFix);
  showLive();
}

function stopLive() {
  if (isUnsaved() && !window.confirm("End it, and lose the recording that is not saved?")) return;
  stopFollowing?.();
  [stopFollowing, fix, trouble, recording, settled, saidWord, shown] = [null, null, "", null, null, "", []];
  livePanel.hidden = true;
  makeRoom(false);
  liveButton.setAttribute("aria-expanded", "false");
  liveLayer.remove();
  liveButton.focus({ preventScroll: true });
}

// In a small window the header makes way for the panel, all but its caution.
function makeRoom(followed) {
  document.documentElement.classList.toggle("followed", followed);
  foldKey();
  scoutMap.invalidateSize({ animate: false, pan: false });
}

function takeFix({ coords, timestamp }) {
  const radius = coords.accuracy > 0 ? coords.accuracy : NaN;
  const first = !fix;
  const again = fix?.time === timestamp / 1000;
  fix = {
    time: timestamp / 1000,
    lon: coords.longitude,
    lat: coords.latitude,
    radius,
    error: radius > 0 ? error95From68(radius) : NaN,
    heardAt: Date.now(),
  };
  trouble = "";
  if (recording && !again) recording.fixes.push(fix);
  settle();
  showLive();
  if (first) frameWay();
  else if (inView) keepInView();
}

function refuseFix(text) {
  trouble = text;
  showLive();
}

// The average of the standstill, and when it was last worked out.
function settle(now = Date.now()) {
  if (!recording?.fixes.length || now - settledAt < 1000 * SETTLE_S) return;
  settledAt = now;
  settled = settleFixes(recording.fixes);
}

// What is judged: the average of a standstill, until the reader walks away from it, else the last fix.
function getStanding() {
  if (settled && !settled.refusal && !hasLeft()) return { ...settled, averaged: true };
  return { lon: fix.lon, lat: fix.lat, error: fix.error, averaged: false };
}

function hasLeft() {
  return inverse(settled.lon, settled.lat, fix.lon, fix.lat).distance > computeStayWithin(settled.floor);
}

function findTarget(place) {
  if (chosen) return { spot: chosen, ...inverse(place.lon, place.lat, chosen.lon, chosen.lat) };
  const ways = spots
    .filter((spot) => !spot.near)
    .map((spot) => ({ spot, ...inverse(place.lon, place.lat, spot.lon, spot.lat) }));
  return ways.reduce((best, way) => (best && best.distance <= way.distance ? best : way), null);
}

function showLive() {
  const written = [fix, trouble, recording, settled, chosen, lengthUnits, wordScreen()];
  const aging = recording || (fix && Date.now() - fix.heardAt > 1000 * AGES_S);
  if (livePanel.hidden || (!aging && written.every((part, k) => part === shown[k]))) return;
  shown = written;
  standButton.disabled = !fix;
  standButton.textContent = recording ? "End average" : "Stand still";
  byId("live-save").hidden = !recording?.fixes.length;
  byId("live-full").disabled = byId("live-centre").disabled = !fix;
  byId("live-now").textContent = fix ? tellBasis() : wordScreen();
  const parts = [];
  if (trouble) parts.push(makeParagraph("live-trouble", trouble));
  if (!fix && !trouble) parts.push(makeParagraph("", "Asking the device for its position."));
  if (fix) parts.push(...tellStanding());
  const before = liveText.textContent;
  liveText.replaceChildren(...parts);
  if (trouble && !before.includes(trouble)) say(trouble);
}

function tellStanding() {
  const place = getStanding();
  const result = judge({ lon: place.lon, lat: place.lat, fixError: place.error > 0 ? place.error : undefined });
  const target = findTarget(place);
  drawLive(place, result, target);
  return [...tellWay(target, result), ...tellClaim(result), ...tellStandstill(), ...tellAge()];
}

function tellWay(target, { station }) {
  if (!target) return [];
  const { spot, distance, bearing } = target;
  const name = chosen ? `Spot ${spot.rank}` : `Nearest, spot ${spot.rank}`;
  const line = makeParagraph("live-way", `${name}: `);
  line.append(makeElement("strong", "", formatFineLength(distance)), ` to the ${formatBearing(bearing)}`);
  if (distance < station.fixError) line.append(", closer than your device can tell");
  return [line];
}

// The verdict, the cells and the parks stood in, or the nearest park outside.
function tellClaim(result) {
  const { verdict, parks } = result;
  const [word, more] = wordClaim(verdict);
  if (word !== saidWord) say(`${word} ${more}`);
  saidWord = word;
  const claim = makeParagraph(`claim ${LOOKS[verdict.word]}`, makePicture(LOOKS[verdict.word], "overlap"), " ");
  claim.append(makeElement("strong", "", word), " ", more, `, fix error ${formatFineLength(result.station.fixError)}`);
  const standing = makeParagraph("", makeElement("span", "live-cells", verdict.locators.join(" ")));
  const held = parks.filter((park) => park.clearance > 0);
  const told = held.length ? held : parks.slice(0, 1);
  for (const park of told) {
    standing.append("; ", makeBdi(park.name || park.id), ` ${formatClearance(park.clearance)}`);
  }
  if (!told.length) standing.append("; no park that this map knows is near");
  if (verdict.word === UNSURE) standing.append(". The outline is drawn too coarsely here: use scout check");
  return [claim, standing];
}

function tellStandstill() {
  if (!recording) return [];
  const count = recording.fixes.length;
  if (!settled) return [makeParagraph("live-stand", "Standing still: waiting for the first fix.")];
  if (settled.refusal) {
    return [makeParagraph("live-stand", `No average yet: ${settled.refusal}. Stand still, or end it and begin again.`)];
  }
  const line = makeParagraph("live-stand", "Averaged: ");
  line.append(
    makeElement("strong", "", `95 % within ${formatFineLength(settled.error)}`),
    ` of ${formatDecimal(settled.lon, settled.lat)}, from ${count} fixes in ${formatDuration(settled.durationS / 60)}, ` +
      `worth ${settled.independent.toFixed(1)} independent ones.`,
  );
  if (settled.dropped) line.append(` Dropped as far off: ${settled.dropped}.`);
  if (hasLeft()) line.append(" You have left that place: what stands above is for where you are now.");
  if (!screenKept) line.append(` ${wordScreen()}`);
  if (settled.moved) line.append(" The device moved: the longest standstill is taken.");
  return [line];
}

function tellAge() {
  const age = Math.round((Date.now() - fix.heardAt) / 1000);
  return age > AGES_S ? [makeParagraph("live-trouble", `No newer position for ${age} s.`)] : [];
}

function tellBasis() {
  const stated = `Your device states ${formatFineLength(fix.radius)}, which makes ${formatFineLength(fix.error)} at 95\u00a0%.`;
  const unstated = `Your device states no error: ${formatFineLength(findings.fixError)} (95 %) are taken.`;
  return `${fix.radius > 0 ? stated : unstated} Bearings are from true north. ${wordScreen()}`;
}

// On the turn of the globe that the map shows.
function toMap({ lon, lat }) {
  return [lat, lon + 360 * roundHalfEven((findings.middle - lon) / 360)];
}

// The 95 % circle, the place, and the way to the spot.
function drawLive(place, { station }, target) {
  liveLayer.clearLayers();
  if (Math.abs(place.lat) > findings.mapEdge) return;
  const plain = { renderer: checkShapes, interactive: false };
  const at = toMap(place);
  if (target?.spot.drawn) L.polyline([at, target.spot.at], { ...plain, className: "check-shape live-line" }).addTo(liveLayer);
  L.circle(at, { ...plain, radius: station.fixError, className: "check-shape stated" }).addTo(liveLayer);
  const dot = makeElement("span", place.averaged ? "live-dot averaged" : "live-dot");
  makeOrnament(at, L.divIcon({ html: dot, className: "live-mark", iconSize: [22, 22] })).setZIndexOffset(5e6).addTo(liveLayer);
}

// The reader and the spot together, or the reader alone where that is too far to see anything.
function frameWay() {
  fitMap();
  const place = getStanding();
  const target = findTarget(place);
  const bounds = L.latLngBounds([toMap(place)]);
  if (target?.spot.drawn && target.distance < 50000) bounds.extend(target.spot.at);
  const padding = { paddingTopLeft: [getFreeView().left + 50, 70], paddingBottomRight: [50, 50] };
  scoutMap.fitBounds(bounds, { ...padding, maxZoom: 17, animate: false });
}

// The map takes the room that the panel leaves.
function fitMap() {
  scoutMap.invalidateSize({ animate: false, pan: false });
}

function keepInView() {
  const at = scoutMap.latLngToContainerPoint(toMap(getStanding()));
  const free = getFreeView();
  const inside = at.x > free.left + 40 && at.x < free.width - 40 && at.y > 40 && at.y < free.height - 40;
  if (!inside) frameWay();
}

function toggleStandstill() {
  if (recording) {
    if (isUnsaved() && !window.confirm("End it, and lose the recording that is not saved?")) return;
    [recording, settled] = [null, null];
  } else {
    [recording, settledAt] = [{ fixes: [], startedAt: Date.now(), saved: 0 }, 0];
  }
  showLive();
}

// A minute or more that would be lost.
function isUnsaved() {
  return recording !== null && recording.fixes.length > recording.saved && Date.now() - recording.startedAt > 60000;
}

function saveRecording() {
  settledAt = 0;
  settle();
  const { fixes } = recording;
  const start = new Date(1000 * fixes[0].time).toISOString();
  const outcome = settled.refusal
    ? `No average: ${settled.refusal}.`
    : `Averaged ${formatDecimal(settled.lon, settled.lat)}, 95 % within ${settled.error.toFixed(1)} m.`;
  const title = `Standing still, ${start.slice(0, 16).replace("T", " ")} UTC`;
  saveFile(`standstill-${start.slice(0, 16).replace(/[T:]/g, "-")}.gpx`, makeRecordingGpx(fixes, title, outcome), "application/gpx+xml");
  recording.saved = fixes.length;
  say("Saved. scout arrive reads it.");
  showLive();
}

function checkHere() {
  const { lon, lat, error, averaged } = getStanding();
  const title = averaged ? "Your averaged position" : "Your position";
  checkPosition(averaged ? { longitude: lon, latitude: lat, fixError: error } : { longitude: lon, latitude: lat, accuracy: fix.radius }, title);
}

liveButton.addEventListener("click", () => (livePanel.hidden ? startLive() : stopLive()));
byId("live-stop").addEventListener("click", stopLive);
standButton.addEventListener("click", toggleStandstill);
byId("live-save").addEventListener("click", saveRecording);
byId("live-full").addEventListener("click", checkHere);
byId("live-centre").addEventListener("click", () => {
  inView = true;
  frameWay();
});
scoutMap.on("dragstart", () => {
  inView = false;
});
new ResizeObserver(fitMap).observe(livePanel);
// Another spot may have been chosen, other units; and a position grows old.
window.setInterval(() => {
  settle();
  showLive();
}, 1000);
