/* The drawing: shapes that never change in place, so that a step back is the list as it was. */

const data = JSON.parse(document.getElementById("data").textContent);
const kindOf = new Map(data.kinds.map((kind) => [kind.kind, kind]));
const bookIds = new Set(data.ids);
const UNITS_PER_DEGREE = 1e9;
const LEAST_CORNERS = { area: 3, line: 2, point: 1 };
const GEOMETRY = { area: "Polygon", line: "LineString", point: "Point" };
const STEPS_KEPT = 500;
const FIRST_NAME = "drawn.geojson";
const MOST_PAVEMENT_FT = 200, MOST_TRUNK_IN = 240; // what a scan takes

/* state = {shapes, name, top}; a shape = {n, kind, client, along, what, dbh_in, pavement_ft, curbed, parking,
   spot, rings, source, touched} or {n, kept: a feature of a file that this page does not change} */
let state = { shapes: [], name: FIRST_NAME, top: {} };
const past = [], future = [];
let lastNumber = 0;

/* Who wants to know that something changed */
const listeners = [];
function whenChanged(listener) { listeners.push(listener); }
function tellAll() { for (const listener of listeners) listener(); }

function commit(next) {
  past.push(state);
  if (past.length > STEPS_KEPT) past.shift();
  future.length = 0;
  state = { ...state, ...next };
  tellAll();
}

function stepBack() {
  if (!past.length) return;
  future.push(state);
  state = past.pop();
  tellAll();
}

function stepAgain() {
  if (!future.length) return;
  past.push(state);
  state = future.pop();
  tellAll();
}

function shapeOf(n) { return state.shapes.find((shape) => shape.n === n); }

function putShape(shape) {
  const isNew = !shapeOf(shape.n);
  commit({ shapes: isNew ? [...state.shapes, shape] : state.shapes.map((one) => (one.n === shape.n ? shape : one)) });
}

function dropShape(n) { commit({ shapes: state.shapes.filter((shape) => shape.n !== n) }); }

function round9(degree) { return Math.round(degree * UNITS_PER_DEGREE) / UNITS_PER_DEGREE; }

function newShape(kind, client, points, more) {
  const shape = { n: ++lastNumber, kind, client: kindOf.get(kind).is_own ? client : "", along: "", what: "", dbh_in: "", pavement_ft: "", curbed: "", parking: "", spot: "", source: null, ...more };
  return withRings(shape, [points]);
}

/* Nine decimals and the right-hand rule from the start, so that the drawing and its file are the same */
function withRings(shape, rings) {
  const isArea = drawnAs(shape) === "area";
  const round = rings.map((ring) => ring.map(([lon, lat]) => [round9(lon), round9(lat)]));
  const turned = round.map((ring, at) => (isArea && signedArea(ring) < 0 === (at === 0) ? [ring[0], ...ring.slice(1).reverse()] : ring));
  return { ...shape, rings: turned, touched: true };
}

function withWords(shape, words) { return { ...shape, ...words, touched: true }; }

function drawnAs(shape) { return kindOf.get(shape.kind).drawn_as; }

function nameOf(shape) {
  if (shape.kept) return "Shape that stays as it is";
  const kind = kindOf.get(shape.kind);
  if (shape.kind === "edge") return "Edge along " + (shape.along || "?");
  return shape.what ? plain(shape.what) : kind.words;
}

function plain(word) { return word.charAt(0).toUpperCase() + word.slice(1).replaceAll("_", " "); }

/* --- what a shape measures ---------------------------------------------- */

const measured = new WeakMap();

/* {sides: [ft of each ring's sides], length_ft, area_ft2, middle: [lon, lat]} */
function measure(shape) {
  if (!measured.has(shape)) measured.set(shape, measureRings(shape.rings, drawnAs(shape)));
  return measured.get(shape);
}

function measureRings(rings, type) {
  const plane = planeAt(rings[0][0]);
  const inFeet = rings.map((ring) => ring.map((point) => plane.feet(point)));
  const sides = inFeet.map((ring) => sidesOf(ring, type === "area"));
  const length_ft = type === "point" ? 0 : sides[0].reduce((sum, side) => sum + side, 0);
  const areas = type === "area" ? inFeet.map((ring) => Math.abs(signedArea(ring))) : [0];
  return { sides, length_ft, area_ft2: areas.slice(1).reduce((left, hole) => left - hole, areas[0]), crosses: type === "area" && inFeet.some(crossesItself) };
}

function feetText(feet) { return feet.toLocaleString("en-US", { minimumFractionDigits: 1, maximumFractionDigits: 1 }) + " ft"; }
function areaText(feet2) { return feet2.toLocaleString("en-US", { maximumFractionDigits: feet2 < 100 ? 1 : 0 }) + " ft²"; }

function sizeText(shape) {
  const type = drawnAs(shape), size = measure(shape);
  if (type === "area") return areaText(size.area_ft2) + ", " + feetText(size.length_ft) + " around";
  return type === "line" ? feetText(size.length_ft) : "";
}

