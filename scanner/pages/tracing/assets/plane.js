"use strict";
/* Feet on the ground: the Lambert azimuthal equal-area plane of a 0.5° cell, the one that a scan measures on
   (J. P. Snyder, Map Projections: A Working Manual, USGS Professional Paper 1395, 1987, pages 182-190). */

const CELL_DEGREES = 0.5;
const AXIS_FT = 6378137 / 0.3048; // WGS 84, half the equator's diameter
const FLATTENING = 1 / 298.257223563;
const SQUARED = FLATTENING * (2 - FLATTENING); // eccentricity squared
const ECCENTRICITY = Math.sqrt(SQUARED);
const RADIAN = Math.PI / 180;
const POLE = equalArea(1);

/* Snyder's q: the sine of a latitude, stretched so that areas come out right */
function equalArea(sine) {
  const turned = ECCENTRICITY * sine;
  return (1 - SQUARED) * (sine / (1 - turned * turned) - Math.log((1 - turned) / (1 + turned)) / (2 * ECCENTRICITY));
}

/* Back from q to the latitude, by steps; three or four are enough */
function latitudeOf(q) {
  let lat = Math.asin(Math.max(-1, Math.min(1, q / 2)));
  for (let step = 0; step < 8; step++) {
    const sine = Math.sin(lat), rest = 1 - SQUARED * sine * sine;
    const more = ((rest * rest) / (2 * Math.cos(lat))) * ((q - equalArea(sine)) / (1 - SQUARED));
    lat += more;
    if (Math.abs(more) < 1e-15) break;
  }
  return lat;
}

class Plane {
  constructor(lon, lat) {
    const sine = Math.sin(lat * RADIAN), q = equalArea(sine);
    this.lon = lon;
    this.radius = AXIS_FT * Math.sqrt(POLE / 2);
    this.sine = q / POLE;
    this.cosine = Math.sqrt(1 - this.sine * this.sine);
    this.stretch = (AXIS_FT * Math.cos(lat * RADIAN)) / Math.sqrt(1 - SQUARED * sine * sine) / (this.radius * this.cosine);
  }

  /* [longitude, latitude] to [east, north] in feet from the cell's middle */
  feet([lon, lat]) {
    const sine = equalArea(Math.sin(lat * RADIAN)) / POLE, cosine = Math.sqrt(1 - sine * sine);
    const turn = (lon - this.lon) * RADIAN, across = cosine * Math.cos(turn);
    const scale = this.radius * Math.sqrt(2 / (1 + this.sine * sine + this.cosine * across));
    return [scale * this.stretch * cosine * Math.sin(turn), (scale / this.stretch) * (this.cosine * sine - this.sine * across)];
  }

  /* and back */
  degrees([east, north]) {
    const x = east / this.stretch, y = north * this.stretch, away = Math.hypot(x, y);
    if (away === 0) return [this.lon, latitudeOf(this.sine * POLE) / RADIAN];
    const angle = 2 * Math.asin(away / (2 * this.radius)), sine = Math.sin(angle), cosine = Math.cos(angle);
    const q = POLE * (cosine * this.sine + (y * sine * this.cosine) / away);
    const turn = Math.atan2(x * sine, away * this.cosine * cosine - y * this.sine * sine);
    return [this.lon + turn / RADIAN, latitudeOf(q) / RADIAN];
  }
}

const planes = new Map();

/* The plane of the cell that a place lies in */
function planeAt([lon, lat]) {
  const middle = [lon, lat].map((degree) => Math.floor(degree / CELL_DEGREES) * CELL_DEGREES + CELL_DEGREES / 2);
  const name = middle.join(",");
  if (!planes.has(name)) planes.set(name, new Plane(...middle));
  return planes.get(name);
}

/* --- measures, on points in feet ---------------------------------------- */

function between(a, b) { return Math.hypot(b[0] - a[0], b[1] - a[1]); }

/* Area of a ring, above zero where it runs against the clock; counted from its first point to keep all digits */
function signedArea(ring) {
  const [x0, y0] = ring[0];
  let twice = 0;
  for (let i = 1; i + 1 < ring.length; i++)
    twice += (ring[i][0] - x0) * (ring[i + 1][1] - y0) - (ring[i + 1][0] - x0) * (ring[i][1] - y0);
  return twice / 2;
}

/* Lengths of the sides; a closed ring has one back to its first corner */
function sidesOf(points, isClosed) {
  const sides = [];
  for (let i = 1; i < points.length; i++) sides.push(between(points[i - 1], points[i]));
  if (isClosed && points.length > 2) sides.push(between(points[points.length - 1], points[0]));
  return sides;
}

/* Whether two sides of a closed ring cross or touch where they should not */
function crossesItself(ring) {
  const count = ring.length;
  if (count > 400) return false; // a shape of so many corners was not drawn by hand
  for (let i = 0; i < count; i++)
    for (let j = i + 1; j < count; j++) {
      const isNext = j === i + 1 || (i === 0 && j === count - 1);
      if (isNext ? foldsBack(ring, i, j) : sidesMeet(ring[i], ring[(i + 1) % count], ring[j], ring[(j + 1) % count])) return true;
    }
  return false;
}

function turnOf(a, b, c) { return (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0]); }

function isOnSide(a, b, p) {
  return turnOf(a, b, p) === 0 && Math.min(a[0], b[0]) <= p[0] && p[0] <= Math.max(a[0], b[0]) && Math.min(a[1], b[1]) <= p[1] && p[1] <= Math.max(a[1], b[1]);
}

function sidesMeet(a, b, c, d) {
  const [one, two, three, four] = [turnOf(a, b, c), turnOf(a, b, d), turnOf(c, d, a), turnOf(c, d, b)];
  if (one * two < 0 && three * four < 0) return true;
  return isOnSide(a, b, c) || isOnSide(a, b, d) || isOnSide(c, d, a) || isOnSide(c, d, b);
}

/* Two sides that share a corner may not lie on each other */
function foldsBack(ring, i, j) {
  const count = ring.length, [first, corner] = j === i + 1 ? [ring[i], ring[j]] : [ring[j], ring[i]];
  const next = j === i + 1 ? ring[(j + 1) % count] : ring[i + 1];
  const isStraight = turnOf(first, corner, next) === 0;
  return between(first, corner) === 0 || (isStraight && (corner[0] - first[0]) * (next[0] - corner[0]) + (corner[1] - first[1]) * (next[1] - corner[1]) < 0);
}
