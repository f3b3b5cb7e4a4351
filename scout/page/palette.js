// Colours live in the style sheet; what is drawn on a canvas asks for them here.

const scheme = window.matchMedia("(prefers-color-scheme: dark)");
const repaints = [];
const canvases = [];

const colours = new Map(); // asking the style sheet makes the browser lay out the page: once a name

function colour(name) {
  if (!colours.has(name)) {
    const found = getComputedStyle(scout_map.getContainer()).getPropertyValue(`--${name}`);
    colours.set(name, found.trim());
  }
  return colours.get(name);
}

// Register what must be drawn again when the scheme or the background changes, and draw it now.
function painted(paint) {
  repaints.push(paint);
  paint();
}

function repaint() {
  colours.clear();
  repaints.forEach((paint) => paint());
}

scheme.addEventListener("change", repaint);

// Slanted lines for ground in two parks, crossed ones for three: depth never rests on colour alone.
function hatching(crossed, ink) {
  const size = 9;
  const tile = element("canvas");
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

// Of the view's size, to each side: a drag shows no bare edge at once, and a phone has less to paint.
const CANVAS_MARGIN = 0.25;

// A pane of the map with its own canvas; the pointer passes through to the map.
function canvasPane(name, zIndex) {
  const pane = scout_map.createPane(name);
  pane.style.zIndex = zIndex;
  pane.style.pointerEvents = "none";
  const canvas = L.canvas({ pane: name, padding: CANVAS_MARGIN });
  canvases.push(canvas);
  return canvas;
}
