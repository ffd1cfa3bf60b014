// What the page knows, and how packed numbers are read.
const DATA = JSON.parse(document.getElementById("data").textContent);
const HOLE = 65535;
const INK = "#1c2730", SOFT = "#55606a", WATER = "#1d5c8a", WALL = "#a8452a", PAPER = "#ffffff";
const state = { stage: DATA.stages.length - 1 };

function bytes(text) {
  const raw = atob(text), found = new Uint8Array(raw.length);
  for (let i = 0; i < raw.length; i++) found[i] = raw.charCodeAt(i);
  return found;
}

// Numbers packed as little-endian uint16 between two bounds; NaN where there is none.
function unpack(text, low, high) {
  const raw = bytes(text), found = new Float32Array(raw.length / 2);
  const step = (high > low ? high - low : 1) / (HOLE - 1);
  for (let i = 0; i < found.length; i++) {
    const whole = raw[2 * i] | (raw[2 * i + 1] << 8);
    found[i] = whole === HOLE ? NaN : low + whole * step;
  }
  return found;
}

function number(value, digits) {
  if (value === null || value === undefined || Number.isNaN(value)) return "–";
  const text = value.toLocaleString("en-US", { minimumFractionDigits: digits, maximumFractionDigits: digits });
  return Number(value.toFixed(digits)) === 0 ? text.replace("-", "") : text.replace("-", "−");
}

function short(value) {
  return String(Number(value.toPrecision(4))).replace("-", "−");
}

function make(name, text, where) {
  const found = document.createElement(name);
  if (text !== undefined && text !== null) found.textContent = text;
  if (where) where.appendChild(found);
  return found;
}

// Text from the inputs, kept apart from the direction of what stands around it.
function told(where, label, value, name) {
  const line = make("p", null, where);
  make("bdi", label, line);
  line.appendChild(document.createTextNode(": "));
  const strong = make("b", value, line);
  if (name) strong.dataset.layer = name;
  return line;
}

// A canvas as sharp as the screen, its context scaled to CSS pixels.
function sharp(canvas) {
  const ratio = Math.min(window.devicePixelRatio || 1, 2);
  const wide = Math.max(canvas.clientWidth, 50), high = Math.max(canvas.clientHeight, 50);
  if (canvas.width !== Math.round(wide * ratio) || canvas.height !== Math.round(high * ratio)) {
    canvas.width = Math.round(wide * ratio);
    canvas.height = Math.round(high * ratio);
  }
  const pen = canvas.getContext("2d");
  pen.setTransform(ratio, 0, 0, ratio, 0, 0);
  return { pen, wide, high, ratio };
}

function mix(first, last, share) {
  return first.map((value, i) => Math.round(value + (last[i] - value) * share));
}

function niceStep(span, count) {
  const rough = span / count, power = Math.pow(10, Math.floor(Math.log10(rough)));
  for (const step of [1, 2, 2.5, 5, 10]) if (step * power >= rough * 0.999) return step * power;
  return 10 * power;
}
