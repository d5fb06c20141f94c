/* Joins the list, the map and the card. Every text goes in as text, never as markup. */

const data = JSON.parse(document.getElementById("data").textContent);
const map = map_plan; // the name that folium gives the map
const byId = (id) => document.getElementById(id);
const HOME = new Set(["outline", "strip", "bed", "edge"]);
const isNarrow = window.matchMedia("(max-width: 900px)");
const isTouch = window.matchMedia("(hover: none)").matches;
const isCalm = window.matchMedia("(prefers-reduced-motion: reduce)").matches;

/* --- what the data say ------------------------------------------------- */

function readLot(told) {
  const [name, address, phone, dial, route, day] = told.told;
  const lot = { id: told.id, name: name || told.id, address, phone, dial, route, day, out: told.out, way: told.way, dim: false };
  lot.find = (name + " " + address + " " + told.id + " " + phone).toLowerCase();
  lot.digits = digits(phone);
  lot.offers = told.offers.map((offer) => readOffer(offer, told.words));
  lot.beds = told.beds.map((bed) => readBed(bed, told.words));
  const listed = lot.offers.filter((offer) => offer.rank).sort((a, b) => a.rank - b.rank);
  lot.rank = listed.length ? listed[0].rank : 0;
  lot.band = listed.length ? listed[0].band : lot.offers.length ? BAND.out : BAND.skipped;
  lot.box = emptyBox(); // all that is drawn for the lot
  lot.home = emptyBox(); // the lot itself, without what lies round it
  lot.letters = letters(lot);
  lot.shapes = told.shapes.map((shape) => readShape(shape, lot));
  lot.at = center(lot, told.at);
  return lot;
}

function readOffer([id, rank, band, words, bedIds, price, low, high, days, chance, confirmed, reasons, unknowns, next, last, more, morePrice, moreSaving, street, prices], said) {
  return { confirmed, id, rank, band, words, bedIds: bedIds.split(" "), price, low, high, days, chance, reasons: spoken(reasons, said), unknowns: spoken(unknowns, said),
    next, last, more: more.split(" ").filter(Boolean), morePrice, moreSaving, street, prices };
}

function readBed([id, along, face, band, skip, edge, area, depth, line, price, cautions], said) {
  const all = spoken(cautions, said), isUsual = (one) => data.usual.some((start) => one.startsWith(start));
  return { id, along, face, band, skip, edge, area, depth, line, price, own: all.filter((one) => !isUsual(one)), usual: all.filter(isUsual), at: null };
}

function digits(text) { return text.replace(/\D/g, ""); }

/* A, B, C in the order in which beds are offered: the first offer's, then those of the larger job, then the rest */
function letters(lot) {
  const ids = lot.offers.flatMap((offer) => offer.bedIds.concat(offer.more)).concat(lot.beds.filter((bed) => !bed.skip).map((bed) => bed.id));
  const order = [...new Set(ids)];
  return lot.beds.map((bed) => order.includes(bed.id) ? String.fromCharCode(65 + order.indexOf(bed.id) % 26) : "");
}

function readShape([layer, bed, ...rings], lot) {
  const shape = { layer: data.layers[layer], bed };
  shape.rings = rings.map((ring) => unroll(ring, lot.box));
  if (HOME.has(shape.layer)) for (const ring of shape.rings) for (let i = 0; i < ring.length; i += 2) grow(lot.home, ring[i], ring[i + 1]);
  if (shape.layer === "bed" && lot.beds[bed]) lot.beds[bed].at = middle(shape.rings[0]);
  return shape;
}

function spoken(numbers, said) { return numbers.map((number) => said[number]); }

function middle(ring) {
  const half = ring.length / 2, box = emptyBox();
  for (let i = 0; i < half; i++) grow(box, ring[2 * i], ring[2 * i + 1]);
  return [(box[0] + box[2]) / 2, (box[1] + box[3]) / 2];
}

