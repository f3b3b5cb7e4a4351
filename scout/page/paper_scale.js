// The scale of a map on paper: a round number, and the zoom that has it.

import { computeMetresPerPixel } from "./thinning.js";

const PIXEL_M = 0.0254 / 96; // of CSS, as long on paper
const LARGEST = 5000; // closer there is nothing more to see
const ROUND = [1, 1.5, 2, 2.5, 3, 4, 5, 7.5];

// The first round scale at which a pixel has that many metres of ground or more.
export function findPaperScale(metresPerPixel) {
  const least = Math.max(metresPerPixel / PIXEL_M, LARGEST) * (1 - 1e-9);
  const power = 10 ** Math.floor(Math.log10(least));
  return (ROUND.find((one) => one * power >= least) ?? 10) * power;
}

// The zoom, not whole, at which one to that many is the scale at a latitude.
export function computeZoomOfScale(scale, lat) {
  return Math.log2(computeMetresPerPixel(0, lat) / (scale * PIXEL_M));
}
