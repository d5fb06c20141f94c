/* Files in and out, and what the browser keeps of unsaved work. */

const OWN_FIELDS = ["kind", "client_id", "along", "what", "dbh_in", "pavement_ft", "curbed", "parking", "made_up_place"];
const MOST_LETTERS = 60e6;

/* --- out: RFC 7946, one feature a line ------------------------------------ */

function toFeature(shape) {
  if (shape.kept) return shape.kept;
  if (shape.source && !shape.touched) return shape.source;
  const own = { kind: shape.kind, client_id: shape.client, along: shape.along, what: shape.what, dbh_in: numberOr(shape.dbh_in), pavement_ft: numberOr(shape.pavement_ft), curbed: shape.curbed, parking: shape.parking, made_up_place: shape.spot };
  const given = Object.entries(own).filter(([, value]) => value !== "");
  const others = Object.entries((shape.source && shape.source.properties) || {}).filter(([name]) => !OWN_FIELDS.includes(name.trim().toLowerCase()));
  const id = shape.source && shape.source.id !== undefined ? { id: shape.source.id } : {};
  return { type: "Feature", ...id, properties: Object.fromEntries([...given, ...others]), geometry: { type: GEOMETRY[drawnAs(shape)], coordinates: coordinatesOf(shape) } };
}

function numberOr(text) { return text !== "" && Number.isFinite(Number(text)) ? Number(text) : text; }

function coordinatesOf(shape) {
  const type = drawnAs(shape);
  if (type === "point") return shape.rings[0][0];
  return type === "line" ? shape.rings[0] : shape.rings.map((ring) => [...ring, ring[0]]);
}

function fileText() {
  const top = JSON.stringify({ type: "FeatureCollection", ...state.top }).slice(0, -1);
  return top + ',"features":[\n' + state.shapes.map((shape) => JSON.stringify(toFeature(shape))).join(",\n") + "\n]}\n";
}

/* --- in -------------------------------------------------------------------- */

/* Read a file's text: {shapes, top}; throws an Error with a sentence where it cannot be used */
function readFile(text) {
  if (text.length > MOST_LETTERS) throw new Error("The file is too large to draw in. Export a smaller part of it.");
  const found = parseFile(text.replace(/^\ufeff/, ""));
  if (found.crs && !/CRS84|EPSG:{1,2}4326/i.test(JSON.stringify(found.crs))) throw new Error("The file counts in another coordinate system. Export it again in WGS 84 longitude and latitude.");
  const features = found.type === "Feature" ? [found] : found.features;
  const shapes = features.map(readFeature);
  const far = shapes.filter((shape) => shape.rings).some((shape) => Math.abs(shape.rings[0][0][0]) > 180 || Math.abs(shape.rings[0][0][1]) > 90);
  if (far) throw new Error("The file's coordinates are no degrees of longitude and latitude. Export it again in WGS 84.");
  const { type, features: dropped, ...top } = found.type === "Feature" ? {} : found;
  return { shapes, top };
}

function parseFile(text) {
  let found = null;
  try { found = JSON.parse(text); } catch { throw new Error("The file is no GeoJSON. Pick one that this page saved, or export the file as GeoJSON."); }
  const isCollection = found && found.type === "FeatureCollection" && Array.isArray(found.features);
  if (!isCollection && !(found && found.type === "Feature")) throw new Error("The file holds no features. Pick one that this page saved, or export the file as GeoJSON.");
  return found;
}

/* What this page can change becomes a shape; all else is kept as it came */
function readFeature(feature) {
  const properties = feature && typeof feature.properties === "object" && feature.properties ? feature.properties : {};
  const told = Object.fromEntries(Object.entries(properties).map(([name, value]) => [name.trim().toLowerCase(), value === null || value === undefined ? "" : String(value).trim()]));
  const kind = kindOf.get(word(told.kind));
  const rings = kind ? ringsOf(feature.geometry, kind.drawn_as) : null;
  if (!rings) return { n: ++lastNumber, kept: feature };
  return {
    n: ++lastNumber, kind: kind.kind, client: told.client_id || "", along: kind.kind === "edge" ? word(told.along) : "", what: kind.kind === "utility" ? word(told.what) : "",
    dbh_in: kind.kind === "tree" ? told.dbh_in || "" : "", pavement_ft: kind.kind === "street_centerline" ? told.pavement_ft || "" : "",
    curbed: word(told.curbed), parking: word(told.parking), spot: told.made_up_place || "", rings, source: feature, touched: false,
  };
}

