/* Joins list, map and drawing. Every text goes in as text, never as markup. */

const byId = (id) => document.getElementById(id);
const ROWS_SHOWN = 200;
const NEAR_DEGREES = 0.0012; // about 400 ft: what a lot has to do with
const LOT_HALF_FT = 75; // what is shown of a lot of which nothing is drawn yet
const isNarrow = window.matchMedia("(max-width: 900px)");
const YES_NO = [["", "not known"], ["yes", "yes"], ["no", "no"]];
let isOpen = false, savedState = state, toldTwice = false;

function element(tag, attributes, ...inside) {
  const made = document.createElement(tag);
  for (const [name, value] of Object.entries(attributes || {})) if (value !== "") made.setAttribute(name, value);
  made.append(...inside.filter((part) => part !== null)); // append() takes texts as text
  return made;
}

let hushLater = 0;
function say(sentence) {
  byId("said").textContent = sentence;
  byId("said").hidden = !sentence;
  window.clearTimeout(hushLater);
  hushLater = window.setTimeout(() => { byId("said").hidden = true; }, 4000 + 70 * sentence.length);
}

function counted(number, one, many) { return number.toLocaleString("en-US") + " " + (number === 1 ? one : many || one + "s"); }

/* --- clients ----------------------------------------------------------------- */

let drawnFor = new Set(), drawnOf = null;

/* Clients whose outline is in the drawing */
function drawnIds() {
  if (drawnOf !== state) { drawnOf = state; drawnFor = new Set(state.shapes.filter((shape) => shape.kind === "property").map((shape) => shape.client)); }
  return drawnFor;
}

function isDrawn(client) { return drawnIds().has(client.id) || outlinesBeneath.has(client.id); }

function standing(client) {
  if (drawnIds().has(client.id)) return "drawn on this page";
  if (outlinesBeneath.has(client.id)) return "drawn, in the book";
  const words = client.isOnFoot ? "measured on foot, not drawn" : "not drawn yet";
  return client.at ? words : words + "; no place on the map yet";
}

function showClients() {
  const text = byId("find").value.trim().toLowerCase(), which = byId("which").value;
  const found = clients.filter((client) => (!text || client.find.includes(text)) && (!which || isDrawn(client) === (which === "done")));
  byId("clients").replaceChildren(...found.slice(0, ROWS_SHOWN).map(clientRow));
  byId("more").hidden = found.length <= ROWS_SHOWN;
  byId("more").textContent = "The first " + ROWS_SHOWN + " of " + counted(found.length, "client") + ": type a name or an address to narrow the list.";
  const drawn = clients.filter(isDrawn).length;
  byId("count").textContent = (found.length === clients.length ? counted(clients.length, "client") : found.length + " of " + counted(clients.length, "client")) + ", " + drawn.toLocaleString("en-US") + " drawn";
  byId("aside").hidden = !keptWork(ASIDE_UNDER);
}

function clientRow(client) {
  const go = element("button", { type: "button", class: "go", "data-client": client.id }, element("b", {}, client.name), element("span", { class: "where" }, client.address), element("span", { class: "state" + (isDrawn(client) ? " has" : "") }, standing(client)));
  return element("li", {}, go);
}

let marks = [], marksOf = null;

/* A mark for each client, in the middle of the outline where there is one */
function clientMarks() {
  if (marksOf === state) return marks;
  marksOf = state;
  const outlines = new Map([...outlinesBeneath, ...state.shapes.filter((shape) => shape.kind === "property").map((shape) => [shape.client, shape])]);
  marks = clients.map((client) => {
    const box = outlines.has(client.id) ? layOut(outlines.get(client.id)).box : null;
    return { client, at: box ? fromWorld([(box[0] + box[2]) / 2, (box[1] + box[3]) / 2]) : client.at, isDrawn: Boolean(box) };
  }).filter((mark) => mark.at);
  return marks;
}

function tapClient(pixel) {
  const away = (mark) => Math.hypot(...sheet.pixel(mark.at).map((at, axis) => at - pixel[axis]));
  const [mark] = clientMarks().map((one) => ({ ...one, away: away(one) })).filter((one) => one.away <= (isTouch ? 24 : 14)).sort((a, b) => a.away - b.away);
  const shapes = [...beneath, ...shapesNow()].filter((shape) => shape.kind === "property" && clientOf.has(shape.client));
  const outline = smallestAround(shapes, pixel, sheet.view);
  const client = outline ? clientOf.get(outline.client) : mark && mark.client;
  if (client) openClient(client);
}