/* The mark stands on the lot's own house (a neighbor's may be drawn too), else in the lot's middle */
function center(lot, at) {
  if (Number.isFinite(lot.home[0])) {
    const [left, top, right, bottom] = lot.home;
    const houses = lot.shapes.filter((one) => one.layer === "house").map((one) => middle(one.rings[0]));
    const outline = lot.shapes.find((one) => one.layer === "outline");
    const own = houses.find(([u, v]) => outline ? isWithin(outline.rings, u, v) : u > left && u < right && v > top && v < bottom);
    return own || [(left + right) / 2, (top + bottom) / 2];
  }
  if (!at.length) return null;
  const [u, v] = place(at[0], at[1]);
  for (const box of [lot.box, lot.home]) grow(box, u, v);
  return [u, v];
}

const lots = data.clients.map(readLot);
const lotOf = new Map(lots.map((lot) => [lot.id, lot]));

/* --- small helpers ----------------------------------------------------- */

function element(tag, attributes, ...inside) {
  const made = document.createElement(tag);
  for (const [name, value] of Object.entries(attributes || {})) if (value !== "") made.setAttribute(name, value);
  made.append(...inside.filter((part) => part !== null)); // append() takes texts as text
  return made;
}

function aboutUsd(cents) { return "$" + (Math.ceil(cents / 1000) * 10).toLocaleString("en-US"); } // as a client hears it
function usd(cents) { return "$" + Math.round(cents / 100).toLocaleString("en-US"); }
function range(low, high) { return usd(low) + "–" + usd(high); }
function number(value) { return value.toLocaleString("en-US", { maximumFractionDigits: 1 }); }
function bedShort(bed) { return bed.along.charAt(0).toUpperCase() + bed.along.slice(1) + (bed.face ? " " + bed.face.replaceAll("+", ", ") : "") + " " + Math.round(bed.edge) + " ft"; }
function bedName(bed) { return "Bed along " + data.along[bed.along] + (bed.face ? ", " + bed.face.replaceAll("+", " and ") : ""); }

function latLng(u, v) {
  return [(Math.atan(Math.exp((0.5 - v) * 2 * Math.PI)) * 2 - Math.PI / 2) * (180 / Math.PI), (u - 0.5) * 360];
}

function bounds(box) { return L.latLngBounds(latLng(box[0], box[3]), latLng(box[2], box[1])); }

/* --- the map ----------------------------------------------------------- */

map.attributionControl.remove();
L.control.scale({ imperial: true, metric: false, maxWidth: 140, position: "bottomleft" }).addTo(map);
const ground = new Ground(lots).addTo(map);
map.getContainer().setAttribute("role", "application");
map.getContainer().setAttribute("aria-label", "Map of the lots: arrow keys move it, plus and minus zoom");

/* An empty map says why */
function tellNowhere() {
  const why = !lots.some((lot) => lot.at) ? "No lot of this book has a place on the map: none is drawn, none has a longitude and latitude. The list is complete."
    : lots.every((lot) => lot.dim) ? "No client fits the choice, so no lot is marked. Widen it beside the map."
    : !lots.some((lot) => lot.beds.length) ? "No bed was found on these lots: no turf touches a curb, house front or sidewalk, or the beds were too small. Each client's card says which." : "";
  byId("nowhere").textContent = why;
  byId("nowhere").hidden = !why;
}
tellNowhere();

function showAll() {
  const shown = lots.filter((lot) => lot.at && !lot.dim), box = emptyBox();
  for (const lot of shown.length ? shown : lots.filter((one) => one.at)) { grow(box, lot.home[0], lot.home[1]); grow(box, lot.home[2], lot.home[3]); }
  if (Number.isFinite(box[0])) map.fitBounds(bounds(box), { padding: isNarrow.matches ? [14, 14] : [40, 40], maxZoom: 20, animate: false });
}

function flyTo(lot) {
  if (!lot.at) return;
  // The card covers part of the map: the lot goes where it can be seen
  const room = isNarrow.matches ? { paddingTopLeft: [10, 10], paddingBottomRight: [10, 10 + map.getSize().y * 0.62] } : { paddingTopLeft: [20, 60], paddingBottomRight: [420, 40] };
  const options = { ...room, maxZoom: 20.5 };
  if (isCalm) map.fitBounds(bounds(lot.home), { ...options, animate: false });
  else map.flyToBounds(bounds(lot.home), { ...options, duration: 0.8 });
}

