// Curves over one axis as drawings, with the values of the nearest place in words.
const CURVE_LINES = [["#1d5c8a", ""], ["#a8452a", "7 3"], ["#2f4b1f", "2 3"], ["#6b3576", "10 3 2 3"], ["#8a5a00", "4 2"], ["#1c2730", "1 2"]];
const SVG = "http://www.w3.org/2000/svg";

function draw(name, attributes, where, text) {
  const found = document.createElementNS(SVG, name);
  for (const key in attributes) found.setAttribute(key, attributes[key]);
  if (text !== undefined) found.textContent = text;
  where.appendChild(found);
  return found;
}

function drawCurves(figure, item) {
  // Drawn for the width there is, so that its letters keep their size on a narrow screen.
  const wide = figure.clientWidth < 560 ? 400 : 760, high = 300;
  const left = 64, right = wide - 15, top = 14, foot = 255;
  const all = item.lines.flatMap((line) => line.values.filter((value) => value !== null));
  if (!all.length || item.x.length < 2) { make("p", "No values.", figure); return; }
  let low = Math.min(...all), up = Math.max(...all);
  if (item.zero && low <= 0.6 * up && up >= 0.6 * low) { low = Math.min(0, low); up = Math.max(0, up); }
  if (up === low) up = low + 1;
  const x0 = Math.min(...item.x, ...item.marks.map((mark) => mark.at)), x1 = Math.max(...item.x, ...item.marks.map((mark) => mark.at));
  const x = (place) => left + ((place - x0) / (x1 - x0 || 1)) * (right - left);
  const words = (place) => (item.axis === "day" ? "day " + short(place) : short(place) + " " + item.axis);
  const y = (value) => foot - ((value - low) / (up - low)) * (foot - top);
  const svg = draw("svg", { viewBox: "0 0 " + wide + " " + high, role: "img", tabindex: "0" }, figure);
  const last = item.lines.map((line) => line.name + " " + short(line.values[line.values.length - 1] ?? NaN)).join("; ");
  draw("title", {}, svg, item.label + ", " + words(x0) + " to " + words(x1) + ". At the end: " + last + " " + item.unit);
  const step = niceStep(up - low, 5);
  for (let value = Math.ceil(low / step) * step; value <= up + 1e-9; value += step) {
    draw("line", { x1: left, x2: right, y1: y(value), y2: y(value), stroke: "#d7dadc" }, svg);
    draw("text", { x: left - 7, y: y(value) + 4, "text-anchor": "end" }, svg, short(Math.abs(value) < 1e-12 ? 0 : value));
  }
  const apart = niceStep(x1 - x0 || 1, wide / 110);
  for (let place = Math.ceil(x0 / apart) * apart; place <= x1 + 1e-9 * apart; place += apart) {
    draw("line", { x1: x(place), x2: x(place), y1: foot, y2: foot + 5, stroke: INK }, svg);
    draw("text", { x: x(place), y: foot + 20, "text-anchor": "middle" }, svg, short(Math.abs(place) < 1e-9 * apart ? 0 : place));
  }
  draw("text", { x: right, y: high - 6, "text-anchor": "end" }, svg, item.axis);
  item.marks.forEach((mark, k) => {
    draw("line", { x1: x(mark.at), x2: x(mark.at), y1: top, y2: foot, stroke: WALL, "stroke-width": 1.6, "stroke-dasharray": "6 3" }, svg);
    const late = x(mark.at) > (left + right) / 2;
    draw("text", { x: x(mark.at) + (late ? -6 : 6), y: top + 12 + 16 * k, "text-anchor": late ? "end" : "start" }, svg, mark.name);
  });
  draw("text", { x: left, y: high - 6 }, svg, item.unit);
  draw("line", { x1: left, x2: right, y1: foot, y2: foot, stroke: INK }, svg);
  item.lines.forEach((line, k) => {
    const [colour, dash] = CURVE_LINES[k % CURVE_LINES.length];
    if (line.dots) {
      line.values.forEach((value, i) => {
        if (value !== null) draw("circle", { cx: x(item.x[i]), cy: y(value), r: 3.5, fill: colour, "fill-opacity": 0.7 }, svg);
      });
      return;
    }
    let path = "", before = null;
    line.values.forEach((value, i) => {
      const here = x(item.x[i]).toFixed(1);
      if (value !== null) path += before === null ? "M" + here + " " + y(value).toFixed(1)
        : (item.stepped ? "H" + here + "V" : "L" + here + " ") + y(value).toFixed(1);
      before = value;
    });
    draw("path", { d: path, fill: "none", stroke: colour, "stroke-width": 2, "stroke-dasharray": dash }, svg);
  });
  const mark = draw("line", { x1: -9, x2: -9, y1: top, y2: foot, stroke: INK, "stroke-width": 1 }, svg);
  const key = make("ul", null, make("div", null, figure));
  key.parentNode.className = "key";
  const shown = item.lines.map((line, k) => {
    const entry = make("li", null, key), [colour, dash] = CURVE_LINES[k % CURVE_LINES.length];
    const sample = draw("svg", { viewBox: "0 0 34 10", style: "width:34px;display:inline-block;margin-right:.4rem;vertical-align:middle", "aria-hidden": "true" }, entry);
    if (line.dots) draw("circle", { cx: 17, cy: 5, r: 3.5, fill: colour }, sample);
    else draw("line", { x1: 0, x2: 34, y1: 5, y2: 5, stroke: colour, "stroke-width": 2.5, "stroke-dasharray": dash }, sample);
    make("bdi", line.name, entry);
    return make("span", "", entry);
  });
  const tell = (at) => {
    mark.setAttribute("x1", x(item.x[at]));
    mark.setAttribute("x2", x(item.x[at]));
    item.lines.forEach((line, k) => {
      shown[k].textContent = ": " + number(line.values[at], item.digits) + " " + item.unit + (item.axis === "day" ? " on " : " at ") + words(item.x[at]);
    });
  };
  let at = item.x.length - 1;
  svg.addEventListener("pointermove", (event) => {
    const box = svg.getBoundingClientRect(), place = x0 + (((event.clientX - box.left) / box.width) * wide - left) / (right - left) * (x1 - x0);
    at = 0;
    item.x.forEach((value, i) => { if (Math.abs(value - place) < Math.abs(item.x[at] - place)) at = i; });
    tell(at);
  });
  svg.addEventListener("keydown", (event) => {
    const move = { ArrowLeft: -1, ArrowRight: 1 }[event.key];
    if (!move) return;
    event.preventDefault();
    at = Math.min(Math.max(at + move, 0), item.x.length - 1);
    tell(at);
  });
}