function openClient(client) {
  chosen = client;
  chosenNumber = 0;
  corner = pending = null;
  const ground = groundOf(client), plane = planeAt(ground.at);
  sheet.paper = { plane, at: plane.feet(ground.at) };
  document.documentElement.classList.add("on-draw");
  byId("who").textContent = client.name;
  byId("where").textContent = client.address;
  showRest(false);
  tellAll();
  map.invalidateSize({ animate: false });
  seeWhole();
  byId("who").focus({ preventScroll: true });
}

function closeClient() {
  if (pending && pending.points.length) return say("Finish the shape first, or stop it.");
  const last = chosen;
  chosen = pending = corner = null;
  chosenNumber = 0;
  isPlacing = false;
  document.documentElement.classList.remove("on-draw");
  showClients();
  tellAll();
  map.invalidateSize({ animate: false });
  const row = last && [...document.querySelectorAll("#clients .go")].find((one) => one.dataset.client === last.id);
  if (row) { row.scrollIntoView({ block: "center" }); row.focus({ preventScroll: true }); }
}

/* --- what is seen ---------------------------------------------------------------- */

function fit(points, room) {
  if (!points.length) return;
  const bounds = L.latLngBounds(points.map(([lon, lat]) => [lat, lon]));
  // On a phone the bar of the shape in hand will cover the foot of the map
  const size = map.getSize(), pad = Math.min(40, size.x / 10), foot = isNarrow.matches && size.y > 350 && chosen && !pending ? size.y * 0.25 : 20;
  map.fitBounds(bounds, { paddingTopLeft: [pad, Math.min(64, size.y / 6)], paddingBottomRight: [pad, foot], maxZoom: 22, animate: false, ...room });
}

function seeWhole() {
  if (!chosen) return fit(clientMarks().map((mark) => mark.at).concat(shapesNow().map((shape) => shape.rings[0][0])), { maxZoom: 18 });
  const ground = groundOf(chosen), plane = planeAt(ground.at), [x, y] = plane.feet(ground.at);
  const drawn = [...ground.rings.flat(), ...(pending ? pending.points : [])];
  const round = drawn.length ? drawn : [[-1, -1], [1, 1]].map(([east, north]) => plane.degrees([x + east * LOT_HALF_FT, y + north * LOT_HALF_FT]));
  fit(round);
}

/* The box round a lot and what it may have to do with, in the world */
function boxRound(ground) {
  const points = (ground.rings.length ? ground.rings.flat() : [ground.at]).map(toWorld), room = NEAR_DEGREES / 360 / Math.cos(ground.at[1] * RADIAN);
  const [us, vs] = [0, 1].map((axis) => points.map((point) => point[axis]));
  return [Math.min(...us) - room, Math.min(...vs) - room, Math.max(...us) + room, Math.max(...vs) + room];
}

function isRound(box, shape) {
  const [west, north, east, south] = layOut(shape).box;
  return west < box[2] && east > box[0] && north < box[3] && south > box[1];
}

/* What is drawn for the client in hand: its own, and what lies round the lot and serves all */
function shapesHere() {
  if (!chosen) return [];
  const box = boxRound(groundOf(chosen));
  return state.shapes.filter((shape) => shape.rings && (shape.client === chosen.id || shape.spot === chosen.id || (!shape.client && isRound(box, shape))));
}

/* --- the panel of a lot ------------------------------------------------------------- */

function showPanel() {
  byId("pick").hidden = Boolean(chosen);
  byId("draw").hidden = !chosen;
  byId("whole-what").textContent = chosen ? "lot" : "book";
  byId("square").hidden = byId("snap").hidden = !chosen;
  byId("square").setAttribute("aria-pressed", String(isSquare));
  byId("snap").setAttribute("aria-pressed", String(isSnapping));
  for (const button of document.querySelectorAll(".kind")) button.setAttribute("aria-pressed", String(Boolean(pending && pending.kind === button.dataset.kind)));
  if (!chosen) return;
  const here = shapesHere(), ground = groundOf(chosen);
  showSpot(ground);
  showTodo(here, ground);
  byId("shapes").replaceChildren(...here.map(shapeRow));
  byId("no-shapes").hidden = here.length > 0;
  byId("rest-count").textContent = here.length ? String(here.length) : "";
}