map.on("click", (event) => {
  const hit = ground.under(event.containerPoint, 10);
  if (hit) choose(hit.lot, { bed: hit.bed });
  else close();
});

map.on("mousemove", (event) => {
  if (isTouch) return;
  const hit = ground.under(event.containerPoint, 5), tip = byId("tip");
  map.getContainer().classList.toggle("over-bed", Boolean(hit));
  tip.hidden = !hit;
  if (!hit) return;
  const bed = hit.bed >= 0 ? hit.lot.beds[hit.bed] : null;
  tip.textContent = hit.lot.name + (bed ? ": " + bedName(bed).toLowerCase() + (bed.skip ? ", skipped: " + bed.skip : "") : "");
  const size = map.getSize();
  tip.style.left = Math.min(event.containerPoint.x + 14, size.x - 180) + "px";
  tip.style.top = Math.min(event.containerPoint.y + 14, size.y - 60) + "px";
});
map.on("mouseout zoomstart movestart", () => { byId("tip").hidden = true; });

/* --- backgrounds: nothing is fetched before one is switched on ---------- */

let picture = null;

function switchGround(key) {
  if (picture) picture.remove();
  picture = null;
  byId("ground-note").textContent = byId("credit").textContent = "";
  const chosen = data.backgrounds.find((background) => background.key === key);
  overPicture(false);
  if (!chosen) return;
  picture = L.tileLayer(chosen.url, { maxZoom: 23, maxNativeZoom: 19, minZoom: 1 }).addTo(map);
  // The plan gives way only where pictures have come
  const seen = { come: 0, missing: 0 };
  picture.on("loading", () => { seen.come = seen.missing = 0; });
  picture.on("tileload", () => { seen.come += 1; overPicture(!seen.missing); });
  picture.on("tileerror", (event) => { seen.missing += 1; overPicture(false); coarser(event.target, event.coords.z); });
  byId("credit").textContent = chosen.credit;
}

function overPicture(isOver) {
  if (ground.overPicture === isOver) return;
  ground.overPicture = isOver;
  ground.redraw();
}

/* Servers end at different zooms: on a miss at the finest, take the next coarser and stretch it */
function coarser(layer, zoom) {
  const coarsest = 14;
  if (zoom === layer.options.maxNativeZoom && zoom > coarsest) {
    layer.options.maxNativeZoom = zoom - 1;
    window.setTimeout(() => layer.redraw(), 0);
  } else if (zoom < layer.options.maxNativeZoom || zoom <= coarsest) {
    byId("ground-note").textContent = "Some pictures did not come: no network, or the server refuses this page. The plan stays.";
  }
}

for (const radio of document.querySelectorAll("input[name=ground]")) radio.addEventListener("change", () => switchGround(radio.value));

/* --- the card ---------------------------------------------------------- */

let opener = null;

function choose(lot, { offer = "", bed = -1, from = null, fly = false }) {
  const toBed = bed >= 0;
  opener = from || opener;
  const offered = lot.offers.find((one) => one.id === offer) || lot.offers.find((one) => bed >= 0 && one.bedIds.includes(lot.beds[bed].id)) || lot.offers[0];
  if (bed < 0 && offered) bed = lot.beds.findIndex((one) => one.id === offered.bedIds[0]);
  if (bed < 0 && lot.beds.length) bed = 0;
  ground.chosen = lot;
  ground.chosenBed = bed;
  showView("map");
  fillCard(lot, bed);
  byId("card").hidden = false;
  markRows(lot, offered);
  if (fly) flyTo(lot);
  ground.redraw();
  byId("card").scrollTop = 0;
  byId("card-name").focus({ preventScroll: true });
  if (toBed) showBed();
}

function close() {
  if (byId("card").hidden) return;
  const hadFocus = byId("card").contains(document.activeElement);
  byId("card").hidden = true;
  byId("card").replaceChildren();
  ground.chosen = null;
  ground.chosenBed = -1;
  ground.redraw();
  markRows(null, null);
  if (opener && isNarrow.matches) showView("list");
  if (hadFocus) (opener || map.getContainer()).focus({ preventScroll: false });
  opener = null;
}

