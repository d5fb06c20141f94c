/* The drawing sheet over the map: squared paper in feet, what the book has, what is drawn, and what it measures. */

const WORLD_PX = 256; // width of the whole world at zoom 0, as Leaflet has it
const EQUATOR_FT = 2 * Math.PI * AXIS_FT;
const SQUARES_FT = [1, 5, 10, 50, 100, 500, 1000];
const LETTERS = { hydrant: "H", mailbox: "M", transformer: "T", gas_meter: "G", electric_meter: "E", water_meter: "W", pole: "P" };
/* From the ground up: what lies on top is drawn last */
const ORDER = ["street", "property", "lawn", "sidewalk", "drive", "walk", "patio", "bed", "water", "outbuilding", "house", "wildfire_area", "easement", "street_centerline", "edge", "tree", "hydrant", "mailbox", "utility"];
const LAYER = new Map(ORDER.map((kind, at) => [kind, at]));

function colors() {
  const style = getComputedStyle(document.documentElement);
  const names = ["paper", "sheet", "ink", "soft", "act", "lot", "lawn", "house", "shed", "hard", "street", "water", "planted", "line", "alert", "square", "square-bold"];
  return Object.fromEntries(names.map((name) => [name, style.getPropertyValue("--" + name).trim()]));
}

/* Longitude and latitude to places in a world of width 1, and back */
function toWorld([lon, lat]) {
  return [lon / 360 + 0.5, 0.5 - Math.log(Math.tan(Math.PI / 4 + (lat * RADIAN) / 2)) / (2 * Math.PI)];
}
function fromWorld([u, v]) {
  return [(u - 0.5) * 360, (Math.atan(Math.exp((0.5 - v) * 2 * Math.PI)) * 2 - Math.PI / 2) / RADIAN];
}

const laidOut = new WeakMap();

/* A shape's rings in the world, and the box round them */
function layOut(shape) {
  if (!laidOut.has(shape)) {
    const rings = shape.rings.map((ring) => ring.map(toWorld)), box = [Infinity, Infinity, -Infinity, -Infinity];
    for (const ring of rings) for (const [u, v] of ring) { box[0] = Math.min(box[0], u); box[1] = Math.min(box[1], v); box[2] = Math.max(box[2], u); box[3] = Math.max(box[3], v); }
    laidOut.set(shape, { rings, box });
  }
  return laidOut.get(shape);
}

function isWithin(rings, [x, y]) {
  let isInside = false;
  for (const ring of rings)
    for (let i = 0, j = ring.length - 1; i < ring.length; j = i++)
      if (ring[i][1] > y !== ring[j][1] > y && x < ((ring[j][0] - ring[i][0]) * (y - ring[i][1])) / (ring[j][1] - ring[i][1]) + ring[i][0]) isInside = !isInside;
  return isInside;
}

class Sheet {
  constructor(map, look) {
    this.map = map;
    this.look = look; // what is to be drawn now: {beneath, shapes, chosen, pending, ...}
    this.ink = colors();
    this.overPicture = false;
    this.paper = null; // {plane, at: [x, y] in feet where the squares begin}
    this.canvas = document.createElement("canvas");
    this.canvas.className = "sheet-canvas";
    map.getContainer().append(this.canvas);
    this.pen = this.canvas.getContext("2d");
    map.on("move zoom resize viewreset", () => this.redraw());
    this.waiting = false;
  }

  redraw() {
    if (this.waiting) return;
    this.waiting = true;
    window.requestAnimationFrame(() => { this.waiting = false; this.draw(); });
  }

  /* --- places ----------------------------------------------------------- */

  lookNow() {
    const size = this.map.getSize(), ratio = Math.min(window.devicePixelRatio || 1, 3);
    if (this.canvas.width !== Math.round(size.x * ratio) || this.canvas.height !== Math.round(size.y * ratio)) {
      this.canvas.width = Math.round(size.x * ratio);
      this.canvas.height = Math.round(size.y * ratio);
    }
    const corner = this.map.getPixelBounds().min;
    return { width: size.x, height: size.y, ratio, scale: WORLD_PX * 2 ** this.map.getZoom(), left: corner.x, top: corner.y };
  }

  get view() { return this.lookNow(); }

