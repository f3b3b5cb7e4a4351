// The orders of the list, and why a spot is hidden: by what is wanted, wherever that comes from.

import { foldText, isOutOfReach, isWalked, matchesWord } from "./spots.js";

function compareLowFirst(value) {
  return (a, b) => (value(a) ?? Infinity) - (value(b) ?? Infinity) || 0; // no number minus no number is 0
}

// In every order but that of names, as in the ranking: what is in reach, near misses, what is out of reach.
function rankStanding(spot) {
  return isOutOfReach(spot) ? 2 : spot.near ? 1 : 0;
}

function compareInReachFirst(order) {
  return (a, b) => rankStanding(a) - rankStanding(b) || order(a, b);
}

// What is plenty is alike: nobody stands better for lying deeper.
function getSortClearance(spot) {
  return spot.plenty ? Infinity : spot.clearance;
}

export const ORDERS = {
  rank: (a, b) => a.rank - b.rank,
  walk: compareInReachFirst(compareLowFirst((spot) => (isWalked(spot) ? spot.walk.out : undefined))),
  home: compareInReachFirst(compareLowFirst((spot) => spot.home)),
  clearance: compareInReachFirst((a, b) => getSortClearance(b) - getSortClearance(a) || 0),
  confidence: compareInReachFirst((a, b) => b.confidence - a.confidence),
  name: (a, b) => getSortName(a).localeCompare(getSortName(b), "en"),
};

function getSortName(spot) {
  const [park] = spot.near ? [spot.near.park] : spot.parks;
  return park ? foldText(park.name || park.id) : "\uffff";
}

// Why a spot is hidden, the first reason of these, or null.
export function findHidingReason(spot, wanted) {
  if (!wanted.looks.has(spot.look)) return "verdict";
  if (wanted.kind && spot.kind !== wanted.kind) return "kind";
  // Any is one: what was asked about may lie in no park, and is shown all the same.
  if (!spot.near && wanted.grids > 1 && spot.grids < wanted.grids) return "grids";
  if (!spot.near && wanted.parks > 1 && spot.held < wanted.parks) return "parks";
  if (wanted.walk !== null && !(isWalked(spot) && spot.walk.out <= wanted.walk)) return "walk";
  if (wanted.picked && !wanted.picked(spot)) return "shortlist";
  if (wanted.missing && !spot.missing?.[2]) return "what is done";
  if (!wanted.words.every((word) => matchesWord(spot, word))) return "text";
  return null;
}