function markRows(lot, offer) {
  for (const row of document.querySelectorAll(".row.chosen")) { row.classList.remove("chosen"); row.querySelector(".go").removeAttribute("aria-current"); }
  if (!lot) return;
  const row = rows.find((one) => isOffer(one) ? offer && one.dataset.offer === offer.id : one.dataset.client === lot.id);
  if (!row) return;
  row.classList.add("chosen");
  row.querySelector(".go").setAttribute("aria-current", "true");
  row.scrollIntoView({ block: "nearest" });
}

function fillCard(lot, bedNumber) {
  const shut = element("button", { type: "button", class: "close", "aria-label": "Close the card" }, "×");
  shut.addEventListener("click", close);
  const phone = lot.dial ? element("a", { class: "call", href: "tel:" + lot.dial }, "Call " + lot.phone) : element("span", { class: "soft" }, lot.phone || "No phone number in the book");
  const first = lot.offers[0], next = lot.way[1] || (first && first.rank ? first.next : ""), last = lot.way[2] || (first ? first.last : "");
  const place = [lot.address, lot.route, lot.day].filter(Boolean).join(", ");
  byId("card").replaceChildren(...[
    element("header", {}, element("div", {}, element("h2", { id: "card-name", tabindex: "-1" }, element("bdi", {}, lot.name)), element("p", { class: "where" }, place)), shut),
    lot.way[0] ? element("p", { class: "out" }, "Under way: " + lot.way[0]) : null,
    element("p", { class: "act" }, phone, next ? element("b", {}, next) : null),
    last ? element("p", { class: "soft last" }, element("bdi", {}, last)) : null,
    lot.out ? element("p", { class: "out" }, (lot.offers.length ? "Left out of the calls: " : "No bed to offer: ") + lot.out) : null,
    lot.at ? null : element("p", { class: "soft" }, "This lot has no place on the map: neither drawn nor with a longitude and latitude."),
    ...lot.offers.map((offer) => offerPart(lot, offer)),
    lot.beds.length ? bedPart(lot, bedNumber) : null,
    ...(first ? [foldPart(first.rank ? "Call number " + first.rank + ": why" : "Why this call", first.reasons), foldPart("What the price rests on", priceWords(first))] : []),
    lot.beds.length ? foldPart("Usual cautions", [...new Set(lot.beds.filter((bed) => !bed.skip).flatMap((bed) => bed.usual))]) : null,
  ].filter(Boolean));
}

function offerPart(lot, offer) {
  const part = element("section", { class: "deal" }, element("p", { class: "say" }, offer.words));
  if (!offer.rank && !offer.more.length && offer !== lot.offers[0]) part.prepend(element("h3", {}, "A job that may follow"));
  if (!offer.confirmed) part.append(element("p", { class: "soft" }, "Not confirmed by a drawn lawn, a tape or the crew: look before you quote."));
  if (offer.prices.length) part.append(priceTable(offer));
  const more = offer.more.filter((id) => !offer.bedIds.includes(id)).map((id) => lot.beds.find((bed) => bed.id === id)).filter(Boolean);
  if (more.length) part.append(element("p", {}, "In one job with " + more.map((bed) => bedShort(bed).toLowerCase()).join(" and ") + ": " + aboutUsd(offer.morePrice) + (offer.moreSaving > 0 ? ", " + usd(offer.moreSaving) + " less than in two jobs" : "")));
  return part;
}

function priceTable(offer) {
  const head = element("tr", {}, ...["Finish", "about", "from – to"].map((name) => element("th", { scope: "col" }, name)));
  const plants = (finish, count) => data.finishes[finish].replace(" and a few plants", "") + (count ? ", " + count + " plants" : "");
  const body = offer.prices.map(([finish, price, low, high, count, lead]) =>
    element("tr", { class: lead ? "lead" : "" }, element("th", { scope: "row" }, plants(finish, count)), ...[aboutUsd(price), range(low, high)].map((value) => element("td", {}, value))));
  return element("table", {}, element("caption", { class: "hush" }, "Prices of the first offer, before tax; bold: as offered"), element("thead", {}, head), element("tbody", {}, ...body));
}

