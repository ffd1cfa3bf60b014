// Puts the page together: what is ticked, dragged, hovered, typed and printed.
const planCanvas = document.getElementById("plancanvas");
const readout = document.getElementById("readout");
const sectionCanvas = document.getElementById("sectioncanvas");

function box(corners) {
  const x = corners.map((c) => c[0]), y = corners.map((c) => c[1]);
  return [Math.min(...x), Math.min(...y), Math.max(...x), Math.max(...y)];
}
function fit(canvas, [a, b, c, d], share) {
  const wide = canvas.clientWidth || 400, high = canvas.clientHeight || 300;
  return { x: (a + c) / 2, y: (b + d) / 2, scale: share * Math.min(wide / (c - a), high / (d - b)) };
}
const PIT_BOX = box(PLAN.pit);
const ALL_BOX = box([[0, 0], [1, 0], [1, 1], [0, 1]].map(([i, j]) =>
  toPlan(GRID.x[i * COLUMNS], GRID.y[j * ROWS])));

let waiting = false;
function redraw() {
  if (waiting) return;
  waiting = true;
  requestAnimationFrame(() => { waiting = false; drawPlan(planCanvas, plan.view, state.stage, false); });
}
function tellHere() {
  if (plan.cross) tellPlan(readout, plan.cross[0], plan.cross[1], state.stage);
  else if (!readout.textContent) make("p", "Point at the plan to read its values.", readout);
}
function placeCross(x, y) {
  plan.cross = [x, y];
  tellHere();
  redraw();
}
function at(event, canvas) {
  const edge = canvas.getBoundingClientRect();
  return [event.clientX - edge.left - canvas.clientLeft, event.clientY - edge.top - canvas.clientTop];
}
function toPlace([px, py]) {
  return [plan.view.x + (px - planCanvas.clientWidth / 2) / plan.view.scale,
    plan.view.y - (py - planCanvas.clientHeight / 2) / plan.view.scale];
}
function zoom(factor) {
  const to = plan.cross || [plan.view.x, plan.view.y], held = 1 - 1 / factor;
  plan.view.x += (to[0] - plan.view.x) * held;
  plan.view.y += (to[1] - plan.view.y) * held;
  plan.view.scale *= factor;
  redraw();
}

let drag = null;
planCanvas.addEventListener("pointerdown", (event) => {
  drag = event.pointerType === "mouse" ? { from: at(event, planCanvas), view: { ...plan.view } } : null;
  placeCross(...toPlace(at(event, planCanvas)));
});
window.addEventListener("pointerup", () => { drag = null; });
planCanvas.addEventListener("pointermove", (event) => {
  const here = at(event, planCanvas);
  if (drag) {
    plan.view.x = drag.view.x - (here[0] - drag.from[0]) / plan.view.scale;
    plan.view.y = drag.view.y + (here[1] - drag.from[1]) / plan.view.scale;
    redraw();
  } else placeCross(...toPlace(here));
});
planCanvas.addEventListener("keydown", (event) => {
  const step = (event.shiftKey ? 40 : 8) / plan.view.scale;
  const moves = { ArrowLeft: [-step, 0], ArrowRight: [step, 0], ArrowUp: [0, step], ArrowDown: [0, -step] };
  if (event.key in moves) {
    const [x, y] = plan.cross || [plan.view.x, plan.view.y];
    placeCross(x + moves[event.key][0], y + moves[event.key][1]);
  } else if (event.key === "+" || event.key === "=") zoom(1.5);
  else if (event.key === "-") zoom(1 / 1.5);
  else return;
  event.preventDefault();
});
document.getElementById("closer").addEventListener("click", () => zoom(1.6));
document.getElementById("wider").addEventListener("click", () => zoom(1 / 1.6));
document.getElementById("topit").addEventListener("click", () => { plan.view = fit(planCanvas, PIT_BOX, 0.5); redraw(); });
document.getElementById("toall").addEventListener("click", () => { plan.view = fit(planCanvas, ALL_BOX, 0.95); redraw(); });

function legend() {
  const where = document.getElementById("legend"), chosen = PLAN.layers.filter((l) => plan.on.has(l.name));
  where.textContent = "";
  if (!chosen.length) { make("p", "No layer is ticked.", where); return; }
  const first = chosen[0], paint = colours(first), list = first.classes;
  make("b", first.label + (first.unit ? " [" + first.unit + "]" : ""), where);
  const key = make("ul", null, where), closed = first.kind === "level" || !(first.kind in RAMPS);
  list.forEach((low, i) => {
    if (closed && i === list.length - 1) return;
    const item = make("li", null, key), swatch = make("i", null, item);
    swatch.style.background = "rgb(" + paint[i].join(",") + ")";
    item.appendChild(document.createTextNode(i + 1 < list.length ? short(low) + " to " + short(list[i + 1]) : short(low) + " and more"));
  });
  chosen.slice(1).forEach((layer, i) => {
    const line = make("p", "", where), swatch = make("i", null, line), [colour, dash] = LINES[i % LINES.length];
    swatch.style.cssText = "height:0;border:0;border-top:2.5px " + (dash.length ? "dashed " : "solid ") + colour + ";vertical-align:.25rem";
    line.appendChild(document.createTextNode("lines: " + layer.label + (layer.unit ? " [" + layer.unit + "]" : "")));
  });
}

