/* The hand that draws: where the next corner goes, taps, drags and keys. */

const map = L.map("plan", { attributionControl: false, zoomControl: true, zoomAnimation: false, fadeAnimation: false, markerZoomAnimation: false, doubleClickZoom: false, zoomSnap: 0.25, zoomDelta: 0.5, maxZoom: 24, minZoom: 2 });
const IN_PER_FT = 12;
const HAIR_FT = 0.02;
let chosen = null; // the client in hand
let chosenNumber = 0; // the shape in hand
let corner = null; // {ring, at} of the corner in hand
let pending = null; // the shape being drawn: {kind, type, points, undone, words, next}
let hold = null; // what the finger holds
let isSquare = false, isSnapping = true, isPlacing = false, isTouch = window.matchMedia("(pointer: coarse)").matches;
let shiftHeld = false, altHeld = false, skipClick = false, lastPixel = null;

function chosenShape() { return hold && hold.shape ? hold.shape : shapeOf(chosenNumber) || null; }

/* Shapes as they stand now, the one in the hand as it is held */
function shapesNow() {
  const shapes = state.shapes.filter((shape) => shape.rings);
  return hold && hold.shape ? shapes.map((shape) => (shape.n === hold.shape.n ? hold.shape : shape)) : shapes;
}

const sheet = new Sheet(map, () => ({
  beneath: shownBeneath(), client: chosen ? chosen.id : "", shapes: shapesNow(), isOverview: !chosen, marks: chosen ? [] : clientMarks(),
  chosen: pending ? null : chosenShape(), pending: pending && { ...pending, isTouch }, handles, isTouch, aim: pending && isTouch,
}));

/* --- where the next corner goes ------------------------------------------- */

function reach() { return isTouch ? 16 : 9; }
function paperStep() {
  const foot = sheet.pixelsPerFoot();
  return [0.5, 1, 5, 10].find((step, at) => step * foot >= (at === 0 ? 5 : 2.5)) || 10;
}

function toPaper(place) {
  if (sheet.overPicture || !sheet.paper || !isSnapping || altHeld) return place;
  const { plane, at } = sheet.paper, step = paperStep();
  return plane.degrees(plane.feet(place).map((foot, axis) => Math.round((foot - at[axis]) / step) * step + at[axis]));
}

/* The nearest corner that is there, else the nearest place on a side; null where none is near */
function snapTo(pixel, moving) {
  if (!isSnapping || altHeld) return null;
  const view = sheet.view, room = reach() / view.scale, [u, v] = [(pixel[0] + view.left) / view.scale, (pixel[1] + view.top) / view.scale];
  const near = shapesAt([u, v], room);
  return nearestCorner(near, [u, v], room, moving) || nearestSide(near, [u, v], room, moving);
}

function shapesAt([u, v], room) {
  return [...shapesNow(), ...shownBeneath()].filter((shape) => {
    const [west, north, east, south] = layOut(shape).box;
    return u > west - room && u < east + room && v > north - room && v < south + room;
  });
}

function isMoving(moving, shape, ring, at) { return moving && moving.n === shape.n && moving.ring === ring && moving.at === at; }

function nearestCorner(shapes, [u, v], room, moving) {
  let best = null, least = room;
  for (const shape of [...shapes, ...begunCorners(moving)])
    layOut(shape).rings.forEach((ring, r) => ring.forEach((point, at) => {
      const away = Math.hypot(point[0] - u, point[1] - v);
      if (away <= least && !isMoving(moving, shape, r, at)) { least = away; best = { at: shape.rings[r][at], snap: "corner" }; }
    }));
  return best;
}

/* Corners just set count too, but for the last one: the next may lie close to it */
function begunCorners(moving) {
  const points = pending ? (moving ? pending.points : pending.points.slice(0, -1)) : [];
  return points.length ? [{ n: 0, rings: [points] }] : [];
}

function nearestSide(shapes, [u, v], room, moving) {
  let best = null, least = room;
  for (const shape of shapes.filter((one) => drawnAs(one) !== "point"))
    layOut(shape).rings.forEach((ring, r) => ring.forEach((a, at) => {
      const end = (at + 1) % ring.length, b = ring[end];
      if ((end === 0 && drawnAs(shape) !== "area") || isMoving(moving, shape, r, at) || isMoving(moving, shape, r, end)) return;
      const long = (b[0] - a[0]) ** 2 + (b[1] - a[1]) ** 2;
      const share = long ? Math.max(0, Math.min(1, ((u - a[0]) * (b[0] - a[0]) + (v - a[1]) * (b[1] - a[1])) / long)) : 0;
      const away = Math.hypot(a[0] + share * (b[0] - a[0]) - u, a[1] + share * (b[1] - a[1]) - v);
      if (away <= least) { least = away; best = { at: fromWorld([a[0] + share * (b[0] - a[0]), a[1] + share * (b[1] - a[1])]), snap: "side" }; }
    }));
  return best;
}