function priceWords(offer) {
  return [
    "Our estimate " + usd(offer.price) + " before tax, " + range(offer.low, offer.high) + ", " + number(offer.days) + " crew-days",
    offer.chance > 0 ? "chance of a sale " + Math.max(1, Math.round(offer.chance * 100)) + " %" : "",
    ...offer.unknowns.map((said) => "widens the price: " + said),
  ].filter(Boolean);
}

function foldPart(title, sentences) {
  return sentences.length ? element("details", {}, element("summary", {}, title), element("ul", {}, ...sentences.map((said) => element("li", {}, element("span", {}, said))))) : null;
}

function bedPart(lot, bedNumber) {
  const first = lot.offers[0], part = element("section", { id: "card-bed" });
  const role = (bed) => bed.skip ? "skipped" : !first ? "" : first.bedIds.includes(bed.id) ? "first" : first.more.includes(bed.id) ? "with it" : "later";
  const picks = lot.beds.map((bed, n) => {
    const small = [number(bed.area) + " ft²", role(bed)].filter(Boolean).join(", ");
    const pick = element("button", { type: "button", "aria-pressed": String(n === bedNumber) }, element("span", {}, element("b", {}, lot.letters[n]), " " + bedShort(bed)), element("small", {}, small));
    pick.addEventListener("click", () => pickBed(lot, n));
    return pick;
  });
  part.append(element("h3", {}, lot.beds.length > 1 ? "Beds" : "Bed"), element("div", { class: "beds" }, ...picks), bedDetails(lot.beds[bedNumber], first));
  return part;
}

function pickBed(lot, n) {
  ground.chosenBed = n;
  ground.redraw();
  fillCard(lot, n);
  byId("card").querySelectorAll(".beds button")[n].focus({ preventScroll: true });
  showBed();
}

function showBed() { byId("card-bed").scrollIntoView({ block: "nearest" }); }

function bedDetails(bed, first) {
  const part = element("div", { class: "bed" });
  part.append(element("p", { class: "size" }, number(bed.edge) + " ft of edge, " + number(bed.depth) + " ft deep: ", element("b", {}, number(bed.area) + " ft²"), "; edging " + number(bed.line) + " ft" + (bed.price ? "; alone about " + aboutUsd(bed.price) : "")));
  if (bed.skip) part.append(element("p", { class: "out" }, "Skipped: " + bed.skip));
  const mind = [...bed.own, first && first.street > 0 && first.bedIds.includes(bed.id) ? number(first.street) + " ft² of this offer in the right-of-way: ask the city about a permit" : ""].filter(Boolean);
  if (mind.length) part.append(element("h3", {}, "Mind at this bed"), element("ul", { class: "cautions" }, ...mind.map((said) => element("li", {}, element("span", {}, said)))));
  return part;
}

/* --- the list ---------------------------------------------------------- */

const rows = [...document.querySelectorAll(".row")];
const isOffer = (row) => Boolean(row.dataset.offer);
const offerCount = rows.filter(isOffer).length;
const others = [...document.querySelectorAll(".fold li")];

function chooseRow(row) {
  const lot = lotOf.get(row.dataset.client);
  if (lot) choose(lot, { offer: row.dataset.offer, from: row.querySelector(".go"), fly: true });
}

byId("list").addEventListener("click", (event) => {
  if (event.target.closest("a, summary, form")) return;
  // Marking text with the mouse is no choice
  if (!event.target.closest(".go") && String(window.getSelection())) return;
  const row = event.target.closest("[data-client]");
  if (row) chooseRow(row);
});

