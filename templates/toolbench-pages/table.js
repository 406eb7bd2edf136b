"use strict";
(() => {
  const prepare = (table) => {
    const body = table.tBodies[0];
    const rows = Array.from(body.rows);
    const label = document.createElement("label");
    const box = document.createElement("input");
    const told = document.createElement("span");
    label.className = "tb-filter";
    label.append("Show only rows with ", box);
    box.type = "search";
    told.setAttribute("role", "status");
    label.append(told);
    table.parentNode.before(label);
    box.addEventListener("input", () => {
      const words = box.value.toLowerCase().split(/\s+/).filter(Boolean);
      let shown = 0;
      for (const row of rows) {
        const text = row.textContent.toLowerCase();
        row.hidden = !words.every((word) => text.includes(word));
        shown += row.hidden ? 0 : 1;
      }
      told.textContent = words.length ? " " + shown + " of " + rows.length + " rows" : "";
    });
    Array.from(table.tHead.rows[0].cells).forEach((head, column) => {
      const button = document.createElement("button");
      button.type = "button";
      button.append(...head.childNodes);
      head.append(button);
      button.addEventListener("click", () => {
        const up = head.getAttribute("aria-sort") !== "ascending";
        for (const other of table.tHead.rows[0].cells) other.removeAttribute("aria-sort");
        head.setAttribute("aria-sort", up ? "ascending" : "descending");
        const text = (row) => row.cells[column].textContent.trim();
        const sorted = rows.slice().sort((a, b) => text(a).localeCompare(text(b), "en", { numeric: true }));
        body.append(...(up ? sorted : sorted.reverse()));
      });
    });
  };
  // A single row has nothing to be told from.
  const listed = Array.from(document.querySelectorAll("#table, table.tb-filtered"));
  listed.filter((table) => table.tBodies[0].rows.length > 1 || table.id).forEach(prepare);
})();