function word(text) { return (text || "").toLowerCase().replace(/[\s-]+/g, "_"); }

function ringsOf(geometry, type) {
  if (!geometry || geometry.type !== GEOMETRY[type] || !Array.isArray(geometry.coordinates)) return null;
  const rings = type === "area" ? geometry.coordinates : [type === "line" ? geometry.coordinates : [geometry.coordinates]];
  const isPlace = (point) => Array.isArray(point) && point.length >= 2 && point.slice(0, 2).every(Number.isFinite);
  if (!rings.length || !rings.every((ring) => Array.isArray(ring) && ring.every(isPlace))) return null;
  const open = rings.map((ring) => ring.slice(0, type === "area" ? -1 : undefined).map(([lon, lat]) => [lon, lat]));
  return open.every((ring) => ring.length >= LEAST_CORNERS[type]) ? open : null;
}

/* Add a file to what is drawn; what is there already, point for point, is not added twice */
function addFile(name, text) {
  const found = readFile(text);
  const known = new Set(state.shapes.map(printOf));
  const added = found.shapes.filter((shape) => !known.has(printOf(shape)));
  const isBegun = state.shapes.length > 0;
  const next = settle([...state.shapes, ...added]);
  commit({ shapes: next.shapes, name: /\.geojson$/i.test(name) ? name : name.replace(/\.[^.]*$/, "") + ".geojson", top: isBegun ? { ...found.top, ...state.top } : found.top });
  return { added: added.length, known: found.shapes.length - added.length, kept: added.filter((shape) => shape.kept).length, moved: next.moved };
}

function printOf(shape) { return JSON.stringify(shape.kept ? shape.kept : [shape.kind, shape.client, shape.along, shape.what, shape.rings]); }

/* Shapes drawn at a made-up spot go to their place as soon as the client list has one */
function settle(shapes) {
  const waiting = [...new Set(shapes.map((shape) => shape.spot).filter(Boolean))].map((id) => clientOf.get(id)).filter((client) => client && client.at);
  return { shapes: waiting.reduce((all, client) => moveSpot(all, client, client.at), shapes), moved: waiting.map((client) => client.name) };
}

/* --- what the browser keeps -------------------------------------------------- */

/* One place for each book and each place of this page: two books of one name do not meet */
const KEPT_UNDER = "bed-scanner/lots/" + data.book + "/" + location.pathname;
const ASIDE_UNDER = KEPT_UNDER + "/aside";
let isKeeping = true, isSaved = true, keepLater = 0, lastKept = "";

function keptWork(under = KEPT_UNDER) {
  try {
    const kept = JSON.parse(window.localStorage.getItem(under));
    return kept && kept.version === 1 && Array.isArray(kept.shapes) && (kept.shapes.length || kept.begun) ? kept : null;
  } catch { return null; }
}

function keepSoon() {
  window.clearTimeout(keepLater);
  keepLater = window.setTimeout(keepNow, 400);
}

function keepNow() {
  window.clearTimeout(keepLater);
  if (!isOpen || !(state.shapes.length || begunWork() || lastKept)) return;
  lastKept = JSON.stringify({ version: 1, at: new Date().toISOString(), saved: isSaved, name: state.name, top: state.top, shapes: state.shapes, begun: begunWork(), client: chosen ? chosen.id : "" });
  try {
    window.localStorage.setItem(KEPT_UNDER, lastKept);
    isKeeping = true;
  } catch { isKeeping = false; }
  showKeeping();
}

function setAside() {
  try {
    window.localStorage.setItem(ASIDE_UNDER, window.localStorage.getItem(KEPT_UNDER));
    window.localStorage.removeItem(KEPT_UNDER);
  } catch { /* a browser that keeps nothing has nothing to set aside */ }
}

/* Take up work that was kept; numbers of shapes begin anew */
function takeUp(kept) {
  const next = settle(kept.shapes.map((shape) => ({ ...shape, n: ++lastNumber })));
  isSaved = Boolean(kept.saved) && !next.moved.length;
  commit({ shapes: next.shapes, name: kept.name, top: kept.top });
  return next.moved;
}