function showSpot(ground) {
  byId("spot").hidden = !ground.isMadeUp;
  const hasDrawing = state.shapes.some((shape) => shape.spot === chosen.id);
  byId("spot-words").textContent = "Nobody has said where this lot lies, so it is drawn on a made-up spot. Sizes and prices come out right. With lon and lat in the client list, a new page moves the lot to its place" + (hasDrawing ? "; or put it there yourself." : ".");
  byId("put-spot").hidden = !hasDrawing;
  byId("put-spot").setAttribute("aria-pressed", String(isPlacing));
}

function showTodo(here, ground) {
  const box = boxRound(ground), round = beneath.filter((shape) => shape.client === chosen.id || (!shape.client && isRound(box, shape)));
  const all = [...here, ...round], has = (...kinds) => all.some((shape) => kinds.includes(shape.kind));
  const isCurb = (shape) => shape.kind === "edge" && (shape.along === "curb" || shape.more === "curb");
  const parts = [["Lot outline", has("property")], ["House", all.some((shape) => shape.kind === "house" && shape.client === chosen.id)], ["Street, its middle, or an edge along the curb", has("street", "street_centerline") || all.some(isCurb)]];
  byId("todo").replaceChildren(...parts.map(([words, isThere]) => element("li", { class: isThere ? "has" : "lacks" }, element("span", { "aria-hidden": "true" }, isThere ? "✓" : "○"), element("span", {}, words + (isThere ? "" : ": not drawn yet")))));
  const outline = shownBeneath().find((shape) => shape.kind === "property" && shape.client === chosen.id);
  byId("twice").hidden = !(outline && drawnIds().has(chosen.id));
  byId("twice").textContent = outline ? "An outline of this lot stands in " + outline.file + " already. A scan takes both together as one lot: delete one of them." : "";
}

function shapeRow(shape) {
  const fault = faultOf(shape);
  const go = element("button", { type: "button", "data-shape": String(shape.n), "aria-pressed": String(shape.n === chosenNumber) }, element("i", { class: "swatch " + drawnAs(shape) + " of-" + shape.kind }), element("span", {}, element("b", {}, nameOf(shape)), " ", element("span", { class: "size" }, sizeText(shape)), fault ? element("span", { class: "fault" }, fault) : null));
  return element("li", {}, go);
}

/* --- the bar of the shape in hand ------------------------------------------------------ */

let fieldsFor = "";

function showBar() {
  const shape = pending ? null : chosen && shapeOf(chosenNumber);
  byId("bar-idle").hidden = Boolean(!chosen || pending || shape);
  byId("bar-pending").hidden = !pending;
  byId("bar-chosen").hidden = !shape;
  document.documentElement.classList.toggle("in-hand", Boolean(pending || shape));
  const key = pending ? "new " + pending.kind : shape ? shape.n + shape.kind : "";
  if (key !== fieldsFor) {
    fieldsFor = key;
    byId("pending-fields").replaceChildren(...(pending ? fields(pending.kind, pending.words, setBegun) : []));
    byId("chosen-fields").replaceChildren(...(shape ? [kindField(shape), ...fields(shape.kind, shape, setWords)] : []));
  }
  if (pending) showBegun();
  if (shape) showChosen(shape);
  showSize();
}

function showBegun() {
  const type = pending.type, count = pending.points.length;
  const todo = type === "point" ? "tap where it stands" : count === 0 ? "tap its first corner" : count < LEAST_CORNERS[type] ? "tap the next corner" : "tap on, or finish";
  byId("pending-what").textContent = kindOf.get(pending.kind).words + ": " + todo;
  byId("finish").disabled = count < LEAST_CORNERS[type];
  byId("finish").hidden = type === "point";
  byId("take-back").disabled = !count;
  byId("take-back").hidden = type === "point";
  byId("aim").hidden = !isTouch;
  document.querySelector(".tape").hidden = type === "point" || !count;
}

function showChosen(shape) {
  byId("chosen-what").textContent = nameOf(shape);
  byId("chosen-fault").textContent = faultOf(shape);
  byId("drop-corner").hidden = drawnAs(shape) === "point";
  byId("drop-corner").disabled = !corner;
  byId("square-up").hidden = drawnAs(shape) !== "area";
  byId("drop-what").textContent = kindOf.get(shape.kind).words.toLowerCase();
}

function showSize() {
  const shape = chosenShape();
  byId("chosen-size").textContent = shape && shape.rings ? sizeText(shape) : "";
  byId("size").textContent = pending ? begunSize() : "";
}