function narrow() {
  const text = byId("find").value.trim().toLowerCase(), route = byId("route").value, day = byId("day").value, kind = byId("kind").value;
  const typed = /^[\d\s()+.-]{3,}$/.test(text) ? digits(text) : "";
  const fits = (lot) => !text || lot.find.includes(text) || Boolean(typed && lot.digits.includes(typed));
  const kinds = new Map(rows.map((row) => [row.dataset.client, row.dataset.kind]));
  for (const lot of lots) lot.dim = !fits(lot) || Boolean((route && lot.route !== route) || (day && lot.day !== day) || (kind && kinds.get(lot.id) !== kind));
  for (const row of [...rows, ...others]) row.hidden = lotOf.get(row.dataset.client).dim;
  const all = rows.filter((row) => !row.hidden), shown = all.filter(isOffer), ways = all.length - shown.length, sum = (name) => shown.reduce((total, row) => total + Number(row.dataset[name]), 0);
  byId("count").textContent = (shown.length === offerCount ? "" : number(shown.length) + " of ") + number(offerCount) + (offerCount === 1 ? " offer" : " offers") + (ways ? ", " + number(ways) + " under way" : "");
  if (byId("under-way")) byId("under-way").hidden = !ways;
  for (const [id, value, words] of [["offers", shown.length, number(shown.length)], ["price", sum("price") / 100, usd(sum("price"))], ["expected", sum("profit") / 100, usd(sum("profit"))]]) {
    byId("total-" + id).value = value;
    byId("total-" + id).textContent = words;
  }
  byId("clear").hidden = !(text || route || day || kind);
  if (byId("none-left")) byId("none-left").hidden = all.length > 0;
  rove(all[0]);
  tellNowhere();
  ground.redraw();
}

/* One row takes the Tab key, arrows go from row to row: the map is a few Tabs away however long the list is */
function rove(row) {
  for (const one of rows) for (const target of one.querySelectorAll("button, a")) target.tabIndex = one === row ? 0 : -1;
}

byId("list").addEventListener("keydown", (event) => {
  const row = event.target.closest(".row"), step = { ArrowDown: 1, ArrowUp: -1 }[event.key];
  if (!row || !step) return;
  const shown = rows.filter((one) => !one.hidden), next = shown[shown.indexOf(row) + step];
  event.preventDefault();
  if (next) { rove(next); next.querySelector(".go").focus(); }
});
byId("list").addEventListener("focusin", (event) => { const row = event.target.closest(".row"); if (row) rove(row); });

byId("find").addEventListener("input", narrow);
for (const id of ["route", "day", "kind"]) byId(id).addEventListener("change", () => { narrow(); close(); showAll(); });
byId("filter").addEventListener("submit", (event) => event.preventDefault());
byId("filter").addEventListener("reset", () => window.setTimeout(() => { narrow(); showAll(); byId("find").focus(); }, 0));
byId("all-lots").addEventListener("click", () => { opener = null; close(); showAll(); });

document.addEventListener("keydown", (event) => {
  if (event.key !== "Escape") return;
  const open = document.querySelector("details.grounds[open]");
  if (open && open.contains(document.activeElement)) { open.open = false; open.querySelector("summary").focus(); } else close();
});

document.querySelector(".skip").addEventListener("click", (event) => {
  event.preventDefault();
  showView("map");
  map.getContainer().focus();
});

/* --- on paper: the map of what is listed, drawn anew in the paper's shape ---- */

window.addEventListener("beforeprint", () => {
  const box = map.getContainer(), kept = { center: map.getCenter(), zoom: map.getZoom() };
  const shown = lots.filter((lot) => lot.at && !lot.dim);
  byId("paper-map").hidden = !shown.length;
  if (!shown.length) return;
  box.style.cssText = "position: fixed; inset: auto; width: 1000px; height: 430px";
  map.invalidateSize({ animate: false });
  showAll();
  byId("paper-map").replaceChildren(element("img", { alt: "Map of the lots on this list", src: ground.picture() }));
  box.style.cssText = "";
  map.invalidateSize({ animate: false });
  map.setView(kept.center, kept.zoom, { animate: false });
});

/* --- list or map on a phone -------------------------------------------- */

function showView(view) {
  document.documentElement.classList.toggle("on-map", view === "map");
  for (const button of document.querySelectorAll(".switch button")) button.setAttribute("aria-pressed", String(button.dataset.view === view));
  map.invalidateSize({ animate: false });
}

for (const button of document.querySelectorAll(".switch button")) button.addEventListener("click", () => { if (button.dataset.view === "list") opener = null; showView(button.dataset.view); });