  pixel(place) { return this.onScreen(toWorld(place), this.view); }
  place([x, y], view = this.view) { return fromWorld([(x + view.left) / view.scale, (y + view.top) / view.scale]); }
  onScreen([u, v], view) { return [u * view.scale - view.left, v * view.scale - view.top]; }
  pixelsPerFoot(view = this.view) {
    const [, lat] = this.place([view.width / 2, view.height / 2], view);
    return view.scale / (EQUATOR_FT * Math.cos(lat * RADIAN));
  }

  isSeen(shape, view) {
    const [west, north, east, south] = layOut(shape).box, room = 30;
    return west * view.scale - view.left < view.width + room && east * view.scale - view.left > -room && north * view.scale - view.top < view.height + room && south * view.scale - view.top > -room;
  }

  /* A speck of less than two pixels is not worth the time that a whole city of them takes */
  isLarge(shape, view) {
    const [west, north, east, south] = layOut(shape).box;
    return Math.max(east - west, south - north) * view.scale > 2 || kindOf.get(shape.kind).drawn_as === "point";
  }

  /* --- all of it ---------------------------------------------------------- */

  draw() {
    const view = this.view, pen = this.pen, look = this.look();
    pen.setTransform(view.ratio, 0, 0, view.ratio, 0, 0);
    pen.clearRect(0, 0, view.width, view.height);
    this.labels = [];
    if (!this.overPicture) this.drawPaper(view);
    const sorted = (shapes) => shapes.filter((shape) => this.isSeen(shape, view) && this.isLarge(shape, view)).sort((a, b) => LAYER.get(a.kind) - LAYER.get(b.kind));
    pen.globalAlpha = 0.55;
    for (const shape of sorted(look.beneath)) this.drawShape(shape, view, { isBeneath: true });
    pen.globalAlpha = 1;
    for (const shape of look.beneath) if (look.client && shape.client === look.client && shape.kind === "property") { this.trace(shape, view, true); this.stroke(this.ink.act, 2, [9, 5]); }
    for (const shape of sorted(look.shapes)) this.drawShape(shape, view, {});
    if (look.isOverview) this.drawClients(view, look);
    if (look.chosen) this.drawChosen(look, view);
    if (look.pending) this.drawPending(look.pending, view);
    if (look.aim) this.drawAim(view);
    if (!look.isOverview) this.drawLabels(look, view);
  }

  drawPaper(view) {
    const foot = this.pixelsPerFoot(view), paper = this.paper;
    const fine = SQUARES_FT.find((feet) => feet * foot >= 7);
    if (!paper || !fine || foot * 1000 < 14) return;
    const corners = [[0, 0], [view.width, 0], [view.width, view.height], [0, view.height]].map((corner) => paper.plane.feet(this.place(corner, view)));
    const [least, most] = [Math.min, Math.max].map((pick) => [0, 1].map((axis) => pick(...corners.map((corner) => corner[axis])) - paper.at[axis]));
    for (const [step, color, width] of [[fine, this.ink.square, 0.7], [fine * 10, this.ink["square-bold"], 1]]) {
      this.pen.beginPath();
      for (const axis of [0, 1])
        for (let at = Math.ceil(least[axis] / step) * step; at <= most[axis]; at += step)
          for (const [end, verb] of [[least, "moveTo"], [most, "lineTo"]]) {
            const feet = axis === 0 ? [at, end[1]] : [end[0], at];
            this.pen[verb](...this.onScreen(toWorld(paper.plane.degrees([feet[0] + paper.at[0], feet[1] + paper.at[1]])), view));
          }
      this.pen.strokeStyle = color;
      this.pen.lineWidth = width;
      this.pen.stroke();
    }
  }

  trace(shape, view, isClosed) {
    this.pen.beginPath();
    for (const ring of layOut(shape).rings) {
      ring.forEach((point, at) => this.pen[at ? "lineTo" : "moveTo"](...this.onScreen(point, view)));
      if (isClosed) this.pen.closePath();
    }
  }

  /* --- shapes --------------------------------------------------------------- */

