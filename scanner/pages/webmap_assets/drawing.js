"use strict";
/* Draws the lots on one canvas: only what is in view, and details only when they can be seen. */

const WORLD_PX = 256; // width of the whole world at zoom 0, as Leaflet has it
const UNITS_PER_DEGREE = 1e7;
const BAND = { first: 0, third: 1, rest: 2, out: 3, skipped: 4 };
/* From which zoom on lots are drawn, from which their ranks, hydrants and the like; a phone holds fewer lots */
const ZOOM = { plan: window.matchMedia("(max-width: 900px)").matches ? 14.5 : 16, ranks: 17, marks: 19 };
const UTILITY_LETTERS = ["T", "G", "E", "W", "P"];
const MARK_LETTERS = { hydrant: "H", mailbox: "M" };
/* From the ground up: what lies on top is drawn last */
const GROUND = ["street", "outline", "strip", "lawn", "sidewalk", "drive", "walk", "patio", "old_bed", "water", "house", "outbuilding"];

function colors() {
  const style = getComputedStyle(document.documentElement);
  const names = ["paper", "ink", "soft", "act", "lot", "lawn", "strip", "house", "shed", "hard", "street", "water", "planted", "line", "alert", "first", "third", "rest", "out", "skipped"];
  return Object.fromEntries(names.map((name) => [name, style.getPropertyValue("--" + name).trim()]));
}

/* Longitude and latitude in whole units to places in a world of width 1 */
function place(x, y) {
  const lat = (y / UNITS_PER_DEGREE) * (Math.PI / 180);
  return [x / UNITS_PER_DEGREE / 360 + 0.5, 0.5 - Math.log(Math.tan(Math.PI / 4 + lat / 2)) / (2 * Math.PI)];
}

function unroll(steps, box) {
  const ring = new Float64Array(steps.length);
  let x = 0, y = 0;
  for (let i = 0; i < steps.length; i += 2) {
    x += steps[i];
    y += steps[i + 1];
    const [u, v] = place(x, y);
    ring[i] = u;
    ring[i + 1] = v;
    if (box) grow(box, u, v);
  }
  return ring;
}

function grow(box, u, v) {
  if (u < box[0]) box[0] = u;
  if (v < box[1]) box[1] = v;
  if (u > box[2]) box[2] = u;
  if (v > box[3]) box[3] = v;
}

function isWithin(rings, u, v) {
  let isInside = false;
  for (const ring of rings)
    for (let i = 2; i < ring.length; i += 2)
      if (ring[i - 1] > v !== ring[i + 1] > v && u < ((ring[i] - ring[i - 2]) * (v - ring[i - 1])) / (ring[i + 1] - ring[i - 1]) + ring[i - 2]) isInside = !isInside;
  return isInside;
}

function emptyBox() { return [Infinity, Infinity, -Infinity, -Infinity]; }

/* A pattern is the second mark beside the color: crossed lines, slanted lines, dots, upright lines */
function hatch(context, band, color) {
  const tile = document.createElement("canvas"), size = 16;
  tile.width = tile.height = size;
  const pen = tile.getContext("2d");
  pen.strokeStyle = pen.fillStyle = color;
  pen.lineWidth = 2.4;
  pen.beginPath();
  if (band === BAND.first || band === BAND.third) { pen.moveTo(-4, 20); pen.lineTo(20, -4); pen.moveTo(-4, 4); pen.lineTo(4, -4); pen.moveTo(12, 20); pen.lineTo(20, 12); }
  if (band === BAND.first) { pen.moveTo(-4, -4); pen.lineTo(20, 20); pen.moveTo(12, -4); pen.lineTo(20, 4); pen.moveTo(-4, 12); pen.lineTo(4, 20); }
  if (band === BAND.out) { pen.moveTo(8, 0); pen.lineTo(8, 16); }
  pen.stroke();
  if (band === BAND.rest) for (const [x, y] of [[4, 4], [12, 12]]) { pen.beginPath(); pen.arc(x, y, 2.1, 0, 7); pen.fill(); }
  const pattern = context.createPattern(tile, "repeat");
  pattern.setTransform(new DOMMatrix().scale(0.5));
  return pattern;
}

