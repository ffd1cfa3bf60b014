// The section along the chosen line: soils, what is dug away, water and heads of the stage.
const SECTION = DATA.section;
const AQUIFERS = ["#6b3576", "#8a5a00", "#2f6b4f", "#7a2440"];
const section = { cut: 0, ready: new Map(), frame: null };

function cutNow() {
  if (!section.ready.has(section.cut)) {
    const raw = SECTION.cuts[section.cut];
    section.ready.set(section.cut, {
      ...raw,
      edges: unpack(raw.edges, raw.low, raw.high),
      unit: bytes(raw.unit),
      active: raw.active.map(bytes),
      heads: raw.heads.map((text) => unpack(text, raw.head_low, raw.head_high)),
      count: raw.s.length - 1,
    });
  }
  return section.ready.get(section.cut);
}

// A soil's look: its colour, and dots, strokes aslant or level strokes by its permeability.
function soilPaint(pen, unit) {
  const tile = document.createElement("canvas");
  tile.width = tile.height = 12;
  const tip = tile.getContext("2d");
  tip.fillStyle = unit.fill;
  tip.fillRect(0, 0, 12, 12);
  tip.strokeStyle = tip.fillStyle = "rgba(28,39,48,.45)";
  tip.beginPath();
  if (unit.hatch === "dots") {
    for (const [x, y] of [[3, 3], [9, 9]]) { tip.moveTo(x, y); tip.arc(x, y, 0.9, 0, 7); }
    tip.fill();
  } else if (unit.hatch === "level") {
    tip.moveTo(1, 3); tip.lineTo(8, 3); tip.moveTo(5, 9); tip.lineTo(12, 9);
    tip.stroke();
  } else {
    tip.moveTo(0, 12); tip.lineTo(12, 0);
    tip.stroke();
  }
  return pen.createPattern(tile, "repeat");
}

function drawSection() {
  const canvas = document.getElementById("sectioncanvas"), cut = cutNow(), stage = state.stage;
  const { pen, wide, high } = sharp(canvas);
  const left = 46, right = wide - 10, top = 24, foot = high - 34;
  const room = (cut.high - cut.low) * 0.06;
  const low = cut.low, up = cut.high + room;
  const x = (s) => left + (s / cut.length) * (right - left);
  const y = (level) => foot - ((level - low) / (up - low)) * (foot - top);
  section.frame = { cut, left, right, top, foot, low, up };
  pen.clearRect(0, 0, wide, high);
  const paint = SECTION.units.map((unit) => soilPaint(pen, unit));
  pen.save();
  pen.beginPath();
  pen.rect(left, top - 8, right - left, foot - top + 8);
  pen.clip();
  for (let i = 0; i < cut.count; i++) {
    const a = x(Math.max(cut.s[i], 0)), b = x(Math.min(cut.s[i + 1], cut.length));
    for (let k = 0; k < cut.layers; k++) {
      const n = k * cut.count + i;
      if (!cut.active[0][n]) continue;
      const t = y(cut.edges[n]), u = y(cut.edges[n + cut.count]);
      pen.fillStyle = cut.active[stage][n] ? paint[cut.unit[n]] : PAPER;
      pen.fillRect(a, t, b - a + 0.6, u - t + 0.6);
      if (k + 1 < cut.layers && cut.unit[n] !== cut.unit[n + cut.count] && cut.active[stage][n]) {
        pen.fillStyle = INK;
        pen.fillRect(a, u - 0.4, b - a + 0.6, 0.8);
      }
    }
  }
  const line = (levels, colour, wideness, dash) => {
    pen.strokeStyle = colour;
    pen.lineWidth = wideness;
    pen.setLineDash(dash);
    pen.beginPath();
    let down = false;
    for (let i = 0; i < cut.count; i++) {
      if (levels[i] === null) { down = false; continue; }
      const at = x(Math.min(Math.max((cut.s[i] + cut.s[i + 1]) / 2, 0), cut.length));
      down ? pen.lineTo(at, y(levels[i])) : pen.moveTo(at, y(levels[i]));
      down = true;
    }
    pen.stroke();
    pen.setLineDash([]);
  };
  if (stage > 0) line(cut.table[0], PAPER, 3.5, []), line(cut.table[0], WATER, 1.4, [5, 4]);
  cut.aquifers.forEach((item, k) => {
    line(item.heads[stage], PAPER, 3.5, []);
    line(item.heads[stage], AQUIFERS[k % 4], 1.6, [2, 3]);
  });
  line(cut.table[stage], PAPER, 4.5, []);
  line(cut.table[stage], WATER, 2.4, []);
  for (const well of cut.wells) {
    pen.strokeStyle = INK;
    pen.lineWidth = 1;
    pen.beginPath();
    pen.moveTo(x(well.s), y(up)); pen.lineTo(x(well.s), y(well.screen[1]));
    pen.stroke();
    pen.fillStyle = well.used[stage] ? WATER : PAPER;
    pen.fillRect(x(well.s) - 3, y(well.screen[1]), 6, y(well.screen[0]) - y(well.screen[1]));
    pen.strokeRect(x(well.s) - 3, y(well.screen[1]), 6, y(well.screen[0]) - y(well.screen[1]));
  }
  for (const wall of cut.walls) {
    if (stage < wall.from) continue;
    pen.strokeStyle = WALL;
    pen.lineWidth = wall.holds_water ? 4 : 2;
    pen.setLineDash(wall.holds_water ? [] : [5, 3]);
    pen.beginPath();
    pen.moveTo(x(wall.s), y(wall.top)); pen.lineTo(x(wall.s), y(wall.toe));
    pen.stroke();
    pen.setLineDash([]);
  }
  pen.restore();
  sectionAxes(pen, cut, x, y, low, up, left, right, top, foot);
}

