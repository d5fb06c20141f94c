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
  const lot = { id: told.id, name: name || told.id, address, phone, dial, route, day, out: told.out, dim: false };
  lot.find = (name + " " + address + " " + told.id).toLowerCase();
  lot.offers = told.offers.map((offer) => readOffer(offer, told.words));
  lot.beds = told.beds.map((bed) => readBed(bed, told.words));
  const listed = lot.offers.filter((offer) => offer.rank).sort((a, b) => a.rank - b.rank);
  lot.rank = listed.length ? listed[0].rank : 0;
  lot.band = listed.length ? listed[0].band : lot.offers.length ? BAND.out : BAND.skipped;
  lot.box = emptyBox(); // all that is drawn for the lot
  lot.home = emptyBox(); // the lot itself, without what lies round it
  lot.shapes = told.shapes.map((shape) => readShape(shape, lot));
  lot.at = center(lot, told.at);
  return lot;
}

function readOffer([id, rank, band, words, bedIds, price, low, high, days, saving, chance, confirmed, reasons, unknowns], said) {
  return { confirmed, id, rank, band, words, bedIds: bedIds.split(" "), price, low, high, days, saving, chance, reasons: spoken(reasons, said), unknowns: spoken(unknowns, said) };
}

function readBed([id, along, face, band, skip, edge, area, depth, line, prices, cautions], said) {
  return { id, along, face, band, skip, edge, area, depth, line, prices, cautions: spoken(cautions, said), at: null };
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

function usd(cents) { return "$" + Math.round(cents / 100).toLocaleString("en-US"); }
function range(low, high) { return usd(low) + "–" + usd(high); }
function number(value) { return value.toLocaleString("en-US", { maximumFractionDigits: 1 }); }
function bedName(bed) { return "Bed along " + data.along[bed.along] + (bed.face ? ", " + bed.face.replaceAll("+", " and ") : ""); }

function latLng(u, v) {
  return [(Math.atan(Math.exp((0.5 - v) * 2 * Math.PI)) * 2 - Math.PI / 2) * (180 / Math.PI), (u - 0.5) * 360];
}

function bounds(box) { return L.latLngBounds(latLng(box[0], box[3]), latLng(box[2], box[1])); }

/* --- the map ----------------------------------------------------------- */

map.attributionControl.remove();
L.control.scale({ imperial: true, metric: false, maxWidth: 140, position: "bottomleft" }).addTo(map);
const ground = new Ground(lots).addTo(map);
map.getContainer().setAttribute("aria-label", "Map of the lots: arrow keys move it, plus and minus zoom");
byId("nowhere").hidden = lots.some((lot) => lot.at);

function showAll() {
  const shown = lots.filter((lot) => lot.at && !lot.dim), box = emptyBox();
  for (const lot of shown.length ? shown : lots.filter((one) => one.at)) { grow(box, lot.home[0], lot.home[1]); grow(box, lot.home[2], lot.home[3]); }
  if (Number.isFinite(box[0])) map.fitBounds(bounds(box), { padding: [40, 40], maxZoom: 20, animate: false });
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
  ground.overPicture = Boolean(chosen);
  ground.redraw();
  if (!chosen) return;
  picture = L.tileLayer(chosen.url, { maxZoom: 23, maxNativeZoom: 19, minZoom: 1 }).addTo(map);
  picture.on("tileerror", (event) => coarser(event.target, event.coords.z));
  byId("credit").textContent = chosen.credit;
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
  if (!lot || !offer) return;
  const row = rows.find((one) => one.dataset.offer === offer.id);
  if (!row) return;
  row.classList.add("chosen");
  row.querySelector(".go").setAttribute("aria-current", "true");
  row.scrollIntoView({ block: "nearest" });
}

function fillCard(lot, bedNumber) {
  const shut = element("button", { type: "button", class: "close", "aria-label": "Close the card" }, "×");
  shut.addEventListener("click", close);
  const phone = lot.dial ? element("a", { class: "call", href: "tel:" + lot.dial }, "Call " + lot.phone) : element("p", { class: "soft" }, lot.phone || "No phone number in the book");
  byId("card").replaceChildren(
    element("header", {}, element("div", {}, element("h2", { id: "card-name", tabindex: "-1" }, lot.name), element("p", { class: "where" }, lot.address)), shut),
    phone,
    ...[lot.out ? element("p", { class: "out" }, (lot.offers.length ? "Left out of the calls: " : "No bed to offer: ") + lot.out) : null].filter(Boolean),
    ...[lot.at ? null : element("p", { class: "soft" }, "This lot has no place on the map: neither drawn nor with a longitude and latitude.")].filter(Boolean),
    ...lot.offers.map((offer) => offerPart(offer)),
    ...(lot.beds.length ? [bedPart(lot, bedNumber)] : []),
  );
}

function offerPart(offer) {
  const part = element("section", { class: "deal" }, element("h3", {}, offer.rank ? "Call number " + offer.rank : "The offer"));
  part.append(element("p", {}, offer.words), element("p", {}, element("b", {}, range(offer.low, offer.high)), " · " + number(offer.days) + " crew-days"));
  const worked = "Our estimate: " + usd(offer.price) + " before tax" + (offer.saving > 0 ? "; one job for all beds saves " + usd(offer.saving) : "");
  part.append(element("p", { class: "soft" }, worked + (offer.chance > 0 ? ". Chance of a sale " + Math.round(offer.chance * 100) + " %." : ". A job that may follow.")));
  if (!offer.confirmed) part.append(element("p", { class: "soft" }, "Not confirmed by a drawn lawn, a tape or the crew: look before you quote."));
  if (offer.reasons.length) part.append(element("ul", { class: "reasons" }, ...offer.reasons.map((said) => element("li", {}, element("span", {}, said)))));
  if (offer.unknowns.length) part.append(element("p", { class: "soft" }, "What widens the price: " + offer.unknowns.join("; ") + "."));
  return part;
}

function bedPart(lot, bedNumber) {
  const part = element("section", {}, element("h3", {}, lot.beds.length > 1 ? "Its beds" : "Its bed"));
  const picks = lot.beds.map((bed, n) => {
    const swatch = sample(bed.band);
    const pick = element("button", { type: "button", "aria-pressed": String(n === bedNumber) }, swatch, bedName(bed) + (bed.skip ? " (skipped)" : ""));
    pick.addEventListener("click", () => pickBed(lot, n));
    return pick;
  });
  part.append(element("div", { class: "beds" }, ...picks), bedDetails(lot.beds[bedNumber]));
  return part;
}

function pickBed(lot, n) {
  ground.chosenBed = n;
  ground.redraw();
  fillCard(lot, n);
  byId("card").querySelectorAll(".beds button")[n].focus();
}

function bedDetails(bed) {
  const part = element("div", { class: "bed" });
  part.append(element("p", { class: "size" }, number(bed.edge) + " ft of edge, " + number(bed.depth) + " ft deep: ", element("b", {}, number(bed.area) + " ft²"), "; edging " + number(bed.line) + " ft"));
  if (bed.skip) part.append(element("p", { class: "out" }, "Skipped: " + bed.skip));
  if (bed.prices.length) part.append(priceTable(bed));
  if (bed.cautions.length) part.append(element("h3", {}, "Watch out for"), element("ul", { class: "cautions" }, ...bed.cautions.map((said) => element("li", {}, element("span", {}, said)))));
  return part;
}

function priceTable(bed) {
  const head = element("tr", {}, ...["Finish", "Price", "Range", "Days"].map((name) => element("th", { scope: "col" }, name)));
  const body = bed.prices.map(([finish, price, low, high, days, lead]) =>
    element("tr", { class: lead ? "lead" : "" }, element("th", { scope: "row" }, data.finishes[finish]), ...[usd(price), range(low, high), number(days)].map((value) => element("td", {}, value))));
  return element("table", {}, element("caption", {}, "This bed alone, before tax, in crew-days; lead with the finish in bold"), element("thead", {}, head), element("tbody", {}, ...body));
}

/* --- the list ---------------------------------------------------------- */

const rows = [...document.querySelectorAll("#rows .row")];
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
  const text = byId("find").value.trim().toLowerCase(), route = byId("route").value, day = byId("day").value;
  for (const lot of lots) lot.dim = Boolean((text && !lot.find.includes(text)) || (route && lot.route !== route) || (day && lot.day !== day));
  for (const row of [...rows, ...others]) row.hidden = lotOf.get(row.dataset.client).dim;
  const shown = rows.filter((row) => !row.hidden).length;
  byId("count").textContent = (shown === rows.length ? "" : number(shown) + " of ") + number(rows.length) + (rows.length === 1 ? " offer" : " offers");
  byId("clear").hidden = !(text || route || day);
  if (byId("none-left")) byId("none-left").hidden = shown > 0 || !rows.length;
  ground.redraw();
}

byId("find").addEventListener("input", narrow);
for (const id of ["route", "day"]) byId(id).addEventListener("change", () => { narrow(); close(); showAll(); });
byId("filter").addEventListener("submit", (event) => event.preventDefault());
byId("filter").addEventListener("reset", () => window.setTimeout(() => { narrow(); showAll(); byId("find").focus(); }, 0));
byId("all-lots").addEventListener("click", () => { opener = null; close(); showAll(); });

document.addEventListener("keydown", (event) => {
  if (event.key !== "Escape") return;
  const open = document.querySelector("details.grounds[open]");
  if (open && open.contains(document.activeElement)) { open.open = false; open.querySelector("summary").focus(); } else close();
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
if (isNarrow.matches || window.innerHeight < 900) byId("legend").open = false;
legend();
byId("legend").addEventListener("toggle", () => map.invalidateSize({ animate: false }));
map.invalidateSize({ animate: false });
showAll();
