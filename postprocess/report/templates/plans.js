// The plans of the page as one: what is ticked, dragged, hovered and typed on any moves them all.
const GROUPS = { wells: "Wells", points: "Your points", borings: "Borings", marks: "Neighbours and other places" };
const readout = document.getElementById("readout");
const plans = DATA.plans.map((item, k) => ({ ...makePlan(item), k, canvas: document.getElementById("plancanvas" + (k || "")) }));
const MANY = plans.length > 1;
const smalls = [];

function box(corners) {
  const x = corners.map((c) => c[0]), y = corners.map((c) => c[1]);
  return [Math.min(...x), Math.min(...y), Math.max(...x), Math.max(...y)];
}
function fit(canvas, [a, b, c, d], share) {
  const wide = canvas.clientWidth || 400, high = canvas.clientHeight || 300;
  return { x: (a + c) / 2, y: (b + d) / 2, scale: share * Math.min(wide / (c - a), high / (d - b)) };
}
function toBox(corners, share) {
  look.view = fit(plans[0].canvas, box(corners), share);
  redraw();
}

let waiting = false;
function redraw() {
  if (waiting || !plans.length) return;
  waiting = true;
  requestAnimationFrame(() => {
    waiting = false;
    for (const plan of plans) plan.draw(plan.canvas, look.view, state.stage, false);
  });
}
let over = plans[0];
function tellHere() {
  if (!plans.length) return;
  if (look.cross) tellPlace(look.cross[0], look.cross[1]);
  else if (!readout.textContent) make("p", "Point at the plan to read its values.", readout);
}
// Layer values at a place in every plan, and the nearest thing of the plan under the pointer.
function tellPlace(x, y) {
  const unit = over.metres_per_unit, stage = state.stage;
  readout.textContent = "";
  told(readout, "x, y [" + over.crs_unit + "]",
    ((x + over.origin[0]) / unit).toFixed(2) + ", " + ((y + over.origin[1]) / unit).toFixed(2), "place");
  for (const layer of LAYERS) {
    if (!look.on.has(layer.name)) continue;
    if (MANY) make("bdi", layer.label + ":", make("p", null, readout));
    for (const plan of plans) {
      const value = plan.valueAt(layer.name, stage, x, y);
      const text = Number.isNaN(value) ? "no value here" : number(value, layer.digits) + " " + layer.unit;
      const line = told(readout, MANY ? plan.name : layer.label, text, layer.name + (plan.k || ""));
      if (MANY) line.className = "one";
    }
  }
  const near = over.nearest(x, y);
  if (near) {
    const notes = [near.notes[""], near.notes[DATA.stages[stage].folder]].filter(Boolean).join("; ");
    told(readout, near.name + (MANY ? " (" + over.name + ")" : ""), notes || near.what, "thing");
  }
}
function placeCross(x, y, plan) {
  over = plan || over;
  look.cross = [x, y];
  tellHere();
  redraw();
}
function at(event, canvas) {
  const edge = canvas.getBoundingClientRect();
  return [event.clientX - edge.left - canvas.clientLeft, event.clientY - edge.top - canvas.clientTop];
}
function zoom(factor) {
  const to = look.cross || [look.view.x, look.view.y], held = 1 - 1 / factor;
  look.view.x += (to[0] - look.view.x) * held;
  look.view.y += (to[1] - look.view.y) * held;
  look.view.scale *= factor;
  redraw();
}

