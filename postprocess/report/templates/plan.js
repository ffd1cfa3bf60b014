// One plan: the model's cells coloured by class, lines of further layers, and what stands there.
// One hue a kind, from light to dark, so that order shows in grey too.
const RAMPS = {
  length: [[231, 241, 246], [24, 84, 126]],
  level: [[86, 70, 118], [240, 236, 245]],
  settlement: [[251, 240, 220], [120, 63, 14]],
  share: [[243, 240, 226], [92, 36, 84]],
  other: [[240, 240, 236], [70, 74, 60]],
};
const LINES = [["#7a2440", []], ["#2f4b1f", [7, 3]], ["#6b3576", [2, 3]], ["#8a5a00", [9, 3, 2, 3]]];

// Index of the interval of rising or falling edges that holds a value, -1 outside.
function interval(edges, value) {
  const falls = edges[0] > edges[edges.length - 1];
  let low = 0, high = edges.length - 1;
  if (falls ? value > edges[0] || value < edges[high] : value < edges[0] || value > edges[high]) return -1;
  while (high - low > 1) {
    const middle = (low + high) >> 1;
    if (falls ? value > edges[middle] : value >= edges[middle]) falls ? (high = middle) : (low = middle);
    else falls ? (low = middle) : (high = middle);
  }
  return low;
}
function colours(layer) {
  const [first, last] = RAMPS[layer.kind] || RAMPS.other, count = Math.max(layer.classes.length - (closed(layer) ? 2 : 1), 1);
  return layer.classes.map((_, i) => mix(first, last, Math.min(i / count, 1)));
}
// Whether no value lies above the last bound.
function closed(layer) {
  return layer.kind === "level" || layer.kind === "share" || !(layer.kind in RAMPS);
}
function classOf(bounds, value) {
  let found = -1;
  while (found + 1 < bounds.length && value >= bounds[found + 1]) found++;
  return found;
}

// Every layer of any plan once, in the order of the first plan that has it.
const LAYERS = [...new Map(DATA.plans.flatMap((item) => item.layers).map((layer) => [layer.name, layer])).values()];
// What is ticked, where the view stands, and the cross: the same for all plans of the page.
const look = { on: new Set(), shown: new Set(["wells", "points", "marks", "cuts"]), view: null, cross: null };

// Along one axis of the view: centre before each step of the local coordinate, weight of the next.
function steps(centres, edges, low, high, count) {
  const before = new Int32Array(count), weight = new Float32Array(count), own = new Int32Array(count);
  const last = centres.length - 1, falls = edges[0] > edges[edges.length - 1];
  for (let k = 0; k < count; k++) {
    const at = low + ((k + 0.5) * (high - low)) / count, inside = interval(edges, at);
    own[k] = inside;
    let i = Math.max(inside, 0);
    if (falls ? at > centres[i] : at < centres[i]) i--;
    i = Math.min(Math.max(i, 0), Math.max(last - 1, 0));
    const next = Math.min(i + 1, last);
    before[k] = i;
    weight[k] = next > i ? Math.min(Math.max((at - centres[i]) / (centres[next] - centres[i]), 0), 1) : 0;
  }
  return { before, weight, own, low, scale: count / (high - low), last };
}

function label(pen, text, x, y, colour) {
  pen.font = "12px system-ui, sans-serif";
  pen.textAlign = "center";
  pen.lineJoin = "round";
  pen.strokeStyle = PAPER;
  pen.lineWidth = 3.5;
  pen.strokeText(text, x, y);
  pen.fillStyle = colour;
  pen.fillText(text, x, y);
}

function drawNorth(pen, wide) {
  const x = wide - 22;
  pen.fillStyle = "rgba(255,255,255,.85)";
  pen.fillRect(x - 14, 6, 28, 44);
  pen.strokeStyle = INK;
  pen.lineWidth = 1.6;
  pen.beginPath();
  pen.moveTo(x, 46); pen.lineTo(x, 24); pen.moveTo(x - 5, 31); pen.lineTo(x, 24); pen.lineTo(x + 5, 31);
  pen.stroke();
  label(pen, "N", x, 19, INK);
}

function holds(corners, x, y) {
  let inside = false;
  for (let i = 0, j = corners.length - 1; i < corners.length; j = i++) {
    const [a, b] = corners[i], [c, d] = corners[j];
    if (b > y !== d > y && x < ((c - a) * (y - b)) / (d - b) + a) inside = !inside;
  }
  return inside;
}

