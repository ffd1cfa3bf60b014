// What a number may be: a bar a row from one end to the other, the number between them marked.
const ENDS = ["#c7ccd0", "#1d5c8a"];

function drawSpans(figure, item) {
  const rows = item.rows.filter((row) => row.values.some((value) => value !== null));
  if (!rows.length) { make("p", "No values.", figure); return; }
  // Names stand before the bars, on a narrow screen above them.
  const narrow = figure.clientWidth < 560, wide = narrow ? 400 : 760;
  const left = narrow ? 12 : 250, right = narrow ? 300 : 640, step = narrow ? 46 : 30, top = 10;
  const foot = top + step * rows.length + 4, high = foot + 44;
  const all = rows.flatMap((row) => row.values).concat(item.marks.map((mark) => mark.at)).filter((value) => value !== null);
  let low = Math.min(...all), up = Math.max(...all);
  if (item.whole) { low = 0; up = 100; }
  if (up === low) { up += 0.5; low -= 0.5; }
  const room = item.whole ? 0 : 0.04 * (up - low);
  const x = (value) => left + ((value - low + room) / (up - low + 2 * room)) * (right - left);
  const svg = draw("svg", { viewBox: "0 0 " + wide + " " + high, role: "img" }, figure);
  const unit = item.unit ? " " + item.unit : "";
  const words = (row) => row.values.map((value, i) =>
    [item.ends[0], item.middle, item.ends[1]][i] + " " + number(value, item.digits) + unit).join("; ");
  draw("title", {}, svg, item.label + ". " + rows.map((row) => row.name + ": " + words(row)).join(". "));
  const apart = niceStep(up - low, 5);
  for (let value = Math.ceil(low / apart) * apart; value <= up + 1e-9; value += apart) {
    draw("line", { x1: x(value), x2: x(value), y1: top, y2: foot, stroke: "#d7dadc" }, svg);
    draw("text", { x: x(value), y: foot + 17, "text-anchor": "middle" }, svg, short(Math.abs(value) < 1e-12 ? 0 : value));
  }
  draw("text", { x: right, y: foot + 36, "text-anchor": "end" }, svg, item.unit);
  rows.forEach((row, k) => {
    const y = top + step * (k + 0.5) + (narrow ? 8 : 0), [first, middle, second] = row.values;
    const place = narrow ? { x: left, y: y - 15 } : { x: left - 10, y: y + 4, "text-anchor": "end" };
    draw("text", place, svg, row.name.length > 36 ? row.name.slice(0, 35) + "…" : row.name);
    [first, second].forEach((end, i) => {
      if (end === null || middle === null) return;
      const a = x(Math.min(end, middle)), b = x(Math.max(end, middle));
      draw("rect", { x: a, y: y - 8, width: Math.max(b - a, 1), height: 16, fill: ENDS[i], stroke: INK, "stroke-width": 0.8 }, svg);
    });
    if (middle !== null) draw("line", { x1: x(middle), x2: x(middle), y1: y - 11, y2: y + 11, stroke: INK, "stroke-width": 2.4 }, svg);
    draw("text", { x: right + 8, y: y + 4 }, svg, number(middle, item.digits) + unit);
    const bar = draw("rect", { x: 0, y: y - step / 2, width: wide, height: step, fill: "transparent" }, svg);
    draw("title", {}, bar, row.name + ": " + words(row));
  });
  for (const mark of item.marks) {
    if (mark.at === null) continue;
    draw("line", { x1: x(mark.at), x2: x(mark.at), y1: top - 4, y2: foot, stroke: WALL, "stroke-width": 1.6, "stroke-dasharray": "6 3" }, svg);
  }
  const key = make("ul", null, make("div", null, figure));
  key.parentNode.className = "key";
  item.ends.forEach((text, i) => {
    // Bars that begin at their number have one side only.
    if (rows.every((row) => row.values[2 * i] === null || row.values[2 * i] === row.values[1])) return;
    const entry = make("li", null, key);
    make("i", null, entry).style.background = ENDS[i];
    make("bdi", "to " + text, entry);
  });
  make("li", "upright stroke: " + item.middle, key);
  for (const mark of item.marks) make("li", "dashed: " + mark.name + ", " + number(mark.at, item.digits) + unit, key);
}