/* --- legend ------------------------------------------------------------ */

function sample(band) {
  const canvas = element("canvas", { width: 68, height: 36, "aria-hidden": "true" });
  canvas.style.cssText = "width: 34px; height: 18px";
  const pen = canvas.getContext("2d"), ink = ground.ink;
  pen.scale(2, 2);
  pen.rect(1, 1, 32, 16);
  pen.fillStyle = [ink.first, ink.third, ink.rest, ink.out, ink.skipped][band];
  pen.fill();
  if (ground._hatches[band]) { pen.fillStyle = ground._hatches[band]; pen.fill(); }
  if (band === BAND.skipped) pen.setLineDash([4, 3]);
  pen.lineWidth = 1.5;
  pen.strokeStyle = ink.line;
  pen.stroke();
  return canvas;
}

function drawn(draw) {
  const canvas = element("canvas", { width: 68, height: 48, "aria-hidden": "true" });
  canvas.style.cssText = "width: 34px; height: 24px";
  const pen = canvas.getContext("2d");
  pen.scale(2, 2);
  draw(pen);
  return canvas;
}

function swatches(pen, fills) {
  pen.lineWidth = 0.8;
  pen.strokeStyle = ground.ink.soft;
  fills.forEach((fill, n) => { pen.fillStyle = fill; pen.fillRect(n * 11 + 0.5, 5, 11, 14); pen.strokeRect(n * 11 + 0.5, 5, 11, 14); });
}

function rule(pen, y, color, width, dash) {
  pen.lineWidth = width;
  pen.strokeStyle = color;
  pen.setLineDash(dash);
  pen.beginPath();
  pen.moveTo(0, y);
  pen.lineTo(34, y);
  pen.stroke();
}

/* Only letters that stand somewhere on this map are worth a line */
function lettersUsed() {
  const words = new Map([["H", "hydrant"], ["M", "mailbox"], ["T", "transformer"], ["G", "gas meter"], ["E", "electric meter"], ["W", "water meter"], ["P", "pole"]]);
  const seen = new Set(lots.flatMap((lot) => lot.shapes.map((shape) => shape.layer === "utility" ? UTILITY_LETTERS[shape.bed] : MARK_LETTERS[shape.layer])));
  return [...words].filter(([letter]) => seen.has(letter));
}

function legend() {
  const used = lettersUsed();
  const ink = ground.ink, add = (picture, words) => byId("legend-rows").append(element("li", {}, picture, element("span", {}, words)));
  add(sample(BAND.first), "first tenth of the calls");
  add(sample(BAND.third), "next ones, up to a third");
  add(sample(BAND.rest), "the rest");
  add(sample(BAND.out), "bed found, client not called");
  add(sample(BAND.skipped), "skipped, see the card");
  add(drawn((pen) => [BAND.first, BAND.third, BAND.rest].forEach((band, n) => glyph(pen, band, 6 + n * 11, 12, 5, ink))), "lot when zoomed out, same order");
  add(drawn((pen) => [BAND.out, BAND.skipped].forEach((band, n) => glyph(pen, band, 10 + n * 14, 12, 8, ink))), "lot of a client not called");
  add(drawn((pen) => swatches(pen, [ink.lawn, ink.house, ink.hard])), "lawn, house, paving");
  add(drawn((pen) => rule(pen, 12, ink.line, 2, [])), "edge of the lawn");
  add(drawn((pen) => rule(pen, 12, ink.alert, 1.5, [2, 4])), "easement, wildfire area");
  add(drawn((pen) => warning(pen, 17, 12, ink)), "watch out, see the card");
  add(drawn((pen) => tree(pen, 17, 12, ink)), "tree");
  for (const [letter, words] of used) add(drawn((pen) => badge(pen, letter, 17, 12, "#fff", ink.line)), words);
}

/* --- begin ------------------------------------------------------------- */

document.documentElement.classList.add("live");
if (isNarrow.matches || window.innerHeight < 1100) byId("legend").open = false;
legend();
rove(rows[0]);
byId("legend").addEventListener("toggle", () => map.invalidateSize({ animate: false }));
map.invalidateSize({ animate: false });
showAll();
