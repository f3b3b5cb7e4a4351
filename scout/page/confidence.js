// The error budget: probabilities from distances. Errors are circular normal, a stated one is the 95 % radius.
// The same formulas as the program that made this page; one file of numbers tests both.

const NSSDA = 2.4477468306808166; // sqrt(-2 ln 0.05): FGDC-STD-007.3-1998, appendix 3-A
const RADIUS_68 = 1.5096; // sigmas in the radius that holds 68 %: sqrt(-2 ln 0.32)
const FIRM = 0.95;
export const DOUBTFUL = 0.5;
export const LEAST_SIGMA_M = 1e-9; // stands for a sigma of zero
const NODE_COUNT = 48;
const WIDEST_SIGMAS = 9; // no mass beyond

export function sigmaOf(error95) {
  return error95 / NSSDA;
}

// The 95 % radius of a receiver that states the radius holding 68 % of its fixes, as phones do.
export function error95From68(radius68) {
  return (radius68 / RADIUS_68) * NSSDA;
}

export function wordFor(p) {
  if (p >= FIRM) return "firm";
  return p >= DOUBTFUL ? "doubtful" : "not counted";
}

function density(x) {
  return Math.exp((-x * x) / 2) / Math.sqrt(2 * Math.PI);
}

// Share of a standard normal beyond x >= 0: its Taylor series near 0, its continued fraction (Laplace) beyond.
function upperTail(x) {
  if (x < 2.5) {
    let term = x;
    let sum = x;
    for (let k = 3; term > 1e-17 * sum; k += 2) {
      term *= (x * x) / k;
      sum += term;
    }
    return 0.5 - density(x) * sum;
  }
  let fraction = 0;
  for (let k = 60; k > 0; k -= 1) fraction = k / (x + fraction);
  return density(x) / (x + fraction);
}

export function normal(x) {
  return x < 0 ? upperTail(-x) : 1 - upperTail(x);
}

// Nodes and weights of Gauss and Legendre, by Newton's method on the polynomial.
const legendre = Array.from({ length: NODE_COUNT }, (_, k) => {
  let x = Math.cos((Math.PI * (k + 0.75)) / (NODE_COUNT + 0.5));
  let slope = 1;
  for (let round = 0; round < 20; round += 1) {
    let [before, now] = [1, x];
    for (let n = 2; n <= NODE_COUNT; n += 1) {
      [before, now] = [now, ((2 * n - 1) * x * now - (n - 1) * before) / n];
    }
    slope = (NODE_COUNT * (x * now - before)) / (x * x - 1);
    x -= now / slope;
  }
  return { x, weight: 2 / ((1 - x * x) * slope * slope) };
});

export function integral(low, high, value) {
  const half = (high - low) / 2;
  if (half <= 0) return 0;
  return legendre.reduce((sum, node) => sum + node.weight * half * value((low + high) / 2 + half * node.x), 0);
}

export function clamp(value, low, high) {
  return Math.min(Math.max(value, low), high);
}

// A disc of this radius reaches across a line at distance d from its stated centre.
export function lineP(d, radius, sigma) {
  const s = Math.max(sigma, LEAST_SIGMA_M);
  return normal((radius - d) / s) - normal((-radius - d) / s);
}

// A corner at distance d from the stated centre lies within the disc (Rice): the normal over the chords of
// the disc, by the angle whose sine is the way across, so that the integrand is smooth to the rim.
export function cornerP(d, radius, sigma) {
  const s = Math.max(sigma, LEAST_SIGMA_M);
  if ((d / s) ** 2 > 1e6) return d < radius ? 1 : 0;
  if (radius <= 0) return 0;
  const angle = (x) => Math.asin(clamp(x / radius, -1, 1));
  const slice = (t) => {
    const half = radius * Math.cos(t);
    return (density((radius * Math.sin(t) - d) / s) / s) * (1 - 2 * upperTail(half / s)) * half;
  };
  const cut = angle(d);
  const low = angle(d - WIDEST_SIGMAS * s);
  const high = angle(d + WIDEST_SIGMAS * s);
  return Math.min(integral(low, cut, slice) + integral(cut, high, slice), 1);
}

// The disc touches three cells of a corner; its centre is (dx, dy) from it, positive into the middle cell.
export function threeCellsP(dx, dy, radius, sigma) {
  const s = Math.max(sigma, 1e3 * LEAST_SIGMA_M);
  const part = (low, high, top) =>
    integral(clamp(dx - WIDEST_SIGMAS * s, low, high), clamp(dx + WIDEST_SIGMAS * s, low, high), (x) => {
      const chord = Math.sqrt(Math.max(radius * radius - x * x, 0));
      const column = normal((top(chord) - dy) / s) - normal((-chord - dy) / s);
      return (density((x - dx) / s) / s) * column;
    });
  return Math.min(part(-radius, 0, (chord) => chord) + part(0, radius, () => radius), 1);
}