/* A lot seen from afar: the shape tells the band as well as the color does */
function glyph(pen, band, x, y, size, ink) {
  pen.beginPath();
  if (band === BAND.first) { pen.moveTo(x, y - size * 1.2); pen.lineTo(x + size * 1.1, y + size * 0.8); pen.lineTo(x - size * 1.1, y + size * 0.8); pen.closePath(); }
  else if (band === BAND.rest) pen.rect(x - size * 0.75, y - size * 0.75, size * 1.5, size * 1.5);
  else pen.arc(x, y, band === BAND.third ? size * 0.9 : size * 0.55, 0, 7);
  pen.fillStyle = [ink.first, ink.third, ink.rest, ink.paper, ink.skipped][band];
  pen.fill();
  pen.lineWidth = 1.5;
  pen.strokeStyle = band >= BAND.out ? ink.soft : ink.line;
  pen.stroke();
}

function badge(pen, text, x, y, fill, ink) {
  pen.font = "600 12px system-ui, sans-serif";
  const half = Math.max(9, pen.measureText(text).width / 2 + 4);
  pen.beginPath();
  pen.roundRect(x - half, y - 9, half * 2, 18, 9);
  pen.fillStyle = fill;
  pen.fill();
  pen.lineWidth = 1.5;
  pen.strokeStyle = ink;
  pen.stroke();
  pen.fillStyle = ink;
  pen.textAlign = "center";
  pen.textBaseline = "middle";
  pen.fillText(text, x, y + 0.5);
}

function warning(pen, x, y, ink) {
  pen.beginPath();
  pen.moveTo(x, y - 9); pen.lineTo(x + 9, y + 7); pen.lineTo(x - 9, y + 7); pen.closePath();
  pen.fillStyle = "#fff";
  pen.fill();
  pen.lineWidth = 2;
  pen.lineJoin = "round";
  pen.strokeStyle = ink.alert;
  pen.stroke();
  pen.fillStyle = ink.alert;
  pen.font = "800 11px system-ui, sans-serif";
  pen.textAlign = "center";
  pen.textBaseline = "middle";
  pen.fillText("!", x, y + 1.5);
}

function tree(pen, x, y, ink) {
  for (const [size, fill] of [[6, ink.planted], [1.6, ink.line]]) {
    pen.beginPath();
    pen.arc(x, y, size, 0, 7);
    pen.fillStyle = fill;
    pen.fill();
    pen.lineWidth = 1.2;
    pen.strokeStyle = ink.line;
    pen.stroke();
  }
}