function sectionAxes(pen, cut, x, y, low, up, left, right, top, foot) {
  pen.strokeStyle = pen.fillStyle = INK;
  pen.lineWidth = 1;
  pen.strokeRect(left, top - 8, right - left, foot - top + 8);
  pen.font = "12px system-ui, sans-serif";
  pen.textAlign = "right";
  const step = niceStep(up - low, 6);
  for (let level = Math.ceil(low / step) * step; level < up; level += step) {
    pen.fillText(short(level), left - 6, y(level) + 4);
    pen.fillRect(left - 4, y(level) - 0.5, 4, 1);
  }
  pen.textAlign = "center";
  const along = niceStep(cut.length, Math.max((right - left) / 110, 2));
  for (let s = 0; s <= cut.length + 1e-6; s += along) {
    pen.fillText(short(s), x(s), foot + 16);
    pen.fillRect(x(s) - 0.5, foot, 1, 4);
  }
  pen.fillText("distance from " + cut.letter + " [" + SECTION.unit + "]", (left + right) / 2, foot + 31);
  pen.textAlign = "left";
  pen.fillText("level [" + SECTION.unit + "]", 4, 12);
}

function tellSection(where, px, py) {
  const f = section.frame, cut = f.cut, stage = state.stage;
  const s = ((px - f.left) / (f.right - f.left)) * cut.length;
  const level = f.low + ((f.foot - py) / (f.foot - f.top)) * (f.up - f.low);
  where.textContent = "";
  const i = interval(cut.s, Math.min(Math.max(s, cut.s[0]), cut.s[cut.count]));
  if (s < 0 || s > cut.length || i < 0) return;
  told(where, "distance, level [" + SECTION.unit + "]", number(s, 2) + ", " + number(level, 2), "place");
  told(where, "water table", number(cut.table[stage][i], 2) + " " + SECTION.unit, "table");
  for (let k = 0; k < cut.layers; k++) {
    const n = k * cut.count + i;
    if (!cut.active[0][n] || level > cut.edges[n] || level < cut.edges[n + cut.count]) continue;
    const unit = SECTION.units[cut.unit[n]], there = cut.active[stage][n];
    const head = cut.heads[stage][n];
    told(where, there ? unit.label : "dug away",
      !there ? "" : head !== head || head < cut.edges[n + cut.count] ? "dry" : "head " + number(head, 2) + " " + SECTION.unit, "head");
    return;
  }
}

function sectionKey() {
  const where = document.getElementById("sectionlegend"), cut = cutNow();
  where.textContent = "";
  const list = make("ul", null, where), used = new Set();
  for (let n = 0; n < cut.unit.length; n++) if (cut.active[0][n]) used.add(cut.unit[n]);
  const soils = new Set();
  for (const at of [...used].sort((a, b) => a - b)) {
    const unit = SECTION.units[at];
    if (soils.has(unit.soil)) continue;
    soils.add(unit.soil);
    const item = make("li", null, list), swatch = make("canvas", null, item);
    swatch.width = 60; swatch.height = 34;
    const pen = swatch.getContext("2d");
    pen.fillStyle = soilPaint(pen, unit);
    pen.fillRect(0, 0, 60, 34);
    make("bdi", unit.soil, item);
  }
  const lines = [["water table of the stage, full blue line"], ["water table before the work, dashed"]];
  cut.aquifers.forEach((item) => lines.push(["head in " + item.label + ", dotted"]));
  lines.push(["wall, brown"], ["well, its screen filled where used"]);
  for (const [text] of lines) make("li", text, list);
}
