// How far the mean of correlated fixes errs: white noise and a first-order Gauss-Markov process, by the recording's own
// likelihood, and a mixture of normals for what it leaves open. scout/recording/wander.py says why and does the
// same; one file of numbers tests both.

const TAUS_S = [30, 60, 120, 240, 480, 960];
const SHARES = [0, 0.03, 0.1, 0.3, 0.6, 0.85, 0.95, 0.99, 0.999];
const SCATTER_M = 1; // of a single fix per axis, before the recording speaks, with the weight of one fix
const SCATTER_FREEDOM = 2;
const INDEPENDENT_S = 60; // never more than one independent fix in this time
const MOST_SPELLS = 48;
const UNLIKELY = 1e-5;
const QUANTILES = Array.from({ length: 40 }, (_, k) => (k + 0.5) / 40);
const HYPOTHESES = TAUS_S.flatMap((tau) => SHARES.map((share) => ({ tau, share })));

// The most independent fixes that a recording of this length can hold.
export function boundIndependent(count, durationS) {
  return Math.min(count, 1 + durationS / INDEPENDENT_S);
}

// The value that a chi-square of an even number of degrees of freedom exceeds with a probability.
function invertChiSquare(freedom, p) {
  const exceed = (x) => {
    let [term, sum] = [1, 1];
    for (let j = 1; j < freedom / 2; j += 1) {
      term *= x / 2 / j;
      sum += term;
    }
    return Math.exp(-x / 2) * sum;
  };
  let [low, high] = [0, freedom];
  while (exceed(high) > p) [low, high] = [high, 2 * high];
  for (let round = 0; round < 60; round += 1) {
    const middle = (low + high) / 2;
    if (exceed(middle) > p) low = middle;
    else high = middle;
  }
  return (low + high) / 2;
}

// The radius that holds the error of a mixture of { odds, variance } with 95 %, an independent normal error added.
export function computeMixtureRadius(mixture, addedSigma = 0) {
  const beyond = (radius) =>
    mixture.reduce((sum, { odds, variance }) => sum + odds * Math.exp(-(radius ** 2) / (2 * (variance + addedSigma ** 2))), 0);
  let [low, high] = [0, 1];
  while (beyond(high) > 0.05) [low, high] = [high, 2 * high];
  for (let round = 0; round < 40; round += 1) {
    const middle = (low + high) / 2;
    if (beyond(middle) > 0.05) low = middle;
    else high = middle;
  }
  return high;
}

// The median of the variance.
export function findUsualVariance(mixture) {
  const sorted = [...mixture].sort((a, b) => a.variance - b.variance);
  let sum = 0;
  return sorted.find(({ odds }) => (sum += odds) >= 0.5 - 1e-12).variance;
}

// The random error of the mean of fixes, times in seconds, points as [east, north] in metres.
export function estimateMeanError(times, points) {
  const spells = makeSpells(times, points);
  const prior = SCATTER_FREEDOM * SCATTER_M ** 2;
  const freedom = 2 * (spells.length - 1) + SCATTER_FREEDOM;
  const judged = HYPOTHESES.map(({ tau, share }) => {
    const shapes = spells.map((spell) => shapeSpell(spell, tau));
    const { logDet, one, squares } = filterSpells(spells, shapes, share);
    const logOdds = -logDet - Math.log(one) - (freedom / 2) * Math.log(prior + squares);
    return { logOdds, variance: (prior + squares) * computeMeanVariance(spells, shapes, share) };
  });
  const best = Math.max(...judged.map(({ logOdds }) => logOdds));
  const likely = judged
    .map(({ logOdds, variance }) => ({ odds: Math.exp(logOdds - best), variance }))
    .filter(({ odds }) => odds > UNLIKELY);
  const total = likely.reduce((sum, { odds }) => sum + odds, 0);
  const ofVariance = QUANTILES.map((p) => 1 / invertChiSquare(freedom, p));
  return likely.flatMap(({ odds, variance }) =>
    ofVariance.map((factor) => ({ odds: odds / total / QUANTILES.length, variance: variance * factor })),
  );
}

// Means over equal spells of time, so that a long recording costs no more than a short one.
function makeSpells(times, points) {
  const span = Math.max(times[times.length - 1] - times[0], 1e-9);
  const spells = [];
  let current = null;
  times.forEach((time, k) => {
    const number = Math.min(Math.floor(((time - times[0]) / span) * MOST_SPELLS), MOST_SPELLS - 1);
    if (current?.number !== number) {
      current = { number, first: time, count: 0, sum: [0, 0], gap: current ? time - current.last : 0 };
      spells.push(current);
    }
    current.last = time;
    current.count += 1;
    current.sum = [current.sum[0] + points[k][0], current.sum[1] + points[k][1]];
  });
  const middle = [0, 1].map((axis) => spells.reduce((sum, spell) => sum + spell.sum[axis] / spell.count, 0) / spells.length);
  return spells.map((spell) => ({ ...spell, mean: spell.sum.map((sum, axis) => sum / spell.count - middle[axis]) }));
}

// With z the wander of unit variance: its correlation over the spell and over the silence before it, the covariance of
// the spell's mean with z at either end, and the variance of the mean.
function shapeSpell({ first, last, count, gap }, tau) {
  const length = (last - first) / tau;
  const [fade, silence] = [Math.exp(-length), Math.exp(-gap / tau)];
  if (length < 1e-3) return { fade, silence, end: 1 - length / 2, own: 1 - (length * (count + 1)) / (3 * count) };
  const step = length / Math.max(count - 1, 1);
  const faded = -Math.expm1(-count * step);
  const end = faded / (count * -Math.expm1(-step));
  const own = 1 / Math.tanh(step / 2) / count - faded / (2 * (count * Math.sinh(step / 2)) ** 2);
  return { fade, silence, end, own };
}

// A Kalman filter over the spells: what the likelihood needs of their covariance, without the matrix.
function filterSpells(spells, shapes, share) {
  const state = [0, 0, 0]; // east, north, a vector of ones
  let variance = share;
  let logDet = 0;
  const products = { east: 0, north: 0, one: 0, eastOne: 0, northOne: 0 };
  spells.forEach(({ mean, count }, k) => {
    const { fade, silence, end, own } = shapes[k];
    variance = share + silence ** 2 * (variance - share);
    const spread = share * own + end ** 2 * (variance - share) + (1 - share) / count;
    const gain = (end * (share + fade * (variance - share))) / spread;
    const [east, north, one] = [...mean, 1].map((value, axis) => {
      const surprise = value - end * silence * state[axis];
      state[axis] = fade * silence * state[axis] + gain * surprise;
      return surprise / Math.sqrt(spread);
    });
    variance = share + fade ** 2 * (variance - share) - gain ** 2 * spread;
    logDet += Math.log(spread);
    products.east += east * east;
    products.north += north * north;
    products.one += one * one;
    products.eastOne += east * one;
    products.northOne += north * one;
  });
  const { east, north, one, eastOne, northOne } = products;
  return { logDet, one, squares: east - eastOne ** 2 / one + north - northOne ** 2 / one };
}

// The variance of the mean in units of that of a single fix.
function computeMeanVariance(spells, shapes, share) {
  const total = spells.reduce((sum, { count }) => sum + count, 0);
  let [before, wander] = [0, 0];
  spells.forEach(({ count }, k) => {
    const { fade, silence, end, own } = shapes[k];
    before *= silence;
    wander += count * (count * own + 2 * end * before);
    before = fade * before + count * end;
  });
  return ((share * wander) / total + 1 - share) / total;
}
