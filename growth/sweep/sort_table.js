// Headings of the table become buttons that sort it: numbers by value, words by letter, blanks last.
for (const table of document.querySelectorAll("table.sortable")) {
  const headings = [...table.tHead.rows[0].cells];
  const valueOf = (row, column) => {
    const cell = row.cells[column];
    const text = cell.dataset.value ?? cell.textContent.trim();
    return text === "" ? null : Number.isNaN(Number(text)) ? text : Number(text);
  };
  headings.forEach((heading, column) => {
    const button = document.createElement("button");
    button.type = "button";
    button.className = "sort";
    button.textContent = heading.textContent;
    heading.replaceChildren(button);
    button.addEventListener("click", () => {
      const down = heading.getAttribute("aria-sort") === "ascending";
      for (const other of headings) other.removeAttribute("aria-sort");
      heading.setAttribute("aria-sort", down ? "descending" : "ascending");
      const body = table.tBodies[0];
      const rows = [...body.rows].map((row) => [valueOf(row, column), row]);
      rows.sort(([a], [b]) => {
        if (a === null || b === null) return (a === null) - (b === null);
        const order = typeof a === typeof b ? (a < b ? -1 : a > b ? 1 : 0) : typeof a === "number" ? -1 : 1;
        return down ? -order : order;
      });
      body.append(...rows.map(([, row]) => row));
    });
  });
}
// A table that is wider than its place says that it scrolls.
const watched = document.querySelectorAll(".wide");
const tell = () => watched.forEach((place) => place.toggleAttribute("data-scrolls", place.scrollWidth > place.clientWidth + 1));
new ResizeObserver(tell).observe(document.body);
for (const folded of document.querySelectorAll("details")) folded.addEventListener("toggle", tell);