let drag = null;
window.addEventListener("pointerup", () => { drag = null; });
for (const plan of plans) {
  const canvas = plan.canvas, toPlace = ([px, py]) => [
    look.view.x + (px - canvas.clientWidth / 2) / look.view.scale,
    look.view.y - (py - canvas.clientHeight / 2) / look.view.scale,
  ];
  canvas.addEventListener("pointerdown", (event) => {
    drag = event.pointerType === "mouse" ? { from: at(event, canvas), view: { ...look.view } } : null;
    placeCross(...toPlace(at(event, canvas)), plan);
  });
  canvas.addEventListener("pointermove", (event) => {
    const here = at(event, canvas);
    if (drag) {
      look.view.x = drag.view.x - (here[0] - drag.from[0]) / look.view.scale;
      look.view.y = drag.view.y + (here[1] - drag.from[1]) / look.view.scale;
      redraw();
    } else placeCross(...toPlace(here), plan);
  });
  canvas.addEventListener("keydown", (event) => {
    const step = (event.shiftKey ? 40 : 8) / look.view.scale;
    const moves = { ArrowLeft: [-step, 0], ArrowRight: [step, 0], ArrowUp: [0, step], ArrowDown: [0, -step] };
    if (event.key in moves) {
      const [x, y] = look.cross || [look.view.x, look.view.y];
      placeCross(x + moves[event.key][0], y + moves[event.key][1], plan);
    } else if (event.key === "+" || event.key === "=") zoom(1.5);
    else if (event.key === "-") zoom(1 / 1.5);
    else return;
    event.preventDefault();
  });
}

function legend() {
  const where = document.getElementById("legend"), chosen = LAYERS.filter((layer) => look.on.has(layer.name));
  where.textContent = "";
  if (!chosen.length) { make("p", "No layer is ticked.", where); return; }
  const first = chosen[0], paint = colours(first), list = first.classes;
  make("b", first.label + (first.unit ? " [" + first.unit + "]" : ""), where);
  const key = make("ul", null, where);
  list.forEach((low, i) => {
    if (closed(first) && i === list.length - 1) return;
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

// A single plan is also drawn small for every stage; several stand side by side already.
function drawSmalls() {
  const where = document.getElementById("stages");
  if (!where) return;
  const chosen = LAYERS.find((layer) => look.on.has(layer.name));
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
    plans[0].draw(canvas, fit(canvas, box(plans[0].pit), 0.32), k, true);
  }
}

const boxes = document.getElementById("layers");
function tick(name, text, on, change) {
  const label = make("label", null, boxes), input = make("input", null, label);
  input.type = "checkbox";
  input.checked = on;
  input.dataset.layer = name;
  make("bdi", text, label);
  input.addEventListener("change", () => { change(input.checked); tellHere(); redraw(); });
}

function startPlans() {
  LAYERS.forEach((layer, k) => {
    if (k === 0) look.on.add(layer.name);
    tick(layer.name, layer.label, k === 0, (on) => {
      on ? look.on.add(layer.name) : look.on.delete(layer.name);
      legend();
      drawSmalls();
    });
  });
  make("hr", null, boxes);
  const things = plans.flatMap((plan) => plan.things
    .filter((thing) => plan.k === 0 || thing.group === "wells").map((thing) => ({ thing, plan })));
  const groups = new Set(things.map((item) => item.thing.group));
  if (plans.some((plan) => plan.cuts.length)) groups.add("cuts");
  for (const [name, text] of [...Object.entries(GROUPS), ["cuts", "Lines of the sections"]]) {
    if (groups.has(name)) tick(name, text, look.shown.has(name), (on) => (on ? look.shown.add(name) : look.shown.delete(name)));
  }
  const goto = document.getElementById("goto");
  things.forEach(({ thing, plan }, i) => {
    const of = MANY && thing.group === "wells" ? ", " + plan.name : "";
    make("option", thing.name + " (" + thing.what + of + ")", goto).value = String(i);
  });
  goto.addEventListener("change", () => {
    if (!things[goto.value]) return;
    const { thing, plan } = things[goto.value];
    if (!look.shown.has(thing.group)) boxes.querySelector("[data-layer='" + thing.group + "']").click();
    const [a, b, c, d] = box(thing.corners), area = thing.corners.length > 2;
    look.view.x = (a + c) / 2;
    look.view.y = (b + d) / 2;
    placeCross(area ? look.view.x : thing.corners[0][0], area ? look.view.y : thing.corners[0][1], plan);
  });
  const press = (name, change) => document.getElementById(name).addEventListener("click", change);
  press("closer", () => zoom(1.6));
  press("wider", () => zoom(1 / 1.6));
  press("topit", () => toBox(plans[0].pit, 0.5));
  press("toall", () => toBox(plans[0].corners, 0.95));
  look.view = fit(plans[0].canvas, box(plans[0].pit), 0.5);
  legend();
}