  drawShape(shape, view, { isBeneath = false }) {
    const type = kindOf.get(shape.kind).drawn_as;
    if (type === "point") return this.drawMark(shape, view, isBeneath);
    if (type === "line") return this.drawLine(shape, view, isBeneath);
    const ink = this.ink, pen = this.pen, isLimit = shape.kind === "easement" || shape.kind === "wildfire_area";
    this.trace(shape, view, true);
    pen.save();
    if (!isLimit) {
      pen.fillStyle = { street: ink.street, property: ink.lot, lawn: ink.lawn, house: ink.house, outbuilding: ink.shed, water: ink.water, bed: ink.planted }[shape.kind] || ink.hard;
      pen.globalAlpha *= this.overPicture ? (isBeneath ? 0.12 : 0.35) : 0.85;
      pen.fill("evenodd");
    }
    pen.restore();
    if (this.overPicture) this.stroke("#fff", isBeneath ? 2.5 : 4, []);
    this.stroke(isLimit ? ink.alert : isBeneath ? ink.soft : ink.line, isBeneath ? 1 : shape.kind === "property" ? 2.2 : 1.6, isLimit ? [3, 4] : []);
  }

  stroke(color, width, dash) {
    const pen = this.pen;
    pen.strokeStyle = color;
    pen.lineWidth = width;
    pen.lineJoin = "round";
    pen.setLineDash(dash);
    pen.stroke();
    pen.setLineDash([]);
  }

  drawLine(shape, view, isBeneath) {
    this.trace(shape, view, false);
    if (this.overPicture || !isBeneath) this.stroke("#fff", isBeneath ? 4 : 7, []);
    this.stroke(shape.kind === "edge" ? this.ink.alert : this.ink.line, isBeneath ? 2 : 3.5, shape.kind === "edge" ? [] : [12, 5, 2, 5]);
  }

  drawMark(shape, view, isBeneath) {
    const [x, y] = this.onScreen(layOut(shape).rings[0][0], view), pen = this.pen, ink = this.ink;
    if (isBeneath && this.pixelsPerFoot(view) < 0.6) return;
    if (!isBeneath) this.labels.push([x - 11, y - 11, x + 11, y + 11]); // no label covers a mark
    if (shape.kind === "tree") {
      for (const [size, fill] of [[9, ink.planted], [2.2, ink.line]]) this.disc(x, y, size, fill, ink.line);
      return;
    }
    this.disc(x, y, 11, "#fff", ink.line);
    pen.fillStyle = ink.line;
    pen.font = "650 13px system-ui, sans-serif";
    pen.textAlign = "center";
    pen.textBaseline = "middle";
    pen.fillText(LETTERS[shape.what || shape.more || shape.kind] || "?", x, y + 0.5);
  }

  disc(x, y, radius, fill, line, width = 1.6) {
    const pen = this.pen;
    pen.beginPath();
    pen.arc(x, y, radius, 0, 7);
    pen.fillStyle = fill;
    pen.fill();
    pen.lineWidth = width;
    pen.strokeStyle = line;
    pen.stroke();
  }

  /* Afar a mark a client; near by only those of whom nothing is drawn */
  drawClients(view, look) {
    const isNear = this.pixelsPerFoot(view) > 0.3;
    for (const { at, isDrawn } of look.marks) {
      if (isNear && isDrawn) continue;
      const [x, y] = this.onScreen(toWorld(at), view);
      if (x < -9 || y < -9 || x > view.width + 9 || y > view.height + 9) continue;
      this.disc(x, y, 5, isDrawn ? this.ink.act : this.ink.sheet, isDrawn ? "#fff" : this.ink.act, 2);
    }
  }

  /* --- the shape in hand ------------------------------------------------------ */

  drawChosen(look, view) {
    const shape = look.chosen, type = drawnAs(shape), ink = this.ink;
    if (type === "point") return this.ring(this.onScreen(layOut(shape).rings[0][0], view), 17);
    this.trace(shape, view, type === "area");
    this.stroke("#fff", 6, []);
    this.stroke(ink.act, 3, []);
    for (const handle of look.handles(view)) {
      const [x, y] = handle.at;
      if (handle.what !== "side") this.labels.push([x - 10, y - 10, x + 10, y + 10]);
      if (handle.what === "corner") this.disc(x, y, look.isTouch ? 10 : 7, handle.isActive ? ink.act : "#fff", ink.act, 3);
      if (handle.what === "side") { this.disc(x, y, look.isTouch ? 8 : 6, "#fff", ink.act, 1.5); this.cross(x, y, 3.5, ink.act); }
      if (handle.what === "move") { this.disc(x, y, look.isTouch ? 15 : 12, ink.act, "#fff", 2); this.arrows(x, y, look.isTouch ? 10 : 8); }
    }
  }

  ring([x, y], radius) {
    this.pen.beginPath();
    this.pen.arc(x, y, radius, 0, 7);
    this.stroke("#fff", 6, []);
    this.stroke(this.ink.act, 3, []);
  }