/* What keeps a scan from using a shape, in words; blank where nothing does */
function faultOf(shape) {
  if (shape.kept) return "";
  if (shape.client && !bookIds.has(shape.client)) return "its client is not in this book";
  if (shape.kind === "street_centerline" && !(Number(shape.pavement_ft) > 0 && Number(shape.pavement_ft) <= MOST_PAVEMENT_FT)) return "write its paved width, curb to curb";
  if (shape.kind === "utility" && !data.what.includes(shape.what)) return "say what it is";
  if (shape.kind === "edge" && !data.along.includes(shape.along)) return "say what it runs along";
  if (shape.dbh_in !== "" && !(Number(shape.dbh_in) >= 0 && Number(shape.dbh_in) <= MOST_TRUNK_IN)) return "write its trunk in inches across, as a number";
  if (drawnAs(shape) === "point") return "";
  const size = measure(shape);
  if (size.crosses) return "its outline crosses itself";
  if (drawnAs(shape) === "area" && size.area_ft2 < 0.5) return "it has no area";
  return size.length_ft < 0.1 ? "it has no length" : "";
}

/* --- shapes of the book, shown beneath ----------------------------------- */

function readBeneath([kind, client, file, more, ...steps]) {
  const type = data.kinds[kind].drawn_as;
  const rings = steps.map((ring) => unroll(ring, type === "area"));
  return { kind: data.kinds[kind].kind, client: client < 0 ? "" : data.ids[client], file: data.files[file], along: "", what: "", rings, more };
}

function unroll(steps, isClosed) {
  const points = [];
  let x = 0, y = 0;
  for (let i = 0; i < steps.length; i += 2) points.push([(x += steps[i]) / UNITS_PER_DEGREE, (y += steps[i + 1]) / UNITS_PER_DEGREE]);
  if (isClosed && points.length > 3) points.pop();
  return points;
}

const beneath = data.beneath.map(readBeneath);

/* A file that is open for drawing stands in for the same file of the book */
function shownBeneath() {
  if (shownFor !== state.name) { shownFor = state.name; shown = beneath.filter((shape) => shape.file !== "sites/" + state.name); }
  return shown;
}
let shown = [], shownFor = null;

/* --- clients -------------------------------------------------------------- */

const clients = data.clients.map(([id, name, address, at, isOnFoot, nth]) => ({
  id, name: name || "Client " + id, address, isOnFoot: Boolean(isOnFoot), nth,
  at: at.length ? at.map((degree) => degree / UNITS_PER_DEGREE) : null,
  find: (name + " " + address + " " + id).toLowerCase(),
}));
const clientOf = new Map(clients.map((client) => [client.id, client]));
const outlinesBeneath = new Map(beneath.filter((shape) => shape.kind === "property" && shape.client).map((shape) => [shape.client, shape]));

/* Blocks of made-up ground, just south of the town and off each other */
const SPOT_DEGREES = 0.006, SPOTS_A_ROW = 10, SOUTH_DEGREES = 0.008, NOWHERE = [-98.7, 41.2];

function madeUpSpot(client) {
  const [west, south] = data.town.length ? data.town.map((degree) => degree / UNITS_PER_DEGREE) : NOWHERE;
  const taken = [...state.shapes.filter((shape) => shape.rings && shape.spot !== client.id && shape.client !== client.id), ...beneath].map((shape) => shape.rings[0][0]);
  for (let n = Math.max(0, client.nth); ; n++) {
    const spot = [west + (n % SPOTS_A_ROW) * SPOT_DEGREES, south - SOUTH_DEGREES - Math.floor(n / SPOTS_A_ROW) * SPOT_DEGREES].map((degree) => Math.round(degree * 1e6) / 1e6);
    if (!taken.some(([lon, lat]) => Math.abs(lon - spot[0]) < SPOT_DEGREES / 2 && Math.abs(lat - spot[1]) < SPOT_DEGREES / 2)) return spot;
  }
}

/* Where a client's lot lies: {at, rings (of what is drawn), isMadeUp} */
function groundOf(client) {
  const own = state.shapes.filter((shape) => shape.rings && (shape.client === client.id || shape.spot === client.id));
  const spotted = own.find((shape) => shape.spot === client.id);
  const outline = outlinesBeneath.get(client.id);
  const rings = [...own.flatMap((shape) => shape.rings), ...(outline ? outline.rings : [])];
  if (spotted) return { at: spotted.rings[0][0], rings, isMadeUp: true };
  if (client.at) return { at: client.at, rings, isMadeUp: false };
  if (rings.length) return { at: rings[0][0], rings, isMadeUp: false };
  return { at: madeUpSpot(client), rings, isMadeUp: true };
}

/* Move everything drawn at a client's made-up spot, so that its middle comes to a place; true to size */
function moveSpot(shapes, client, place) {
  const moved = shapes.filter((shape) => shape.spot === client.id);
  if (!moved.length) return shapes;
  const outline = moved.filter((shape) => shape.kind === "property");
  const from = planeAt(moved[0].rings[0][0]), to = planeAt(place);
  const points = (outline.length ? outline : moved).flatMap((shape) => shape.rings[0]).map((point) => from.feet(point));
  const middle = [0, 1].map((axis) => (Math.min(...points.map((point) => point[axis])) + Math.max(...points.map((point) => point[axis]))) / 2);
  const goal = to.feet(place);
  const carry = (point) => to.degrees(from.feet(point).map((foot, axis) => foot - middle[axis] + goal[axis]));
  return shapes.map((shape) => (shape.spot === client.id ? { ...withRings(shape, shape.rings.map((ring) => ring.map(carry))), spot: "" } : shape));
}
