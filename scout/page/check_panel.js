// Check a place: typed, pressed on the map, or where the device says it is. The address (#check=45.1,-89.2)
// holds what was asked, so that going back and reloading work; a device's position stays out of it.

import { findings } from "./findings.js";
import { byId, makeSvg } from "./elements.js";
import { roundHalfEven, wrapLongitude } from "./geodesy.js";
import { formatDecimal } from "./wording.js";
import { onUnitsChange } from "./units.js";
import { cameFrom, leave, openCheck } from "./address.js";
import { scoutMap } from "./map.js";
import { CANVAS_MARGIN } from "./palette.js";
import { error95From68 } from "./confidence.js";
import { judge } from "./check.js";
import { readPlace } from "./read_place.js";
import { FILE_ADVICE, askPosition } from "./position.js";
import { makeOrnament } from "./marks.js";
import { centreOn, coverList, foldKey, getFreeView, roomy, say } from "./view.js";
import { makeAnswer, wordClaim } from "./check_answer.js";

const checkPanel = byId("here");
const checkInput = byId("here-text");
const checkNote = byId("here-note");
const checkAnswer = byId("here-answer");
const checkButton = byId("check-button");
const checkLayer = L.layerGroup().addTo(scoutMap);
scoutMap.createPane("check").classList.add("check-pane");
export const checkShapes = L.svg({ pane: "check", padding: CANVAS_MARGIN });
const CLOSE_ZOOM = 16;
export let checking = false;
let answered = null; // what is answered and its title, for the answer in other units
let pressed = false; // on the map: the place is in sight already

// Bring the panel in line with the address.
export function showCheck(text) {
  const before = checking;
  checking = text !== null;
  checkPanel.hidden = !checking;
  checkButton.setAttribute("aria-expanded", String(checking));
  scoutMap.getContainer().classList.toggle("checking", checking);
  coverList();
  if (checking) foldKey();
  if (checking) scoutMap.closePopup();
  if (!checking || !text) clearCheck();
  if (!checking) return;
  if (text) checkText(text);
  else checkInput.value = "";
  if (!before && cameFrom) byId("here-title").focus({ preventScroll: true });
}

function clearCheck() {
  answered = null;
  checkLayer.clearLayers();
  checkAnswer.replaceChildren();
  byId("here-hint").hidden = false;
  noteCheck("");
}

function noteCheck(text) {
  checkNote.textContent = text;
  checkNote.hidden = !text;
}

function checkText(text) {
  clearCheck();
  checkInput.value = text;
  const found = readPlace(text);
  checkInput.setAttribute("aria-invalid", String(Boolean(found.refusal)));
  if (found.refusal) noteCheck(`Not understood: ${found.refusal}.`);
  else answerCheck(found, found.cell ? `The whole cell ${found.cell.locator}` : "Place checked");
}

function answerCheck(asked, title) {
  const result = { ...judge(asked), stated: asked.stated };
  answered = [result, title];
  checkAnswer.replaceChildren(makeAnswer(...answered));
  byId("here-hint").hidden = true;
  noteCheck("");
  drawCheck(result);
  if (!roomy.matches) showAnswer();
  const held = result.verdict.parks.map((park) => park.name || park.id);
  say([title, result.verdict.locators.join(" "), wordClaim(result.verdict).join(" "), ...held].join(", "));
}

onUnitsChange(() => {
  if (answered) checkAnswer.replaceChildren(makeAnswer(...answered));
});

// On a small screen the answer takes the place of the form, which is a pull away.
function showAnswer() {
  const body = byId("here-body");
  body.scrollTop += checkAnswer.getBoundingClientRect().top - body.getBoundingClientRect().top;
  // Off the field, so that the keyboard on the screen goes.
  if (document.activeElement === checkInput) checkAnswer.querySelector("h3").focus({ preventScroll: true });
}

// The place, the station's disc, the device's circle or the locator's cell.
function drawCheck({ lon, lat, cell, station, stated }) {
  // On the turn of the globe that the map shows.
  const x = lon + 360 * roundHalfEven((findings.middle - lon) / 360);
  const plain = { renderer: checkShapes, interactive: false, className: "check-shape" };
  if (cell) {
    const west = cell.west + x - lon;
    const bounds = [[cell.south, west], [cell.south + cell.height, west + cell.width]];
    L.rectangle(bounds, { ...plain, className: "check-shape cell" }).addTo(checkLayer);
  } else {
    L.circle([lat, x], { ...plain, radius: station.radius }).addTo(checkLayer);
  }
  if (stated) {
    L.circle([lat, x], { ...plain, radius: stated, className: "check-shape stated" }).addTo(checkLayer);
  }
  if (Math.abs(lat) > findings.mapEdge) return;
  makeOrnament([lat, x], makeCheckIcon()).setZIndexOffset(4e6).addTo(checkLayer);
  if (!pressed) showChecked([lat, x], cell, stated);
}

function makeCheckIcon() {
  const mark = makeSvg("svg", { viewBox: "-16 -16 32 32", "aria-hidden": "true" });
  const ways = "M0 -14V-5M0 14V5M-14 0H-5M14 0H5";
  for (const name of ["check-case", "check-ring"]) {
    mark.append(makeSvg("circle", { class: name, r: 9 }), makeSvg("path", { class: name, d: ways }));
  }
  return L.divIcon({ html: mark, className: "check-mark", iconSize: [32, 32] });
}

function showChecked(at, cell, stated) {
  if (!cell && !stated) return centreOn({ at }, Math.max(scoutMap.getZoom(), CLOSE_ZOOM));
  const shape = checkLayer.getLayers()[stated ? 1 : 0];
  scoutMap.fitBounds(shape.getBounds(), {
    paddingTopLeft: [getFreeView().left + 30, 30],
    paddingBottomRight: [30, 30],
    maxZoom: 18,
    animate: false,
  });
}

export function checkPressed(at) {
  pressed = true;
  openCheck(formatDecimal(wrapLongitude(at.lng), at.lat));
  pressed = false;
}

function usePosition() {
  const end = (use) => (value) => {
    byId("here-position").disabled = false;
    use(value);
  };
  byId("here-position").disabled = true;
  noteCheck("Asking the device for its position.");
  askPosition(end(takePosition), end(noteCheck));
}

function takePosition({ coords }) {
  if (checking) checkPosition(coords, "Your position");
}

// Where the device is, with its own error: { longitude, latitude, accuracy }, or a fixError that is known already.
export function checkPosition({ longitude, latitude, accuracy, fixError }, title) {
  openCheck();
  const text = formatDecimal(longitude, latitude);
  checkInput.value = text;
  const stated = accuracy > 0 ? accuracy : undefined;
  answerCheck({ ...readPlace(text), fixError: fixError ?? (stated && error95From68(stated)), stated }, title);
}

byId("here-form").addEventListener("submit", (event) => {
  event.preventDefault();
  const text = checkInput.value;
  openCheck(text);
  if (!text) checkText(text);
});
byId("here-hint").append(FILE_ADVICE && ` ${FILE_ADVICE}`);
byId("here-position").addEventListener("click", usePosition);
byId("here-close").addEventListener("click", leave);
checkButton.addEventListener("click", () => (checking ? leave() : openCheck()));