function begunSize() {
  const points = pending.next ? [...pending.points, pending.next.at] : pending.points;
  if (points.length < 2) return "";
  const inFeet = points.map((point) => planeAt(points[0]).feet(point)), sides = sidesOf(inFeet, false);
  const parts = ["side " + feetText(sides[sides.length - 1])];
  if (sides.length > 1) parts.push(feetText(sides.reduce((sum, side) => sum + side, 0)) + " so far");
  if (pending.type === "area" && points.length > 2) parts.push(areaText(Math.abs(signedArea(inFeet))));
  return parts.join(", ");
}

function setBegun(name, value) { lastWords[name] = value; pending = { ...pending, words: { ...pending.words, [name]: value } }; }
function setWords(name, value) { if (name in lastWords) lastWords[name] = value; putShape(withWords(shapeOf(chosenNumber), { [name]: value })); }

function field(words, control) { return element("label", {}, words + " ", control); }

function picker(options, value, changed) {
  const control = element("select", {}, ...options.map(([of, words]) => element("option", { value: of }, words)));
  for (const option of control.options) if (!option.hasAttribute("value")) option.setAttribute("value", "");
  control.value = value;
  control.addEventListener("change", () => changed(control.value));
  return control;
}

function numberField(words, unit, value, changed) {
  const control = element("input", { inputmode: "decimal", autocomplete: "off", maxlength: "6", value: String(value) });
  control.addEventListener("change", () => changed(control.value.trim()));
  return element("label", {}, words + ", " + unit + " ", control);
}

function fields(kind, words, changed) {
  const names = (list) => list.map((one) => [one, plain(one).toLowerCase()]);
  if (kind === "edge") return [field("along", picker(names(data.along), words.along, (value) => changed("along", value)))];
  if (kind === "utility") return [field("it is a", picker(names(data.what), words.what, (value) => changed("what", value)))];
  if (kind === "tree" && "dbh_in" in words) return [numberField("trunk across", "in", words.dbh_in, (value) => changed("dbh_in", value))];
  const ways = "curbed" in words ? ["curbed", "parking"].map((name) => field(name === "curbed" ? "with a curb" : "parking", picker(YES_NO, words[name], (value) => changed(name, value)))) : [];
  if (kind === "street") return ways;
  if (kind === "street_centerline") return [numberField("paved width", "ft", words.pavement_ft, (value) => changed("pavement_ft", value)), ...ways];
  return [];
}

function kindField(shape) {
  const options = data.kinds.filter((kind) => kind.drawn_as === drawnAs(shape)).map((kind) => [kind.kind, kind.words.toLowerCase()]);
  return field("drawn as", picker(options, shape.kind, (kind) => {
    const words = { kind, client: kindOf.get(kind).is_own ? chosen.id : "", along: kind === "edge" ? shape.along || lastWords.along : "", what: kind === "utility" ? shape.what || lastWords.what : "" };
    putShape(withWords(shape, words));
  }));
}

/* --- the made-up spot -------------------------------------------------------------------- */

function putSpot(place) {
  isPlacing = false;
  commit({ shapes: moveSpot(state.shapes, chosen, place) });
  say("The lot was moved there. Undo takes it back.");
}

function tellBeneath(pixel) {
  const view = sheet.view, shapes = shownBeneath(), marks = shapes.filter((shape) => drawnAs(shape) === "point" && Math.hypot(...sheet.onScreen(layOut(shape).rings[0][0], view).map((at, axis) => at - pixel[axis])) <= 14);
  const found = marks[0] || smallestAround(shapes, pixel, view);
  if (found) say(kindOf.get(found.kind).words + " from the book, " + found.file + ". To change it, open that file here.");
}

/* --- undo, files, keeping --------------------------------------------------------------------- */

function undo() {
  if (pending && pending.points.length) return takeBack();
  corner = null;
  stepBack();
}

function redo() {
  if (pending && pending.undone.length) {
    const undone = pending.undone;
    pending = { ...pending, points: [...pending.points, undone[undone.length - 1]], undone: undone.slice(0, -1) };
    return tellAll();
  }
  corner = null;
  stepAgain();
}

function showActs() {
  byId("undo").disabled = !(past.length || (pending && pending.points.length));
  byId("redo").disabled = !(future.length || (pending && pending.undone.length));
  byId("save").disabled = !state.shapes.length;
  isSaved = state === savedState;
  showKeeping();
}