/* The lots as drawn: lots = [{box, at, band, rank, dim, shapes: [{layer, bed, rings}], beds: [...]}] */
const Ground = L.Renderer.extend({
  options: { padding: 0.15 },

  initialize(lots, options) {
    L.Renderer.prototype.initialize.call(this, options);
    // The best are drawn last, on top
    this.lots = [...lots].sort((a, b) => b.band - a.band || b.rank - a.rank);
    this.ink = colors();
    this.chosen = null;
    this.chosenBed = -1;
    this.overPicture = false;
  },

  _initContainer() {
    this._container = L.DomUtil.create("canvas", "ground");
    this._pen = this._container.getContext("2d");
    const ink = this.ink;
    this._hatches = [[BAND.first, "rgb(255 255 255 / 75%)"], [BAND.third, ink.line], [BAND.rest, ink.line], [BAND.out, ink.soft]]
      .map(([band, color]) => hatch(this._pen, band, color));
  },

  _destroyContainer() {
    this._container.remove();
    delete this._container;
    delete this._pen;
  },

  _update() {
    if (this._map._animatingZoom && this._bounds) return;
    L.Renderer.prototype._update.call(this);
    const size = this._bounds.getSize(), ratio = Math.min(window.devicePixelRatio || 1, 2);
    L.DomUtil.setPosition(this._container, this._bounds.min);
    this._container.width = size.x * ratio;
    this._container.height = size.y * ratio;
    this._container.style.width = size.x + "px";
    this._container.style.height = size.y + "px";
    this._ratio = ratio;
    this.redraw();
  },

  redraw() {
    if (!this._map || !this._pen) return;
    const pen = this._pen, zoom = this._map.getZoom();
    const origin = this._map.getPixelOrigin().add(this._bounds.min);
    this._scale = WORLD_PX * 2 ** zoom;
    this._left = origin.x;
    this._top = origin.y;
    pen.setTransform(this._ratio, 0, 0, this._ratio, 0, 0);
    pen.clearRect(0, 0, this._container.width, this._container.height);
    const seen = this.inView();
    if (zoom >= ZOOM.plan) this._drawPlan(seen, zoom);
    this._drawGlyphs(seen, zoom);
    if (this.chosen && this.chosen.at && zoom >= 18) this._drawLetters(this.chosen);
  },

  inView() {
    const size = this._bounds.getSize(), room = 20;
    const left = (this._left - room) / this._scale, right = (this._left + size.x + room) / this._scale;
    const top = (this._top - room) / this._scale, bottom = (this._top + size.y + room) / this._scale;
    return this.lots.filter((lot) => lot.at && lot.box[0] <= right && lot.box[2] >= left && lot.box[1] <= bottom && lot.box[3] >= top);
  },

  x(u) { return u * this._scale - this._left; },
  y(v) { return v * this._scale - this._top; },

  _trace(rings) {
    const pen = this._pen;
    pen.beginPath();
    for (const ring of rings) {
      pen.moveTo(this.x(ring[0]), this.y(ring[1]));
      for (let i = 2; i < ring.length; i += 2) pen.lineTo(this.x(ring[i]), this.y(ring[i + 1]));
      const end = ring.length - 2;
      if (end > 2 && ring[0] === ring[end] && ring[1] === ring[end + 1]) pen.closePath();
    }
  },

  _drawPlan(seen, zoom) {
    const layers = {};
    for (const lot of seen) for (const shape of lot.shapes) (layers[shape.layer] ||= []).push([lot, shape]);
    for (const layer of GROUND) for (const [lot, shape] of layers[layer] || []) this._drawGround(layer, lot, shape);
    for (const layer of ["easement", "wildfire_area"]) for (const [lot, shape] of layers[layer] || []) this._drawLimit(lot, shape);
    for (const [lot, shape] of layers.edge || []) this._line(lot, shape, this.ink.line, zoom >= 18 ? 2 : 1, []);
    for (const [lot, shape] of layers.bed || []) this._drawBed(lot, shape, zoom);
    if (this.chosen) for (const shape of this.chosen.shapes) if (shape.layer === "outline") this._line(this.chosen, shape, this.ink.act, 3, []);
    if (zoom >= 18) for (const [lot, shape] of layers.tree || []) this._drawTree(lot, shape);
    if (zoom < ZOOM.marks) return;
    for (const layer of ["hydrant", "mailbox", "utility"]) for (const [lot, shape] of layers[layer] || []) this._drawMark(layer, lot, shape);
    for (const lot of seen) for (const bed of lot.beds) if (bed.at && bed.own.length && bed.band !== BAND.skipped) this._fade(lot, () => warning(this._pen, this.x(bed.at[0]), this.y(bed.at[1]), this.ink));
  },

  /* The picture as it stands, cut to the map's frame, on white */
  picture() {
    const size = this._map.getSize(), paper = document.createElement("canvas"), ratio = this._ratio;
    paper.width = size.x * ratio;
    paper.height = size.y * ratio;
    const pen = paper.getContext("2d"), at = this._map.containerPointToLayerPoint([0, 0]).subtract(this._bounds.min);
    pen.fillStyle = "#fff";
    pen.fillRect(0, 0, paper.width, paper.height);
    pen.drawImage(this._container, -at.x * ratio, -at.y * ratio);
    return paper.toDataURL("image/png");
  },

  _drawLetters(lot) {
    lot.beds.forEach((bed, n) => { if (bed.at && lot.letters[n]) badge(this._pen, lot.letters[n], this.x(bed.at[0]), this.y(bed.at[1]), "#fff", this.ink.ink); });
  },

  _fade(lot, draw) {
    this._pen.globalAlpha = lot.dim ? 0.2 : 1;
    draw();
    this._pen.globalAlpha = 1;
  },

  _drawGround(layer, lot, shape) {
    const ink = this.ink, pen = this._pen;
    const fill = { street: ink.street, outline: ink.lot, strip: ink.strip, lawn: ink.lawn, house: ink.house, outbuilding: ink.shed, water: ink.water, old_bed: ink.planted }[layer] || ink.hard;
    this._trace(shape.rings);
    if (!this.overPicture) {
      pen.globalAlpha = lot.dim ? 0.45 : 1;
      pen.fillStyle = fill;
      pen.fill("evenodd");
      pen.globalAlpha = 1;
    }
    if (layer === "street" || layer === "strip") return;
    pen.lineWidth = layer === "outline" || layer === "house" ? 1.2 : 0.6;
    pen.strokeStyle = this.overPicture ? "#fff" : ink.soft;
    pen.globalAlpha = lot.dim ? 0.3 : layer === "lawn" ? 0.4 : 0.9;
    pen.stroke();
    pen.globalAlpha = 1;
  },

  _line(lot, shape, color, width, dash) {
    const pen = this._pen;
    this._trace(shape.rings);
    pen.setLineDash(dash);
    pen.lineWidth = width;
    pen.lineCap = "butt";
    pen.lineJoin = "round";
    pen.strokeStyle = color;
    this._fade(lot, () => pen.stroke());
    pen.setLineDash([]);
  },

  _drawLimit(lot, shape) { this._line(lot, shape, this.ink.alert, 1.2, [2, 4]); },

  _drawBed(lot, shape, zoom) {
    const bed = lot.beds[shape.bed], ink = this.ink, pen = this._pen;
    const band = bed ? bed.band : BAND.skipped;
    if (lot === this.chosen && shape.bed === this.chosenBed) {
      // The frame lies outside the bed, so that color and pattern stay in sight
      this._line(lot, shape, "#fff", 13, []);
      this._line(lot, shape, ink.act, 8, []);
    }
    this._fade(lot, () => {
      this._trace(shape.rings);
      pen.fillStyle = [ink.first, ink.third, ink.rest, ink.out, ink.skipped][band];
      pen.fill("evenodd");
      if (zoom >= 18 && this._hatches[band]) { pen.fillStyle = this._hatches[band]; pen.fill("evenodd"); }
    });
    this._line(lot, shape, ink.line, 1.2, band === BAND.skipped ? [4, 3] : []);
  },

  _drawTree(lot, shape) {
    const [u, v] = shape.rings[0];
    this._fade(lot, () => tree(this._pen, this.x(u), this.y(v), this.ink));
  },

  _drawMark(layer, lot, shape) {
    const letter = layer === "utility" ? UTILITY_LETTERS[shape.bed] || "U" : MARK_LETTERS[layer];
    this._fade(lot, () => badge(this._pen, letter, this.x(shape.rings[0][0]), this.y(shape.rings[0][1]), "#fff", this.ink.line));
  },

  /* Afar every lot is a mark; near by only those that have no drawing, and the ranks of the rest */
  _drawGlyphs(seen, zoom) {
    const pen = this._pen, isAfar = zoom < ZOOM.ranks, size = zoom >= 17 ? 8 : zoom >= 13 ? 6 : 4;
    for (const lot of seen) {
      const x = this.x(lot.at[0]), y = this.y(lot.at[1]);
      this._fade(lot, () => {
        if (isAfar || !lot.shapes.length) glyph(pen, lot.band, x, y, size, this.ink);
        if (!isAfar && lot.rank) badge(pen, String(lot.rank), x, lot.shapes.length ? y : y + 19, "#fffdf8", this.ink.ink);
      });
      if (lot === this.chosen && (isAfar || !lot.shapes.length)) {
        pen.beginPath();
        pen.arc(x, y, 14, 0, 7);
        pen.lineWidth = 3;
        pen.strokeStyle = this.ink.act;
        pen.stroke();
      }
    }
  },

  /* What lies under a point of the map's frame: {lot, bed}, bed -1 for the lot itself */
  under(point, reach) {
    const at = this._map.containerPointToLayerPoint(point).subtract(this._bounds.min);
    const seen = this.inView(), zoom = this._map.getZoom();
    let best = null, nearest = reach;
    const keep = (lot, bed, away) => { if (away <= nearest) { nearest = away; best = { lot, bed }; } };
    for (const lot of seen) {
      if (zoom >= ZOOM.plan) for (const shape of lot.shapes) if (shape.layer === "bed") keep(lot, shape.bed, this._away(shape.rings, at));
      if (zoom < ZOOM.ranks || !lot.shapes.length) keep(lot, -1, Math.hypot(this.x(lot.at[0]) - at.x, this.y(lot.at[1]) - at.y) - 6);
    }
    if (best || zoom < ZOOM.plan) return best;
    const lot = seen.find((one) => one.shapes.some((shape) => shape.layer === "outline" && this._away(shape.rings, at) === 0));
    return lot ? { lot, bed: -1 } : null;
  },

  /* Pixels from a point to an area, 0 inside it */
  _away(rings, at) {
    if (isWithin(rings, (at.x + this._left) / this._scale, (at.y + this._top) / this._scale)) return 0;
    let nearest = Infinity;
    for (const ring of rings) {
      for (let i = 2; i < ring.length; i += 2) {
        const ax = this.x(ring[i - 2]), ay = this.y(ring[i - 1]), bx = this.x(ring[i]), by = this.y(ring[i + 1]);
        const length = (bx - ax) ** 2 + (by - ay) ** 2;
        const along = length ? Math.max(0, Math.min(1, ((at.x - ax) * (bx - ax) + (at.y - ay) * (by - ay)) / length)) : 0;
        nearest = Math.min(nearest, Math.hypot(ax + along * (bx - ax) - at.x, ay + along * (by - ay) - at.y));
      }
    }
    return nearest;
  },
});
