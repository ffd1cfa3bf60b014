// Tables sort by a column when its heading is pressed; once more turns the order around.
function sortable(table) {
  const heads = [...table.tHead.rows[0].cells], body = table.tBodies[0];
  if (body.rows.length < 2) return;
  heads.forEach((head, column) => {
    const button = make("button", null);
    button.type = "button";
    while (head.firstChild) button.appendChild(head.firstChild);
    head.appendChild(button);
    button.addEventListener("click", () => {
      const down = head.getAttribute("aria-sort") === "ascending";
      heads.forEach((other) => other.removeAttribute("aria-sort"));
      head.setAttribute("aria-sort", down ? "descending" : "ascending");
      const rows = [...body.rows].map((row, order) => {
        const cell = row.cells[column], raw = cell.dataset.sort;
        const value = raw !== undefined && raw !== "" && Number.isFinite(Number(raw)) ? Number(raw) : null;
        return { row, order, value, text: cell.textContent.trim() };
      });
      rows.sort((a, b) => {
        if (!a.text !== !b.text) return a.text ? -1 : 1; // empty cells last, either way
        const both = a.value !== null && b.value !== null;
        const less = both ? a.value - b.value : a.text.localeCompare(b.text, "en", { numeric: true });
        return (down ? -less : less) || a.order - b.order;
      });
      body.append(...rows.map((item) => item.row));
    });
  });
}