const smalls = [];
function drawSmalls() {
  const chosen = PLAN.layers.find((layer) => plan.on.has(layer.name));
  const where = document.getElementById("stages");
  if (!smalls.length) {
    DATA.stages.forEach((stage, k) => {
      const figure = make("figure", null, where), canvas = make("canvas", null, figure);
      make("bdi", stage.name, make("figcaption", null, figure));
      canvas.setAttribute("role", "img");
      smalls.push({ figure, canvas, k });
    });
  }
  for (const { figure, canvas, k } of smalls) {
    figure.hidden = !chosen || !(DATA.stages[k].folder in chosen.stages);
    if (figure.hidden) continue;
    canvas.setAttribute("aria-label", chosen.label + ", " + DATA.stages[k].name);
    drawPlan(canvas, fit(canvas, PIT_BOX, 0.32), k, true);
  }
}

function tick(where, name, text, on, change) {
  const label = make("label", null, where), input = make("input", null, label);
  input.type = "checkbox";
  input.checked = on;
  input.dataset.layer = name;
  make("bdi", text, label);
  input.addEventListener("change", () => { change(input.checked); tellHere(); redraw(); });
}
const boxes = document.getElementById("layers");
PLAN.layers.forEach((layer, k) => {
  if (k === 0) plan.on.add(layer.name);
  tick(boxes, layer.name, layer.label, k === 0, (on) => {
    on ? plan.on.add(layer.name) : plan.on.delete(layer.name);
    legend();
    drawSmalls();
  });
});
make("hr", null, boxes);
const groups = new Set(PLAN.things.map((thing) => thing.group));
for (const [name, text] of [...Object.entries(GROUPS), ["cuts", "Lines of the sections"]]) {
  if (!groups.has(name) && name !== "cuts") continue;
  tick(boxes, name, text, plan.shown.has(name), (on) => (on ? plan.shown.add(name) : plan.shown.delete(name)));
}

const goto = document.getElementById("goto");
PLAN.things.forEach((thing, i) => { make("option", thing.name + " (" + thing.what + ")", goto).value = String(i); });
goto.addEventListener("change", () => {
  const thing = PLAN.things[goto.value];
  if (!thing) return;
  if (!plan.shown.has(thing.group)) boxes.querySelector("[data-layer='" + thing.group + "']").click();
  const [a, b, c, d] = box(thing.corners);
  plan.view.x = (a + c) / 2;
  plan.view.y = (b + d) / 2;
  placeCross(thing.corners.length > 2 ? (a + c) / 2 : thing.corners[0][0], thing.corners.length > 2 ? (b + d) / 2 : thing.corners[0][1]);
});

const slider = document.getElementById("stage");
function toStage(k) {
  state.stage = k;
  const name = DATA.stages[k].name;
  document.getElementById("stagename").textContent = name;
  document.getElementById("sectionstage").textContent = "Stage: " + name;
  slider.setAttribute("aria-valuetext", name);
  tellHere();
  redraw();
  drawSection();
}
slider.addEventListener("input", () => toStage(Number(slider.value)));

const cuts = document.getElementById("cut"), sectionRead = document.getElementById("sectionread");
SECTION.cuts.forEach((cut, i) => { make("option", cut.label, cuts).value = String(i); });
cuts.addEventListener("change", () => { section.cut = Number(cuts.value); drawSection(); sectionKey(); sectionRead.textContent = ""; });
let spot = null;
function tellSpot() { tellSection(sectionRead, spot[0], spot[1]); }
for (const kind of ["pointermove", "pointerdown"]) {
  sectionCanvas.addEventListener(kind, (event) => { spot = at(event, sectionCanvas); tellSpot(); });
}
sectionCanvas.addEventListener("keydown", (event) => {
  const step = event.shiftKey ? 30 : 6;
  const moves = { ArrowLeft: [-step, 0], ArrowRight: [step, 0], ArrowUp: [0, -step], ArrowDown: [0, step] };
  if (!(event.key in moves)) return;
  event.preventDefault();
  spot = spot || [sectionCanvas.clientWidth / 2, sectionCanvas.clientHeight / 2];
  spot = [spot[0] + moves[event.key][0], spot[1] + moves[event.key][1]];
  tellSpot();
});

document.querySelectorAll("table").forEach(sortable);
document.querySelectorAll(".curves").forEach(drawCurves);
plan.view = fit(planCanvas, PIT_BOX, 0.5);
legend();
toStage(state.stage);
sectionKey();
drawSmalls();
new ResizeObserver(() => { redraw(); drawSection(); drawSmalls(); }).observe(document.querySelector("main"));

let opened = [];
window.addEventListener("beforeprint", () => {
  opened = [...document.querySelectorAll("details:not([open])")];
  opened.forEach((item) => { item.open = true; });
});
window.addEventListener("afterprint", () => { opened.forEach((item) => { item.open = false; }); });