function showKeeping() {
  const count = state.shapes.length, words = counted(count, "shape");
  const kept = isKeeping ? "not in a file yet, kept in this browser" : "not in a file yet, and this browser keeps nothing: save often";
  byId("kept").textContent = toldTwice ? "This page is open twice: draw in one only" : !count ? "" : isSaved ? words + " in " + state.name : words + ", " + kept;
  byId("kept").classList.toggle("alert", toldTwice || !isKeeping);
}

function save() {
  if (pending && pending.points.length >= LEAST_CORNERS[pending.type]) finish();
  if (!state.shapes.length) return say("Nothing is drawn yet.");
  const link = element("a", { href: URL.createObjectURL(new Blob([fileText()], { type: "application/geo+json" })), download: state.name });
  document.body.append(link);
  link.click();
  link.remove();
  window.setTimeout(() => URL.revokeObjectURL(link.href), 60000);
  savedState = state;
  keepNow();
  tellAll();
  const faults = state.shapes.filter(faultOf);
  const warning = faults.length ? " A scan cannot use " + counted(faults.length, "of its shapes", "of its shapes") + " yet: " + nameOf(faults[0]) + ": " + faultOf(faults[0]) + "." : "";
  say("Saved " + state.name + " among your downloads. Put it into the folder sites of your book, in place of the one of that name, then scan." + warning);
}

async function openFile(file) {
  if (!file) return;
  const isFirst = !state.shapes.length;
  try {
    const found = addFile(file.name, await file.text());
    if (isFirst && !found.moved.length) savedState = state;
    tellAll();
    const parts = [counted(found.added, "shape") + " from " + file.name + "."];
    if (found.known) parts.push(counted(found.known, "was", "were") + " there already.");
    if (found.kept) parts.push(counted(found.kept, "is of a sort", "are of a sort") + " that is not drawn here; it stays in the file as it is.");
    if (found.moved.length) parts.push("Moved to its place: " + found.moved.join(", ") + ".");
    const strange = new Set(state.shapes.filter((shape) => shape.client && !bookIds.has(shape.client)).map((shape) => shape.client)).size;
    if (strange) parts.push(counted(strange, "client in it is", "clients in it are") + " not in this book.");
    say(parts.join(" "));
    seeWhole();
  } catch (problem) { say(problem.message); }
}

function bringBack() {
  const kept = keptWork(ASIDE_UNDER);
  if (!kept) return;
  const known = new Set(state.shapes.map(printOf));
  const added = kept.shapes.map((shape) => ({ ...shape, n: ++lastNumber })).filter((shape) => !known.has(printOf(shape)));
  commit({ shapes: settle([...state.shapes, ...added]).shapes });
  try { window.localStorage.removeItem(ASIDE_UNDER); } catch { /* it was read, so it can be removed */ }
  showClients();
  say(counted(added.length, "shape") + " brought back.");
}

/* --- backgrounds: nothing is fetched before one is switched on ------------------------------------ */

let picture = null;

function switchGround(key) {
  if (picture) picture.remove();
  picture = null;
  byId("ground-note").textContent = byId("credit").textContent = "";
  const background = data.backgrounds.find((one) => one.key === key);
  sheet.overPicture = Boolean(background);
  showSquares();
  sheet.redraw();
  if (!background) return;
  picture = L.tileLayer(background.url, { maxZoom: 24, maxNativeZoom: 19, minZoom: 1 }).addTo(map);
  picture.on("tileerror", (event) => coarser(event.target, event.coords.z));
  byId("credit").textContent = background.credit;
}

/* Servers end at different zooms: on a miss at the finest, take the next coarser and stretch it */
function coarser(layer, zoom) {
  const coarsest = 14;
  if (zoom === layer.options.maxNativeZoom && zoom > coarsest) {
    layer.options.maxNativeZoom = zoom - 1;
    window.setTimeout(() => layer.redraw(), 0);
  } else if (zoom < layer.options.maxNativeZoom || zoom <= coarsest) {
    byId("ground-note").textContent = "Some pictures did not come: no network, or the server refuses this page. The paper stays.";
  }
}

function showSquares() {
  const fine = SQUARES_FT.find((feet) => feet * sheet.pixelsPerFoot() >= 7);
  byId("squares").hidden = !sheet.paper || sheet.overPicture || !fine || !chosen;
  byId("squares").textContent = fine ? "small square " + fine + " ft, large square " + fine * 10 + " ft" : "";
}