  cross(x, y, reach, color) {
    this.pen.beginPath();
    this.pen.moveTo(x - reach, y); this.pen.lineTo(x + reach, y);
    this.pen.moveTo(x, y - reach); this.pen.lineTo(x, y + reach);
    this.stroke(color, 2, []);
  }

  arrows(x, y, reach) {
    this.cross(x, y, reach - 1, "#fff");
    this.pen.beginPath();
    for (const [dx, dy] of [[1, 0], [-1, 0], [0, 1], [0, -1]]) {
      const tip = [x + dx * reach, y + dy * reach], back = reach - 4;
      this.pen.moveTo(x + dx * back - dy * 3, y + dy * back - dx * 3);
      this.pen.lineTo(...tip);
      this.pen.lineTo(x + dx * back + dy * 3, y + dy * back + dx * 3);
    }
    this.stroke("#fff", 1.8, []);
  }

  drawPending(pending, view) {
    const ink = this.ink, pen = this.pen, points = pending.points.map((point) => this.onScreen(toWorld(point), view));
    const next = pending.next ? this.onScreen(toWorld(pending.next.at), view) : null;
    const all = next ? [...points, next] : points;
    if (pending.type === "area" && all.length > 2) {
      pen.beginPath();
      all.forEach(([x, y], at) => pen[at ? "lineTo" : "moveTo"](x, y));
      pen.globalAlpha = 0.2;
      pen.fillStyle = ink.act;
      pen.fill();
      pen.globalAlpha = 1;
    }
    this.thread(points, "#fff", 6, []);
    this.thread(points, ink.act, 3, []);
    if (next && points.length) { this.thread([points[points.length - 1], next], "#fff", 5, []); this.thread([points[points.length - 1], next], ink.act, 2.5, [7, 5]); }
    points.forEach(([x, y], at) => this.disc(x, y, pending.isTouch ? 10 : at === 0 ? 8 : 6, at === 0 ? ink.act : "#fff", at === 0 ? "#fff" : ink.act, 3));
    if (next) this.drawNext(next, pending.next.snap);
  }

  thread(points, color, width, dash) {
    this.pen.beginPath();
    points.forEach(([x, y], at) => this.pen[at ? "lineTo" : "moveTo"](x, y));
    this.stroke(color, width, dash);
  }

  /* A square says: on a corner that is there; a diamond: on a side that is there */
  drawNext([x, y], snap) {
    this.pen.beginPath();
    if (snap === "corner") this.pen.rect(x - 9, y - 9, 18, 18);
    else if (snap === "side") { this.pen.moveTo(x, y - 11); this.pen.lineTo(x + 11, y); this.pen.lineTo(x, y + 11); this.pen.lineTo(x - 11, y); this.pen.closePath(); }
    else this.pen.arc(x, y, 4, 0, 7);
    this.stroke("#fff", 5, []);
    this.stroke(this.ink.act, 2.2, []);
  }

  drawAim(view) {
    const x = view.width / 2, y = view.height / 2;
    for (const [color, width] of [["#fff", 5], [this.ink.act, 2]]) {
      this.pen.beginPath();
      for (const [dx, dy] of [[1, 0], [-1, 0], [0, 1], [0, -1]]) { this.pen.moveTo(x + dx * 6, y + dy * 6); this.pen.lineTo(x + dx * 24, y + dy * 24); }
      this.stroke(color, width, []);
    }
  }

  /* --- labels: what each shape measures, where it has room --------------------- */

  drawLabels(look, view) {
    if (look.pending) this.labelPending(look.pending, view);
    if (look.chosen && drawnAs(look.chosen) !== "point") this.labelSides(look.chosen.rings, measure(look.chosen).sides, drawnAs(look.chosen) === "area", view);
    const foot = this.pixelsPerFoot(view);
    const wanted = look.shapes.filter((shape) => this.isSeen(shape, view) && drawnAs(shape) !== "point").map((shape) => ({ shape, area: measure(shape).area_ft2 }));
    wanted.sort((a, b) => Number(b.shape === look.chosen) - Number(a.shape === look.chosen) || a.area - b.area || a.shape.n - b.shape.n);
    for (const { shape, area } of wanted) {
      const isChosen = shape === look.chosen;
      if (!isChosen && (drawnAs(shape) === "area" ? Math.sqrt(area) : measure(shape).length_ft) * foot < 34) continue;
      this.labelShape(shape, view, { isChosen, smaller: wanted.filter((one) => one.area > 0 && one.area < area).map((one) => one.shape) });
    }
  }

