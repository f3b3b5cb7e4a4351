// Metres on the WGS 84 ellipsoid: lengths of a degree, the Cassini-Soldner series about a point, geodesics.
// The same formulas as the program that made this page; one file of numbers tests both.

const SEMI_MAJOR_M = 6378137; // NIMA TR8350.2
const FLATTENING = 1 / 298.257223563; // same
const ECCENTRICITY2 = FLATTENING * (2 - FLATTENING);
export const RADIAN = Math.PI / 180;

export function wrapLongitude(lon) {
  const turned = (lon + 180) % 360;
  return (turned < 0 ? turned + 360 : turned) - 180;
}

// To the nearest whole number, halves to the even one.
export function roundHalfEven(value) {
  const low = Math.floor(value);
  const over = value - low;
  if (over === 0.5) return low % 2 ? low + 1 : low;
  return over < 0.5 ? low : low + 1;
}

// Metres per degree of longitude and of latitude.
export function degreeLengths(lat) {
  const phi = lat * RADIAN;
  const w2 = 1 - ECCENTRICITY2 * Math.sin(phi) ** 2;
  const prime = SEMI_MAJOR_M / Math.sqrt(w2);
  return {
    perLon: prime * Math.cos(phi) * RADIAN,
    perLat: ((prime * (1 - ECCENTRICITY2)) / w2) * RADIAN,
  };
}

// Coefficients of x = dlon (x1 + x2 dlat + x3 dlat^2 + x4 dlon^2) and
// y = dlat (y1 + y2 dlat + y3 dlat^2) + dlon^2 (y4 + y5 dlat): Snyder 1987, USGS Professional Paper 1395,
// section 13, expanded about a latitude.
export function seriesAt(lat) {
  const phi = lat * RADIAN;
  const s = Math.sin(phi);
  const c = Math.cos(phi);
  const w2 = 1 - ECCENTRICITY2 * s * s;
  const nu = SEMI_MAJOR_M / Math.sqrt(w2);
  const rho = (nu * (1 - ECCENTRICITY2)) / w2;
  const rhoSlope = (3 * ECCENTRICITY2 * s * c * rho) / w2;
  const rhoCurve = 3 * ECCENTRICITY2 * rho * ((c * c - s * s) / w2 + 5 * ECCENTRICITY2 * ((s * c) / w2) ** 2);
  return {
    x1: nu * c * RADIAN,
    x2: -rho * s * RADIAN ** 2,
    x3: (-(rho * c + rhoSlope * s) / 2) * RADIAN ** 3,
    x4: ((-nu * s * s * c) / 6) * RADIAN ** 3,
    y1: rho * RADIAN,
    y2: (rhoSlope / 2) * RADIAN ** 2,
    y3: (rhoCurve / 6) * RADIAN ** 3,
    y4: ((nu * s * c) / 2) * RADIAN ** 2,
    y5: ((nu * c * c - rho * s * s) / 2) * RADIAN ** 3,
  };
}

export function seriesForward(series, dlon, dlat) {
  const dlon2 = dlon * dlon;
  return [
    dlon * (series.x1 + dlat * (series.x2 + dlat * series.x3) + series.x4 * dlon2),
    dlat * (series.y1 + dlat * (series.y2 + dlat * series.y3)) + dlon2 * (series.y4 + dlat * series.y5),
  ];
}

// Geodesic distance in metres and bearing at the first point: Vincenty 1975, Survey Review 23 (176). Good to
// a millimetre but for points nearly opposite each other, which are never asked for here.
export function inverse(lon1, lat1, lon2, lat2) {
  const b = SEMI_MAJOR_M * (1 - FLATTENING);
  const difference = wrapLongitude(lon2 - lon1) * RADIAN;
  const u1 = Math.atan((1 - FLATTENING) * Math.tan(lat1 * RADIAN));
  const u2 = Math.atan((1 - FLATTENING) * Math.tan(lat2 * RADIAN));
  const [sin1, cos1, sin2, cos2] = [Math.sin(u1), Math.cos(u1), Math.sin(u2), Math.cos(u2)];
  let lambda = difference;
  let at;
  for (let round = 0; round < 100; round += 1) {
    at = onSphere(lambda, sin1, cos1, sin2, cos2);
    const c = (FLATTENING / 16) * at.cosAlpha2 * (4 + FLATTENING * (4 - 3 * at.cosAlpha2));
    const turn = at.mid + c * at.cosSigma * (2 * at.mid ** 2 - 1);
    const next = difference + (1 - c) * FLATTENING * at.sinAlpha * (at.sigma + c * at.sinSigma * turn);
    const settled = Math.abs(next - lambda) < 1e-13;
    lambda = next;
    if (settled) break;
  }
  const k2 = at.cosAlpha2 * ((SEMI_MAJOR_M / b) ** 2 - 1);
  const big = 1 + (k2 / 16384) * (4096 + k2 * (-768 + k2 * (320 - 175 * k2)));
  const small = (k2 / 1024) * (256 + k2 * (-128 + k2 * (74 - 47 * k2)));
  const third = (small / 6) * at.mid * (4 * at.sinSigma ** 2 - 3) * (4 * at.mid ** 2 - 3);
  const shift = small * at.sinSigma * (at.mid + (small / 4) * (at.cosSigma * (2 * at.mid ** 2 - 1) - third));
  const bearing =
    Math.atan2(cos2 * Math.sin(lambda), cos1 * sin2 - sin1 * cos2 * Math.cos(lambda)) / RADIAN;
  return { distance: b * big * (at.sigma - shift), bearing: (bearing + 360) % 360 };
}

// The great circle of Vincenty's auxiliary sphere; `mid` is the cosine of twice the arc to its middle.
function onSphere(lambda, sin1, cos1, sin2, cos2) {
  const sinSigma = Math.hypot(
    cos2 * Math.sin(lambda),
    cos1 * sin2 - sin1 * cos2 * Math.cos(lambda),
  );
  const cosSigma = sin1 * sin2 + cos1 * cos2 * Math.cos(lambda);
  const sinAlpha = sinSigma === 0 ? 0 : (cos1 * cos2 * Math.sin(lambda)) / sinSigma;
  const cosAlpha2 = 1 - sinAlpha ** 2;
  return {
    sinSigma,
    cosSigma,
    sigma: Math.atan2(sinSigma, cosSigma),
    sinAlpha,
    cosAlpha2,
    mid: cosAlpha2 < 1e-15 ? 0 : cosSigma - (2 * sin1 * sin2) / cosAlpha2,
  };
}