/* --- keys ------------------------------------------------------------------------------------------- */

const WAYS = { ArrowLeft: "left", ArrowRight: "right", ArrowUp: "up", ArrowDown: "down" };
const NUDGES = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, 1], ArrowDown: [0, -1] };
const keyOf = new Map(data.kinds.map((kind) => [kind.key.toLowerCase(), kind.kind]));

/* Returns whether the key was ours */
function control(event) {
  const verb = { z: event.shiftKey ? redo : undo, y: redo, s: save }[event.key.toLowerCase()];
  if (verb) verb();
  return Boolean(verb);
}

function lengthKey(event) {
  if (WAYS[event.key] && byId("length").value.trim()) { addSide(WAYS[event.key]); frame.focus({ preventScroll: true }); return true; }
  if (event.key === "Enter") {
    if (!byId("length").value.trim()) finish();
    else if (!typedLength()) say("Type the length in feet, as 60 or 60' 6\".");
    else if (lastPixel) { addPoint(nextPlace(lastPixel).at); frame.focus({ preventScroll: true }); }
    else say("Now press an arrow, or tap, for the direction.");
    return true;
  }
  if (event.key !== "Escape") return false;
  byId("length").value = "";
  frame.focus({ preventScroll: true });
  return true;
}

function drawingKey(event) {
  const key = event.key, isOnButton = Boolean(event.target.closest("button, summary, a"));
  if (key === "Escape") { if (byId("grounds") && byId("grounds").open) byId("grounds").open = false; else if (pending || isPlacing) cancel(); else choose(null); return true; }
  if (key === "Enter" && !isOnButton) { if (pending) finish(); else choose(null); return true; }
  if (key === "Backspace" && pending) { takeBack(); return true; }
  if ((key === "Delete" || key === "Backspace") && shapeOf(chosenNumber)) { if (corner) dropCorner(); else dropChosen(); return true; }
  if (NUDGES[key] && corner) { nudge(...NUDGES[key].map((way) => way * (event.shiftKey ? 5 : 0.5))); return true; }
  if (key === "," || key === ".") { walkCorners(key === "." ? 1 : -1); return true; }
  if (/^[0-9.]$/.test(key) && pending && pending.points.length && pending.type !== "point") { byId("length").focus(); return false; }
  const verb = { q: switchSquare, x: switchSnap, v: seeWhole, r: squareUp }[key.toLowerCase()];
  if (verb) verb();
  else if (keyOf.has(key.toLowerCase())) begin(keyOf.get(key.toLowerCase()));
  else return false;
  return true;
}

document.addEventListener("keydown", (event) => {
  shiftHeld = event.shiftKey;
  altHeld = event.altKey;
  if (event.key === "Shift" || event.key === "Alt") followMouse();
  if (byId("earlier").open) return;
  const isField = event.target.matches("input:not([type=radio]):not([type=file]), select");
  let isOurs = false;
  if (event.ctrlKey || event.metaKey) isOurs = (!isField || event.key.toLowerCase() === "s") && control(event);
  else if (event.altKey) return;
  else if (event.target === byId("length")) isOurs = lengthKey(event);
  else if (isField && chosen && event.key === "Escape") { frame.focus({ preventScroll: true }); isOurs = true; }
  else if (!isField && chosen) isOurs = drawingKey(event);
  if (isOurs) { event.preventDefault(); event.stopPropagation(); }
}, true);
document.addEventListener("keyup", (event) => {
  shiftHeld = event.shiftKey;
  altHeld = event.altKey;
  if (event.key === "Shift" || event.key === "Alt") followMouse();
});

/* --- buttons ---------------------------------------------------------------------------------------------- */

function switchSquare() { isSquare = !isSquare; tellAll(); followMouse(); }
function switchSnap() { isSnapping = !isSnapping; tellAll(); followMouse(); }
function dropChosen() { const n = chosenNumber; chosenNumber = 0; corner = null; dropShape(n); say("Deleted. Undo brings it back."); }

function showRest(isShown) {
  document.documentElement.classList.toggle("on-rest", isShown);
  byId("show-rest").setAttribute("aria-expanded", String(isShown));
  map.invalidateSize({ animate: false });
}

function onClick(id, verb) { byId(id).addEventListener("click", verb); }

