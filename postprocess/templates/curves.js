// Curves in time as drawings, with the values of the nearest day in words.
const CURVE_LINES = [["#1d5c8a", ""], ["#a8452a", "7 3"], ["#2f4b1f", "2 3"], ["#6b3576", "10 3 2 3"], ["#8a5a00", "4 2"], ["#1c2730", "1 2"]];
const SVG = "http://www.w3.org/2000/svg";

function draw(name, attributes, where, text) {
  const found = document.createElementNS(SVG, name);
  for (const key in attributes) found.setAttribute(key, attributes[key]);
  if (text !== undefined) found.textContent = text;
  where.appendChild(found);
  return found;
}

function drawCurves(figure) {
  const item = DATA.series[figure.dataset.series], wide = 760, high = 300;
  const left = 70, right = 745, top = 14, foot = 255;
  const all = item.lines.flatMap((line) => line.values.filter((value) => value !== null));
  if (!all.length || item.day.length < 2) { make("p", "No values.", figure); return; }
  let low = Math.min(0, ...all), up = Math.max(0, ...all);
  if (Math.min(...all) > 0.6 * up || Math.max(...all) < 0.6 * low) { low = Math.min(...all); up = Math.max(...all); }
  if (up === low) up = low + 1;
  const day0 = item.day[0], day1 = item.day[item.day.length - 1];
  const x = (day) => left + ((day - day0) / (day1 - day0 || 1)) * (right - left);
  const y = (value) => foot - ((value - low) / (up - low)) * (foot - top);
  const svg = draw("svg", { viewBox: "0 0 " + wide + " " + high, role: "img", tabindex: "0" }, figure);
  const last = item.lines.map((line) => line.name + " " + short(line.values[line.values.length - 1] ?? NaN)).join("; ");
  draw("title", {}, svg, item.label + ", day " + short(day0) + " to " + short(day1) + ". At the end: " + last + " " + item.unit);
  const step = niceStep(up - low, 5);
  for (let value = Math.ceil(low / step) * step; value <= up + 1e-9; value += step) {
    draw("line", { x1: left, x2: right, y1: y(value), y2: y(value), stroke: "#d7dadc" }, svg);
    draw("text", { x: left - 7, y: y(value) + 4, "text-anchor": "end" }, svg, short(Math.abs(value) < 1e-12 ? 0 : value));
  }
  const days = niceStep(day1 - day0, 7);
  for (let day = Math.ceil(day0 / days) * days; day <= day1 + 1e-9; day += days) {
    draw("line", { x1: x(day), x2: x(day), y1: foot, y2: foot + 5, stroke: INK }, svg);
    draw("text", { x: x(day), y: foot + 20, "text-anchor": "middle" }, svg, short(day));
  }
  draw("text", { x: right, y: high - 6, "text-anchor": "end" }, svg, "day");
  draw("text", { x: left, y: high - 6 }, svg, item.unit);
  draw("line", { x1: left, x2: right, y1: foot, y2: foot, stroke: INK }, svg);
  item.lines.forEach((line, k) => {
    const [colour, dash] = CURVE_LINES[k % CURVE_LINES.length];
    let path = "", down = false;
    line.values.forEach((value, i) => {
      if (value === null) { down = false; return; }
      path += (down ? "L" : "M") + x(item.day[i]).toFixed(1) + " " + y(value).toFixed(1);
      down = true;
    });
    draw("path", { d: path, fill: "none", stroke: colour, "stroke-width": 2, "stroke-dasharray": dash }, svg);
  });
  const mark = draw("line", { x1: -9, x2: -9, y1: top, y2: foot, stroke: INK, "stroke-width": 1 }, svg);
  const key = make("ul", null, make("div", null, figure));
  key.parentNode.className = "key";
  const shown = item.lines.map((line, k) => {
    const entry = make("li", null, key), [colour, dash] = CURVE_LINES[k % CURVE_LINES.length];
    const sample = draw("svg", { viewBox: "0 0 34 10", style: "width:34px;display:inline-block;margin-right:.4rem;vertical-align:middle", "aria-hidden": "true" }, entry);
    draw("line", { x1: 0, x2: 34, y1: 5, y2: 5, stroke: colour, "stroke-width": 2.5, "stroke-dasharray": dash }, sample);
    make("bdi", line.name, entry);
    return make("span", "", entry);
  });
  const tell = (at) => {
    mark.setAttribute("x1", x(item.day[at]));
    mark.setAttribute("x2", x(item.day[at]));
    item.lines.forEach((line, k) => {
      shown[k].textContent = ": " + number(line.values[at], item.digits) + " " + item.unit + " on day " + short(item.day[at]);
    });
  };
  let at = item.day.length - 1;
  svg.addEventListener("pointermove", (event) => {
    const box = svg.getBoundingClientRect(), day = day0 + (((event.clientX - box.left) / box.width) * wide - left) / (right - left) * (day1 - day0);
    at = 0;
    item.day.forEach((value, i) => { if (Math.abs(value - day) < Math.abs(item.day[at] - day)) at = i; });
    tell(at);
  });
  svg.addEventListener("keydown", (event) => {
    const move = { ArrowLeft: -1, ArrowRight: 1 }[event.key];
    if (!move) return;
    event.preventDefault();
    at = Math.min(Math.max(at + move, 0), item.day.length - 1);
    tell(at);
  });
}
