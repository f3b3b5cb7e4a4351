// Colours live in the style sheet; what is drawn on a canvas asks for them here.

import { makeElement } from "./elements.js";
import { scoutMap } from "./map.js";

const scheme = window.matchMedia("(prefers-color-scheme: dark)");
export const repaints = [];
export const canvases = [];

const colours = new Map(); // asking the style sheet makes the browser lay out the page: once a name

export function getColour(name) {
  if (!colours.has(name)) {
    const found = getComputedStyle(scoutMap.getContainer()).getPropertyValue(`--${name}`);
    colours.set(name, found.trim());
  }
  return colours.get(name);
}

// Register what must be drawn again when the scheme or the background changes, and draw it now.
export function registerPaint(paint) {
  repaints.push(paint);
  paint();
}

export function repaint() {
  colours.clear();
  repaints.forEach((paint) => paint());
}

scheme.addEventListener("change", repaint);

// Slanted lines for ground in two parks, crossed ones for three: depth never rests on colour alone.
export function makeHatching(crossed, ink) {
  const size = 9;
  const tile = makeElement("canvas");
  tile.width = tile.height = size;
  const pen = tile.getContext("2d");
  pen.strokeStyle = ink;
  pen.lineWidth = 1.1;
  pen.beginPath();
  for (const shift of [-size, 0, size]) {
    pen.moveTo(shift - 1, size + 1);
    pen.lineTo(shift + size + 1, -1);
    if (crossed) {
      pen.moveTo(shift - 1, -1);
      pen.lineTo(shift + size + 1, size + 1);
    }
  }
  pen.stroke();
  return pen.createPattern(tile, "repeat");
}

// Layers that come and go with the zoom: [layer, the group it belongs to, from which zoom on].
export function showFromZoom(layers) {
  const fit = () => {
    const zoom = scoutMap.getZoom();
    for (const [layer, group, from] of layers) {
      if (zoom >= from !== group.hasLayer(layer)) group[zoom >= from ? "addLayer" : "removeLayer"](layer);
    }
  };
  fit();
  scoutMap.on("zoomend", fit);
}

// Of the view's size, to each side: a short drag shows no bare edge, and there are a dozen canvases to paint and keep.
export const CANVAS_MARGIN = 0.15;

// A pane of the map with its own canvas; the pointer passes through to the map.
export function makeCanvasPane(name, zIndex) {
  const pane = scoutMap.createPane(name);
  pane.style.zIndex = zIndex;
  pane.style.pointerEvents = "none";
  const canvas = L.canvas({ pane: name, padding: CANVAS_MARGIN });
  canvases.push(canvas);
  return canvas;
}