onClick("undo", undo);
onClick("redo", redo);
onClick("save", save);
onClick("open", () => byId("file").click());
onClick("bring-back", bringBack);
onClick("all-clients", closeClient);
onClick("whole", seeWhole);
onClick("square", switchSquare);
onClick("snap", switchSnap);
onClick("finish", finish);
onClick("take-back", takeBack);
onClick("stop", cancel);
onClick("aim", () => { const size = map.getSize(); tap([size.x / 2, size.y / 2]); });
onClick("drop-corner", dropCorner);
onClick("square-up", squareUp);
onClick("drop-shape", dropChosen);
onClick("done", () => choose(null));
onClick("show-rest", () => showRest(!document.documentElement.classList.contains("on-rest")));
onClick("put-spot", () => { isPlacing = !isPlacing; if (isPlacing) say("Move the map to where the lot lies, then tap its middle."); tellAll(); });
byId("file").addEventListener("change", () => { openFile(byId("file").files[0]); byId("file").value = ""; });
byId("filter").addEventListener("submit", (event) => { event.preventDefault(); const first = document.querySelector("#clients .go"); if (first) first.click(); });
byId("find").addEventListener("input", showClients);
byId("which").addEventListener("change", showClients);
byId("clients").addEventListener("click", (event) => { const go = event.target.closest(".go"); if (go) openClient(clientOf.get(go.dataset.client)); });
byId("kinds").addEventListener("click", (event) => { const button = event.target.closest(".kind"); if (button) begin(button.dataset.kind); });
byId("shapes").addEventListener("click", (event) => {
  const go = event.target.closest("[data-shape]");
  if (!go) return;
  pending = null;
  choose(shapeOf(Number(go.dataset.shape)));
  showRest(false);
  fit(shapeOf(chosenNumber).rings.flat(), { maxZoom: map.getZoom() });
});
for (const button of document.querySelectorAll("[data-way]")) button.addEventListener("click", () => addSide(button.dataset.way));
for (const radio of document.querySelectorAll("input[name=ground]")) radio.addEventListener("change", () => switchGround(radio.value));
window.addEventListener("pagehide", keepNow);
window.addEventListener("storage", (event) => { if (event.key === KEPT_UNDER && event.newValue && event.newValue !== lastKept) { toldTwice = true; showKeeping(); } });
window.addEventListener("beforeunload", (event) => { if (!isKeeping && !isSaved) event.preventDefault(); });

/* --- begin --------------------------------------------------------------------------------------------------- */

whenChanged(() => sheet.redraw());
whenChanged(showPanel);
whenChanged(showBar);
whenChanged(showActs);
whenChanged(keepSoon);
map.on("move zoom", showSquares);
new ResizeObserver(() => map.invalidateSize({ animate: false, pan: false })).observe(byId("plan"));

function start(kept) {
  isOpen = true;
  if (kept) {
    const moved = takeUp(kept);
    if (isSaved) savedState = state;
    past.length = 0;
    if (clientOf.has(kept.client)) openClient(clientOf.get(kept.client));
    if (chosen && kept.begun) { takeUpBegun(kept.begun); seeWhole(); }
    if (moved.length) say("Moved to its place: " + moved.join(", ") + ".");
  }
  showClients();
  // A page made for one client opens on that lot
  if (!chosen && clients.length === 1) openClient(clients[0]);
  tellAll();
}

function offerEarlier(kept) {
  const when = new Date(kept.at).toLocaleString("en-US", { dateStyle: "medium", timeStyle: "short" });
  const count = kept.shapes.length + (kept.begun ? 1 : 0);
  byId("earlier-words").textContent = counted(count, "shape") + ", last changed " + when + ", " + (kept.saved ? "saved as " + kept.name + "." : "not saved to a file yet.");
  byId("earlier").addEventListener("cancel", (event) => event.preventDefault());
  onClick("go-on", () => { byId("earlier").close(); start(kept); });
  onClick("afresh", () => { setAside(); byId("earlier").close(); start(null); });
  byId("earlier").showModal();
}

document.documentElement.classList.add("live");
map.setView([NOWHERE[1], NOWHERE[0]], 17);
map.getContainer().setAttribute("role", "application");
map.getContainer().setAttribute("aria-label", "Map: arrow keys move it, plus and minus zoom");
showClients();
showPanel();
map.invalidateSize({ animate: false });
seeWhole();
const earlierWork = keptWork();
if (earlierWork) offerEarlier(earlierWork);
else start(null);
