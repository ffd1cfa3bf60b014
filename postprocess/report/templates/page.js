// Puts the page together: stages, section, drawings of the sections, tables, print.
const slider = document.getElementById("stage");
function toStage(k) {
  state.stage = k;
  const name = DATA.stages[k].name;
  for (const place of ["stagename", "planstage"]) document.getElementById(place).textContent = name;
  slider.setAttribute("aria-valuetext", name);
  tellHere();
  redraw();
  if (SECTION) {
    document.getElementById("sectionstage").textContent = "Stage: " + name;
    drawSection();
  }
}

function startSection() {
  const cuts = document.getElementById("cut"), where = document.getElementById("sectionread");
  const canvas = document.getElementById("sectioncanvas");
  SECTION.cuts.forEach((cut, i) => { make("option", cut.label, cuts).value = String(i); });
  cuts.addEventListener("change", () => { section.cut = Number(cuts.value); drawSection(); sectionKey(); where.textContent = ""; });
  let spot = null;
  const tell = () => tellSection(where, spot[0], spot[1]);
  for (const kind of ["pointermove", "pointerdown"]) {
    canvas.addEventListener(kind, (event) => { spot = at(event, canvas); tell(); });
  }
  canvas.addEventListener("keydown", (event) => {
    const step = event.shiftKey ? 30 : 6;
    const moves = { ArrowLeft: [-step, 0], ArrowRight: [step, 0], ArrowUp: [0, -step], ArrowDown: [0, step] };
    if (!(event.key in moves)) return;
    event.preventDefault();
    spot = spot || [canvas.clientWidth / 2, canvas.clientHeight / 2];
    spot = [spot[0] + moves[event.key][0], spot[1] + moves[event.key][1]];
    tell();
  });
  sectionKey();
}

document.querySelectorAll("table").forEach(sortable);
document.querySelectorAll(".chart").forEach((figure) => {
  const item = DATA.charts[figure.dataset.chart];
  item.type === "spans" ? drawSpans(figure, item) : drawCurves(figure, item);
});
if (SECTION) startSection();
if (plans.length) {
  startPlans();
  slider.addEventListener("input", () => toStage(Number(slider.value)));
  toStage(state.stage);
  drawSmalls();
  new ResizeObserver(() => { redraw(); if (SECTION) drawSection(); drawSmalls(); }).observe(document.querySelector("main"));
}

let opened = [];
window.addEventListener("beforeprint", () => {
  opened = [...document.querySelectorAll("details:not([open])")];
  opened.forEach((item) => { item.open = true; });
});
window.addEventListener("afterprint", () => { opened.forEach((item) => { item.open = false; }); });