function freePlace(pixel, moving) {
  const found = snapTo(pixel, moving), paper = toPaper(found ? found.at : sheet.place(pixel));
  if (!found) return { at: paper, snap: "" };
  // Where a line of the paper meets the side, the corner goes there: whole feet along a straight side
  const hair = (HAIR_FT * sheet.pixelsPerFoot()) / sheet.view.scale;
  return found.snap === "side" && nearestSide(shapesAt(toWorld(paper), hair), toWorld(paper), hair, moving) ? { at: paper, snap: "side" } : found;
}

/* Length that was typed: 60, 60.5, 60 ft, 60' 6" or 60 6; 0 where none was */
function typedLength() {
  const found = /^\s*(\d*\.?\d+)\s*(?:'|’|ft)?\s*(?:(\d*\.?\d+)\s*(?:"|”|''|in)?)?\s*$/.exec(byId("length").value);
  return found ? Number(found[1]) + Number(found[2] || 0) / IN_PER_FT : 0;
}

function nextPlace(pixel) {
  const points = pending.points, typed = typedLength(), isStraight = isSquare !== shiftHeld;
  if (!points.length || pending.type === "point" || !(typed || isStraight)) return freePlace(pixel);
  const plane = planeAt(points[0]), inFeet = points.map((point) => plane.feet(point)), last = inFeet[inFeet.length - 1];
  const to = plane.feet(sheet.place(pixel)).map((foot, axis) => foot - last[axis]), away = Math.hypot(...to);
  if (!away) return freePlace(pixel);
  const direction = isStraight ? nearestAxis(axesOf(inFeet), to) : to.map((foot) => foot / away);
  const length = typed || squareLength(pixel, inFeet, direction, to);
  return { at: plane.degrees(last.map((foot, axis) => foot + direction[axis] * length)), snap: typed ? "length" : "square" };
}

/* Square corners go by the last side, the first one by the squares of the paper */
function axesOf(inFeet) {
  const count = inFeet.length;
  const side = count > 1 ? [0, 1].map((axis) => inFeet[count - 1][axis] - inFeet[count - 2][axis]) : [1, 0];
  const long = Math.hypot(...side) || 1, [x, y] = side.map((foot) => foot / long);
  return [[x, y], [-y, x], [-x, -y], [y, -x]];
}

function nearestAxis(axes, [x, y]) { return axes.reduce((best, axis) => (axis[0] * x + axis[1] * y > best[0] * x + best[1] * y ? axis : best)); }

/* Level with the first corner, else with what lies near, else a whole number of feet */
function squareLength(pixel, inFeet, direction, to) {
  const dot = (foot) => foot[0] * direction[0] + foot[1] * direction[1], last = inFeet[inFeet.length - 1];
  const from = (feet) => dot(feet.map((foot, axis) => foot - last[axis])), raw = dot(to), room = reach() / sheet.pixelsPerFoot();
  if (isSnapping && !altHeld) {
    const level = from(inFeet[0]), near = snapTo(pixel);
    if (inFeet.length > 2 && level > 0.1 && Math.abs(level - raw) <= room) return level;
    const there = near ? from(planeAt(pending.points[0]).feet(near.at)) : 0;
    if (near && there > 0.1 && Math.abs(there - raw) <= room) return there;
    if (!sheet.overPicture) return Math.max(paperStep(), Math.round(raw / paperStep()) * paperStep());
  }
  return raw;
}

/* --- drawing a shape -------------------------------------------------------- */

function begin(kind) {
  if (!chosen || (pending && pending.points.length && !finish())) return;
  const words = { along: kind === "edge" ? lastWords.along : "", what: kind === "utility" ? lastWords.what : "", pavement_ft: kind === "street_centerline" ? lastWords.pavement_ft : "" };
  pending = { kind, type: kindOf.get(kind).drawn_as, points: [], undone: [], words, next: null };
  chosenNumber = 0;
  corner = null;
  isPlacing = false;
  map.getContainer().focus({ preventScroll: true });
  tellAll();
}

const lastWords = { along: "curb", what: "gas_meter", pavement_ft: "" };

function begunWork() { return pending && pending.points.length ? { kind: pending.kind, points: pending.points, words: pending.words } : null; }

function takeUpBegun(begun) {
  if (!begun || !kindOf.has(begun.kind)) return;
  pending = { kind: begun.kind, type: kindOf.get(begun.kind).drawn_as, points: begun.points, undone: [], words: begun.words, next: null };
}

function addPoint(place) {
  const points = pending.points, last = points[points.length - 1];
  if (last && between(planeAt(last).feet(last), planeAt(last).feet(place)) < 0.05) return;
  pending = { ...pending, points: [...points, place], undone: [], next: null };
  byId("length").value = "";
  if (pending.type === "point") finish();
  else tellAll();
}

function takeBack() {
  if (!pending || !pending.points.length) return cancel();
  pending = { ...pending, points: pending.points.slice(0, -1), undone: [...pending.undone, pending.points[pending.points.length - 1]], next: null };
  tellAll();
}

function cancel() {
  pending = null;
  isPlacing = false;
  byId("length").value = "";
  tellAll();
}

/* Make a shape of the points; says what is missing where there are too few */
function finish() {
  if (!pending) return true;
  const { kind, type, points, words } = pending;
  if (points.length < LEAST_CORNERS[type]) {
    say(type === "area" ? "An area needs three corners: add more, or stop." : "A line needs two points: add more, or stop.");
    return false;
  }
  const spot = groundOf(chosen).isMadeUp ? chosen.id : "";
  const shape = newShape(kind, chosen.id, points, { ...words, spot });
  pending = null;
  byId("length").value = "";
  chosenNumber = shape.n;
  corner = null;
  putShape(shape);
  return true;
}

/* A side of the typed length to the left, right, up or down of the page */
function addSide(direction) {
  const length = typedLength();
  if (!pending || !pending.points.length) return say("Tap where the first corner is, then type the length of the side.");
  if (!length) return say("Type the length of the side in feet, as 60 or 60' 6\", then tap its direction.");
  const plane = planeAt(pending.points[0]), inFeet = pending.points.map((point) => plane.feet(point)), last = inFeet[inFeet.length - 1];
  const axis = nearestAxis(axesOf(inFeet), { left: [-1, 1e-3], right: [1, 1e-3], up: [1e-3, 1], down: [1e-3, -1] }[direction]);
  addPoint(plane.degrees(last.map((foot, n) => foot + axis[n] * length)));
  bringIntoView(pending.points[pending.points.length - 1]);
}

function bringIntoView([lon, lat]) { map.panInside([lat, lon], { padding: [70, 70], animate: false }); }

/* --- the shape in hand: corners, sides, the whole ------------------------------ */

function handles(view) {
  const shape = chosenShape();
  if (!shape || drawnAs(shape) === "point") return [];
  const isArea = drawnAs(shape) === "area", found = [];
  layOut(shape).rings.forEach((ring, r) => {
    const pixels = ring.map((point) => sheet.onScreen(point, view));
    pixels.forEach((a, at) => {
      const b = pixels[(at + 1) % pixels.length];
      if ((isArea || at + 1 < pixels.length) && Math.hypot(b[0] - a[0], b[1] - a[1]) > (isTouch ? 72 : 44)) found.push({ what: "side", ring: r, index: at, at: [(a[0] + b[0]) / 2, (a[1] + b[1]) / 2] });
      found.push({ what: "corner", ring: r, index: at, at: a, isActive: Boolean(corner && corner.ring === r && corner.at === at) });
    });
  });
  const [west, north] = sheet.onScreen(layOut(shape).box.slice(0, 2), view), [east, south] = sheet.onScreen(layOut(shape).box.slice(2), view);
  if (isArea && Math.min(east - west, south - north) > 80) found.push({ what: "move", at: sheet.onScreen(centerOf(shape), view) });
  return found.sort((a, b) => Number(a.what === "corner") - Number(b.what === "corner"));
}

/* Center of gravity of an area, in the world */
function centerOf(shape) {
  const ring = layOut(shape).rings[0], [u0, v0] = ring[0], area = signedArea(ring);
  let u = 0, v = 0;
  for (let i = 1; i + 1 < ring.length; i++) {
    const part = signedArea([ring[0], ring[i], ring[i + 1]]) / (area || 1);
    u += (part * (ring[i][0] + ring[i + 1][0] - 2 * u0)) / 3;
    v += (part * (ring[i][1] + ring[i + 1][1] - 2 * v0)) / 3;
  }
  return [u0 + u, v0 + v];
}

function handleAt(pixel) {
  const room = isTouch ? 24 : pending ? 6 : 12, away = (handle) => Math.hypot(handle.at[0] - pixel[0], handle.at[1] - pixel[1]);
  if (pending) return pending.points.map((point, index) => ({ what: "begun", index, at: sheet.pixel(point) })).filter((handle) => away(handle) <= room).sort((a, b) => away(a) - away(b))[0] || null;
  const shape = chosenShape();
  if (!shape) return null;
  if (drawnAs(shape) === "point") return away({ at: sheet.pixel(shape.rings[0][0]) }) <= Math.max(room, 18) ? { what: "corner", ring: 0, index: 0 } : null;
  // A corner goes before the middle of a side
  return handles(sheet.view).filter((handle) => away(handle) <= room).sort((a, b) => Number(b.what === "corner") - Number(a.what === "corner") || away(a) - away(b))[0] || null;
}

function grasp(handle, pixel) {
  const shape = chosenShape();
  hold = { ...handle, from: pixel, shape: null, original: shape, hasMoved: false };
  map.dragging.disable();
}

function drag(pixel) {
  if (!hold.hasMoved && Math.hypot(pixel[0] - hold.from[0], pixel[1] - hold.from[1]) < (isTouch ? 6 : 3)) return;
  if (!hold.hasMoved && hold.what === "side") spliceCorner();
  hold.hasMoved = true;
  if (hold.what === "begun") {
    const { at } = freePlace(pixel, { n: 0, ring: 0, at: hold.index });
    pending = { ...pending, points: pending.points.map((point, index) => (index === hold.index ? at : point)), next: null };
    return tellAll();
  }
  hold.shape = hold.what === "move" ? shifted(hold.original, hold.from, pixel) : withCorner(hold.shape || hold.original, hold.ring, hold.index, freePlace(pixel, { n: hold.original.n, ring: hold.ring, at: hold.index }).at);
  if (hold.what !== "move") corner = { ring: hold.ring, at: hold.index };
  sheet.redraw();
  showSize();
}

/* The middle of a side becomes a corner */
function spliceCorner() {
  const ring = hold.original.rings[hold.ring], a = ring[hold.index], b = ring[(hold.index + 1) % ring.length];
  const middle = fromWorld([0, 1].map((axis) => (toWorld(a)[axis] + toWorld(b)[axis]) / 2));
  const rings = hold.original.rings.map((one, r) => (r === hold.ring ? [...one.slice(0, hold.index + 1), middle, ...one.slice(hold.index + 1)] : one));
  hold = { ...hold, what: "corner", index: hold.index + 1, shape: { ...hold.original, rings } };
}

function withCorner(shape, ring, index, place) { return { ...shape, rings: shape.rings.map((one, r) => (r === ring ? one.map((point, at) => (at === index ? place : point)) : one)) }; }

function shifted(shape, from, to) {
  const plane = planeAt(shape.rings[0][0]), step = sheet.overPicture || !isSnapping || altHeld ? 0 : paperStep();
  const a = plane.feet(sheet.place(from)), b = plane.feet(sheet.place(to));
  const way = [0, 1].map((axis) => (step ? Math.round((b[axis] - a[axis]) / step) * step : b[axis] - a[axis]));
  return { ...shape, rings: shape.rings.map((ring) => ring.map((point) => plane.degrees(plane.feet(point).map((foot, axis) => foot + way[axis])))) };
}

function release(pixel) {
  const held = hold;
  if (!held.hasMoved && held.what === "side") { spliceCorner(); corner = { ring: hold.ring, at: hold.index }; }
  const shape = hold.shape;
  hold = null;
  map.dragging.enable();
  skipClick = true;
  if (shape) return putCorner(shape);
  if (held.hasMoved) return keepSoon();
  if (held.what === "begun") return tap(pixel);
  if (held.what === "corner") { corner = { ring: held.ring, at: held.index }; tellAll(); }
}

/* The ring may have been turned round: the corner in hand stays the same one */
function putCorner(shape) {
  const place = corner && shape.rings[corner.ring] ? shape.rings[corner.ring][corner.at].map(round9) : null;
  const done = withRings(shape, shape.rings);
  if (place && corner) {
    const at = done.rings[corner.ring].findIndex((point) => point[0] === place[0] && point[1] === place[1]);
    corner = at < 0 ? null : { ring: corner.ring, at };
  }
  putShape(done);
}

function dropCorner() {
  const shape = chosenShape();
  if (!shape || !corner) return;
  const ring = shape.rings[corner.ring];
  if (ring.length <= LEAST_CORNERS[drawnAs(shape)]) return say("A shape keeps at least " + LEAST_CORNERS[drawnAs(shape)] + " corners. To be rid of it, delete the whole shape.");
  const rings = shape.rings.map((one, r) => (r === corner.ring ? one.filter((_, at) => at !== corner.at) : one));
  corner = null;
  putShape(withRings(shape, rings));
}

function nudge(east, north) {
  const shape = chosenShape();
  if (!shape || !corner) return;
  const plane = planeAt(shape.rings[0][0]), point = plane.feet(shape.rings[corner.ring][corner.at]);
  putCorner(withCorner(shape, corner.ring, corner.at, plane.degrees([point[0] + east, point[1] + north])));
}

function walkCorners(step) {
  const shape = chosenShape();
  if (!shape || drawnAs(shape) === "point") return;
  const count = shape.rings[0].length;
  corner = { ring: 0, at: corner && corner.ring === 0 ? (corner.at + step + count) % count : 0 };
  bringIntoView(shape.rings[0][corner.at]);
  tellAll();
}

/* Turn all corners that are nearly square into square ones, by the longest side */
function squareUp() {
  const shape = chosenShape();
  if (!shape || drawnAs(shape) !== "area") return;
  const plane = planeAt(shape.rings[0][0]);
  const squared = shape.rings.map((ring) => squareRing(ring.map((point) => plane.feet(point))));
  if (squared.some((ring) => !ring)) return say("Some corners are far from square: nothing was changed.");
  putCorner({ ...shape, rings: squared.map((ring) => ring.map((point) => plane.degrees(point))) });
}

function squareRing(ring) {
  const count = ring.length, sides = ring.map((a, at) => [0, 1].map((axis) => ring[(at + 1) % count][axis] - a[axis]));
  const longest = sides.reduce((best, side) => (Math.hypot(...side) > Math.hypot(...best) ? side : best)), turn = Math.atan2(longest[1], longest[0]);
  const turned = ring.map(([x, y]) => [x * Math.cos(turn) + y * Math.sin(turn), y * Math.cos(turn) - x * Math.sin(turn)]);
  const isFlat = turned.map((a, at) => { const b = turned[(at + 1) % count]; return Math.abs(b[0] - a[0]) > Math.abs(b[1] - a[1]); });
  const isNear = turned.every((a, at) => { const b = turned[(at + 1) % count], slope = Math.min(Math.abs(b[0] - a[0]), Math.abs(b[1] - a[1])) / (between(a, b) || 1); return slope < Math.sin(20 * RADIAN); });
  if (!isNear || isFlat.some((flat, at) => flat === isFlat[(at + 1) % count])) return null;
  // Each side keeps the place of its middle; a corner is where its two sides cross
  const level = turned.map((a, at) => { const b = turned[(at + 1) % count]; return isFlat[at] ? (a[1] + b[1]) / 2 : (a[0] + b[0]) / 2; });
  return turned.map((_, at) => {
    const before = (at + count - 1) % count, [x, y] = isFlat[at] ? [level[before], level[at]] : [level[at], level[before]];
    return [x * Math.cos(turn) - y * Math.sin(turn), y * Math.cos(turn) + x * Math.sin(turn)];
  });
}

/* --- taps ------------------------------------------------------------------------ */

function tap(pixel) {
  if (!chosen) return tapClient(pixel);
  if (isPlacing) return putSpot(sheet.place(pixel));
  if (!pending) return choose(shapeUnder(pixel), pixel);
  const points = pending.points, enough = points.length >= LEAST_CORNERS[pending.type];
  if (!typedLength() && pending.type !== "point" && points.length) {
    if (isAt(points[points.length - 1], pixel, isTouch ? 14 : 4)) return enough ? finish() : undefined;
    if (pending.type === "area" && enough && isAt(points[0], pixel, isTouch ? 18 : 9)) return finish();
  }
  addPoint(nextPlace(pixel).at);
}

function isAt(place, pixel, room) { return Math.hypot(...sheet.pixel(place).map((at, axis) => at - pixel[axis])) <= room; }

function choose(shape, pixel) {
  chosenNumber = shape ? shape.n : 0;
  corner = null;
  if (!shape && pixel) tellBeneath(pixel);
  tellAll();
}

/* A mark first, then the nearest side, then the smallest area */
function shapeUnder(pixel) {
  const shapes = shapesNow(), view = sheet.view;
  const marks = shapes.filter((shape) => drawnAs(shape) === "point").map((shape) => ({ shape, away: Math.hypot(...sheet.onScreen(layOut(shape).rings[0][0], view).map((at, axis) => at - pixel[axis])) }));
  const sides = shapes.filter((shape) => drawnAs(shape) !== "point").map((shape) => ({ shape, away: pixelsAway(shape, pixel, view) }));
  const near = (found, room) => found.filter((one) => one.away <= room).sort((a, b) => a.away - b.away || measure(a.shape).area_ft2 - measure(b.shape).area_ft2);
  const [best] = [...near(marks, isTouch ? 22 : 14), ...near(sides, isTouch ? 14 : 7)];
  return best ? best.shape : smallestAround(shapes, pixel, view);
}

function smallestAround(shapes, pixel, view) {
  const spot = [(pixel[0] + view.left) / view.scale, (pixel[1] + view.top) / view.scale];
  const around = shapes.filter((shape) => kindOf.get(shape.kind).drawn_as === "area" && isWithin(layOut(shape).rings, spot));
  return around.sort((a, b) => measure(a).area_ft2 - measure(b).area_ft2)[0] || null;
}

function pixelsAway(shape, pixel, view) {
  const isArea = drawnAs(shape) === "area";
  let least = Infinity;
  for (const ring of layOut(shape).rings) {
    const pixels = ring.map((point) => sheet.onScreen(point, view));
    pixels.forEach((a, at) => {
      if (!isArea && at + 1 === pixels.length) return;
      const b = pixels[(at + 1) % pixels.length], long = (b[0] - a[0]) ** 2 + (b[1] - a[1]) ** 2;
      const share = long ? Math.max(0, Math.min(1, ((pixel[0] - a[0]) * (b[0] - a[0]) + (pixel[1] - a[1]) * (b[1] - a[1])) / long)) : 0;
      least = Math.min(least, Math.hypot(a[0] + share * (b[0] - a[0]) - pixel[0], a[1] + share * (b[1] - a[1]) - pixel[1]));
    });
  }
  return least;
}

/* --- mouse, pen and finger ---------------------------------------------------------- */

const frame = map.getContainer();
function pixelOf(event) { const box = frame.getBoundingClientRect(); return [event.clientX - box.left, event.clientY - box.top]; }
function isOnMap(event) { return !event.target.closest(".leaflet-control, .over-map"); }

frame.addEventListener("pointerdown", (event) => {
  skipClick = false;
  isTouch = event.pointerType === "touch";
  if (hold) { hold = null; map.dragging.enable(); return sheet.redraw(); } // a second finger: the map is meant
  if (!chosen || isPlacing || event.button !== 0 || !isOnMap(event)) return;
  const pixel = pixelOf(event), handle = handleAt(pixel);
  if (!handle) return;
  grasp(handle, pixel);
  frame.setPointerCapture(event.pointerId);
}, true);

frame.addEventListener("pointermove", (event) => {
  const pixel = pixelOf(event);
  if (hold) return drag(pixel);
  if (event.pointerType === "touch" || !isOnMap(event)) return;
  lastPixel = pixel;
  shiftHeld = event.shiftKey;
  altHeld = event.altKey;
  followMouse();
});

function followMouse() {
  if (pending && lastPixel) { pending.next = nextPlace(lastPixel); sheet.redraw(); showSize(); }
  else if (chosen && lastPixel) frame.classList.toggle("over-handle", Boolean(handleAt(lastPixel)));
}

frame.addEventListener("pointerleave", () => { lastPixel = null; if (pending) { pending.next = null; sheet.redraw(); } });
frame.addEventListener("pointerup", (event) => { if (hold) release(pixelOf(event)); });
frame.addEventListener("pointercancel", () => { if (hold) { hold = null; map.dragging.enable(); sheet.redraw(); } });

map.on("click", (event) => {
  if (skipClick) { skipClick = false; return; }
  shiftHeld = event.originalEvent.shiftKey;
  altHeld = event.originalEvent.altKey;
  tap([event.containerPoint.x, event.containerPoint.y]);
});