function makePlan(PLAN) {
  const GRID = PLAN.grid, COLUMNS = GRID.x.length - 1, ROWS = GRID.y.length - 1;
  const TURN = (GRID.rotation * Math.PI) / 180, COS = Math.cos(TURN), SIN = Math.sin(TURN);
  const CENTRE_X = GRID.x.slice(1).map((x, i) => (x + GRID.x[i]) / 2);
  const CENTRE_Y = GRID.y.slice(1).map((y, i) => (y + GRID.y[i]) / 2);
  const cache = new Map(), filled = new WeakMap();

  function toLocal(x, y) {
    const dx = x - GRID.corner[0], dy = y - GRID.corner[1];
    return [COS * dx + SIN * dy, -SIN * dx + COS * dy];
  }
  function toPlan(x, y) {
    return [GRID.corner[0] + COS * x - SIN * y, GRID.corner[1] + SIN * x + COS * y];
  }
  function cellAt(x, y) {
    const [lx, ly] = toLocal(x, y), column = interval(GRID.x, lx), row = interval(GRID.y, ly);
    return column < 0 || row < 0 ? -1 : row * COLUMNS + column;
  }
  function values(layer, stage) {
    const folder = DATA.stages[stage].folder, key = layer.name + "/" + folder;
    if (!(folder in layer.stages)) return null;
    if (!cache.has(key)) cache.set(key, unpack(layer.stages[folder], layer.low, layer.high));
    return cache.get(key);
  }
  function fillLayer(canvas, pen, wide, high, ratio, view, layer, stage) {
    const field = values(layer, stage);
    if (!field) return;
    const w = canvas.width, h = canvas.height;
    // Only a change of layer, stage or view asks for the colours anew; the pointer does not.
    const key = [layer.name, stage, view.x, view.y, view.scale, w, h].join("|");
    if (filled.has(canvas) && filled.get(canvas).key === key) { pen.putImageData(filled.get(canvas).image, 0, 0); return; }
    const image = pen.createImageData(w, h);
    const out = new Uint32Array(image.data.buffer), bounds = layer.classes;
    const paint = colours(layer).map(([r, g, b]) => (255 << 24) | (b << 16) | (g << 8) | r);
    const step = 1 / (view.scale * ratio);
    const [x0, y0] = toLocal(view.x - (w / 2) * step, view.y + (h / 2) * step);
    const ax = COS * step, bx = -SIN * step, ay = -SIN * step, by = -COS * step;
    const xs = [x0, x0 + ax * w, x0 + bx * h, x0 + ax * w + bx * h];
    const ys = [y0, y0 + ay * w, y0 + by * h, y0 + ay * w + by * h];
    const sx = steps(CENTRE_X, GRID.x, Math.min(...xs), Math.max(...xs), 3 * Math.max(w, h));
    const sy = steps(CENTRE_Y, GRID.y, Math.min(...ys), Math.max(...ys), 3 * Math.max(w, h));
    const most = 3 * Math.max(w, h) - 1;
    for (let j = 0; j < h; j++) {
      for (let i = 0; i < w; i++) {
        const u = Math.min(Math.max(((x0 + ax * i + bx * j - sx.low) * sx.scale) | 0, 0), most);
        const v = Math.min(Math.max(((y0 + ay * i + by * j - sy.low) * sy.scale) | 0, 0), most);
        if (sx.own[u] < 0 || sy.own[v] < 0) continue;
        const own = field[sy.own[v] * COLUMNS + sx.own[u]];
        if (own !== own) continue;
        const c = sx.before[u], d = Math.min(c + 1, sx.last);
        const r = sy.before[v] * COLUMNS, s = Math.min(sy.before[v] + 1, sy.last) * COLUMNS;
        const p = sx.weight[u], q = sy.weight[v];
        let value = (1 - q) * ((1 - p) * field[r + c] + p * field[r + d]) + q * ((1 - p) * field[s + c] + p * field[s + d]);
        if (value !== value) value = own;
        const at = classOf(bounds, value);
        if (at >= 0) out[j * w + i] = paint[at];
      }
    }
    filled.set(canvas, { key, image });
    pen.putImageData(image, 0, 0);
  }
  // Straight pieces of the line of one level between cell centres, in plan metres.
  function pieces(field, level) {
    const found = [];
    const cross = (i, j, k, l) => {
      const a = field[j * COLUMNS + i], b = field[l * COLUMNS + k], t = (level - a) / (b - a);
      return toPlan(CENTRE_X[i] + t * (CENTRE_X[k] - CENTRE_X[i]), CENTRE_Y[j] + t * (CENTRE_Y[l] - CENTRE_Y[j]));
    };
    for (let j = 0; j + 1 < ROWS; j++) {
      for (let i = 0; i + 1 < COLUMNS; i++) {
        const n = j * COLUMNS + i, corner = [field[n], field[n + 1], field[n + COLUMNS + 1], field[n + COLUMNS]];
        if (corner.some((value) => value !== value)) continue;
        const above = corner.map((value) => value >= level), met = [];
        if (above[0] !== above[1]) met.push(cross(i, j, i + 1, j));
        if (above[1] !== above[2]) met.push(cross(i + 1, j, i + 1, j + 1));
        if (above[2] !== above[3]) met.push(cross(i, j + 1, i + 1, j + 1));
        if (above[3] !== above[0]) met.push(cross(i, j, i, j + 1));
        for (let k = 0; k + 1 < met.length; k += 2) found.push([met[k], met[k + 1]]);
      }
    }
    return found;
  }
  function lineLayer(pen, wide, high, view, layer, stage, order) {
    const field = values(layer, stage), first = order < 0;
    const [colour, dash] = first ? ["#1c2730", []] : LINES[order % LINES.length];
    if (!field) return;
    const px = (p) => [wide / 2 + (p[0] - view.x) * view.scale, high / 2 - (p[1] - view.y) * view.scale];
    for (const level of layer.classes) {
      const key = [layer.name, stage, level].join("|");
      if (!cache.has(key)) cache.set(key, pieces(field, level));
      let best = null;
      pen.strokeStyle = colour;
      pen.lineWidth = first ? 0.6 : 1.6;
      pen.setLineDash(dash);
      pen.beginPath();
      for (const [a, b] of cache.get(key)) {
        const [x, y] = px(a), [u, v] = px(b);
        pen.moveTo(x, y);
        pen.lineTo(u, v);
        const side = x - y * (order % 2 ? -0.6 : 1.1);
        if (x > 30 && x < wide - 40 && y > 20 && y < high - 30 && (!best || side > best[2])) best = [x, y, side];
      }
      pen.stroke();
      pen.setLineDash([]);
      if (best) label(pen, short(level), best[0], best[1] + 4, colour);
    }
  }
  function drawPlan(canvas, view, stage, small) {
    const { pen, wide, high, ratio } = sharp(canvas);
    pen.clearRect(0, 0, wide, high);
    LAYERS.filter((layer) => look.on.has(layer.name)).forEach((chosen, i) => {
      const layer = PLAN.layers.find((item) => item.name === chosen.name);
      if (!layer) return;
      if (i === 0) fillLayer(canvas, pen, wide, high, ratio, view, layer, stage);
      if (i || !small) lineLayer(pen, wide, high, view, layer, stage, i - 1);
    });
    const px = (p) => [wide / 2 + (p[0] - view.x) * view.scale, high / 2 - (p[1] - view.y) * view.scale];
    const path = (corners, close) => {
      pen.beginPath();
      corners.forEach((corner, i) => (i ? pen.lineTo(...px(corner)) : pen.moveTo(...px(corner))));
      if (close) pen.closePath();
    };
    pen.lineJoin = "round";
    path(PLAN.pit, true);
    pen.strokeStyle = PAPER;
    pen.lineWidth = 4;
    pen.stroke();
    pen.strokeStyle = INK;
    pen.lineWidth = small ? 1.2 : 1.8;
    pen.stroke();
    for (const wall of PLAN.walls) {
      if (stage < wall.from) continue;
      path(wall.line, false);
      pen.strokeStyle = WALL;
      pen.lineWidth = wall.holds_water ? 3 : 1.5;
      pen.setLineDash(wall.holds_water ? [] : [5, 3]);
      pen.stroke();
      pen.setLineDash([]);
    }
    if (!small && look.shown.has("cuts")) for (const cut of PLAN.cuts) drawCut(pen, px, cut);
    for (const thing of PLAN.things) if (look.shown.has(thing.group)) drawThing(pen, px, path, thing, stage, small, wide);
    if (!small) {
      drawScale(pen, view, wide, high);
      drawNorth(pen, wide);
      if (look.cross) {
        const [x, y] = px(look.cross);
        pen.strokeStyle = INK;
        pen.lineWidth = 1;
        pen.beginPath();
        pen.moveTo(x - 11, y); pen.lineTo(x + 11, y);
        pen.moveTo(x, y - 11); pen.lineTo(x, y + 11);
        pen.stroke();
      }
    }
  }
  function drawCut(pen, px, cut) {
    const [a, b] = cut.line.map(px);
    pen.strokeStyle = INK;
    pen.lineWidth = 1;
    pen.setLineDash([10, 3, 2, 3]);
    pen.beginPath();
    pen.moveTo(...a);
    pen.lineTo(...b);
    pen.stroke();
    pen.setLineDash([]);
    label(pen, cut.letter, a[0], a[1] + 4, INK);
    label(pen, cut.letter + "′", b[0], b[1] + 4, INK);
  }
  function drawThing(pen, px, path, thing, stage, small, wide) {
    const [x, y] = px(thing.corners[0]), size = small ? 2.2 : 4.2;
    pen.strokeStyle = INK;
    pen.lineWidth = 1.2;
    if (thing.corners.length > 1) {
      path(thing.corners, false);
      pen.strokeStyle = PAPER;
      pen.lineWidth = small ? 2.2 : 3.6;
      pen.stroke();
      pen.lineWidth = small ? 1 : 1.6;
      pen.strokeStyle = "#3f3a7a";
      pen.stroke();
      return;
    }
    const note = thing.notes[DATA.stages[stage].folder] || "";
    pen.beginPath();
    if (thing.group === "wells") pen.arc(x, y, size, 0, 7);
    else if (thing.group === "borings") {
      pen.moveTo(x - size, y - size); pen.lineTo(x + size, y + size);
      pen.moveTo(x + size, y - size); pen.lineTo(x - size, y + size);
    } else {
      pen.moveTo(x, y - size - 1); pen.lineTo(x + size + 1, y);
      pen.lineTo(x, y + size + 1); pen.lineTo(x - size - 1, y); pen.closePath();
    }
    if (thing.group !== "borings") {
      pen.fillStyle = thing.group === "wells" && !note.startsWith("not used") && note ? "#ffc861" : PAPER;
      pen.fill();
    }
    pen.stroke();
    if (!small && wide > 420 && thing.group === "points") label(pen, thing.name, x, y - 9, INK);
  }
  function drawScale(pen, view, wide, high) {
    const unit = PLAN.metres_per_unit, span = niceStep((wide / view.scale / unit) * 0.22, 1);
    const long = span * unit * view.scale, x = 14, y = high - 16;
    pen.fillStyle = "rgba(255,255,255,.85)";
    pen.fillRect(x - 8, y - 20, long + 20, 30);
    pen.strokeStyle = INK;
    pen.lineWidth = 2;
    pen.beginPath();
    pen.moveTo(x, y - 5); pen.lineTo(x, y); pen.lineTo(x + long, y); pen.lineTo(x + long, y - 5);
    pen.stroke();
    label(pen, short(span) + " " + PLAN.crs_unit, x + long / 2, y - 5, INK);
  }
  function nearest(x, y) {
    const reach = 14 / look.view.scale;
    let best = null, least = reach;
    for (const thing of PLAN.things) {
      if (!look.shown.has(thing.group)) continue;
      if (thing.corners.length > 2 && holds(thing.corners, x, y)) return thing;
      for (const corner of thing.corners) {
        const away = Math.hypot(corner[0] - x, corner[1] - y);
        if (away < least) { least = away; best = thing; }
      }
    }
    return best;
  }
  // Value of a layer in the cell at a place, NaN where there is none.
  function valueAt(name, stage, x, y) {
    const layer = PLAN.layers.find((item) => item.name === name);
    const field = layer && values(layer, stage), at = cellAt(x, y);
    return field && at >= 0 ? field[at] : NaN;
  }
  const corners = [[0, 0], [1, 0], [1, 1], [0, 1]].map(([i, j]) => toPlan(GRID.x[i * COLUMNS], GRID.y[j * ROWS]));
  return { ...PLAN, corners, valueAt, nearest, draw: drawPlan };
}