  labelPending(pending, view) {
    const points = pending.next ? [...pending.points, pending.next.at] : pending.points;
    if (points.length < 2) return;
    const inFeet = points.map((point) => planeAt(points[0]).feet(point));
    this.labelSides([points], [sidesOf(inFeet, false)], false, view);
    if (pending.type !== "area" || points.length < 3) return;
    const middle = [0, 1].map((axis) => points.reduce((sum, point) => sum + toWorld(point)[axis], 0) / points.length);
    const [x, y] = this.onScreen(middle, view);
    this.putLabel(areaText(Math.abs(signedArea(inFeet))), [0, -26, 26, -52, 52].map((away) => [x, y + away]), true);
  }

  labelSides(rings, sides, isClosed, view) {
    rings.forEach((ring, at) => {
      const points = ring.map((point) => this.onScreen(toWorld(point), view));
      const middle = [0, 1].map((axis) => points.reduce((sum, point) => sum + point[axis], 0) / points.length);
      sides[at].forEach((feet, n) => {
        const a = points[n], b = points[(n + 1) % points.length], long = Math.hypot(b[0] - a[0], b[1] - a[1]);
        if (long < 26 || (!isClosed && n + 1 >= points.length)) return;
        const half = [(a[0] + b[0]) / 2, (a[1] + b[1]) / 2], out = [(b[1] - a[1]) / long, (a[0] - b[0]) / long];
        const sign = (half[0] - middle[0]) * out[0] + (half[1] - middle[1]) * out[1] < 0 ? -1 : 1;
        this.putLabel(feetText(feet), [24, 32, -24].map((away) => [half[0] + out[0] * sign * away, half[1] + out[1] * sign * away * 0.8]), true);
      });
    });
  }

  labelShape(shape, view, { isChosen, smaller }) {
    const { rings, box } = layOut(shape), size = measure(shape);
    const text = nameOf(shape) + " " + (drawnAs(shape) === "area" ? areaText(size.area_ft2) : feetText(size.length_ft));
    const [west, north] = this.onScreen([box[0], box[1]], view), [east, south] = this.onScreen([box[2], box[3]], view);
    const spots = [];
    for (const y of [0.5, 0.4, 0.6, 0.3, 0.7, 0.15, 0.85]) for (const x of [0.5, 0.3, 0.7]) spots.push([west + (east - west) * x, north + (south - north) * y]);
    const inWorld = (spot) => [(spot[0] + view.left) / view.scale, (spot[1] + view.top) / view.scale];
    const isIn = (spot) => drawnAs(shape) !== "area" || isWithin(rings, inWorld(spot));
    // Rather not on what lies upon it
    const isCovered = (spot) => Number(smaller.some((one) => isWithin(layOut(one).rings, inWorld(spot))));
    spots.sort((a, b) => isCovered(a) - isCovered(b));
    const beside = isChosen ? [[(west + east) / 2, south + 54], [(west + east) / 2, north - 54], [east + 90, (north + south) / 2], [west - 90, (north + south) / 2]] : [];
    this.putLabel(text, [...spots.filter(isIn), ...beside], isChosen);
  }

  /* Put a text at the first spot where it covers no other, or nowhere */
  putLabel(text, spots, isInHand) {
    const pen = this.pen;
    pen.font = "600 14px system-ui, sans-serif";
    const half = pen.measureText(text).width / 2 + 6, tall = 11;
    const isFree = ([x, y]) => !this.labels.some(([left, top, right, bottom]) => x - half < right && x + half > left && y - tall < bottom && y + tall > top);
    const spot = spots.find(isFree);
    if (!spot) return;
    const [x, y] = spot;
    this.labels.push([x - half, y - tall, x + half, y + tall]);
    pen.beginPath();
    pen.roundRect(x - half, y - tall, half * 2, tall * 2, 5);
    pen.fillStyle = isInHand ? this.ink.act : "rgb(255 253 248 / 88%)";
    pen.fill();
    pen.fillStyle = isInHand ? "#fff" : this.ink.ink;
    pen.textAlign = "center";
    pen.textBaseline = "middle";
    pen.fillText(text, x, y + 0.5);
  }
}
