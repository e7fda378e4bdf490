// The score sheet: one measure at a time, sorted by any column, filtered by words, form and evidence.
(() => {
  const tables = Array.from(document.querySelectorAll("table.score"));
  const tools = document.getElementById("sheet-tools"), said = document.getElementById("sheet-said");
  const measure = document.getElementById("sheet-measure");
  const words = document.getElementById("sheet-words"), kind = document.getElementById("sheet-form");

  function filter() {
    let left = 0;
    for (const table of tables) {
      const on = table.dataset.measure === measure.value;
      table.parentElement.parentElement.hidden = !on;
      for (const row of table.tBodies[0].rows) {
        const text = row.cells[0].textContent.toLowerCase();
        row.hidden = !text.includes(words.value.trim().toLowerCase())
          || Boolean(kind.value && row.cells[1].textContent !== kind.value);
        if (on && !row.hidden) left++;
      }
    }
    said.textContent = `${left} anchors shown.`;
  }
  function sort(table, column, button) {
    const head = button.parentElement, down = head.getAttribute("aria-sort") !== "descending";
    const numbers = head.classList.contains("number");
    const rising = head.getAttribute("aria-sort") === "descending" || (!numbers && head.getAttribute("aria-sort") !== "ascending");
    for (const other of table.tHead.rows[0].cells) other.removeAttribute("aria-sort");
    head.setAttribute("aria-sort", rising ? "ascending" : down ? "descending" : "ascending");
    const value = row => numbers ? parseFloat(row.cells[column].dataset.v) : row.cells[column].textContent;
    const rows = Array.from(table.tBodies[0].rows).sort((a, b) => {
      const x = value(a), y = value(b);
      if (numbers) return (Number.isNaN(x) - Number.isNaN(y)) || (rising ? x - y : y - x);
      return (rising ? 1 : -1) * x.localeCompare(y, undefined, { numeric: true });
    });
    table.tBodies[0].append(...rows);
  }
  for (const table of tables) Array.from(table.tHead.rows[0].cells).forEach((head, column) => {
    const button = document.createElement("button");
    button.type = "button";
    button.append(...head.childNodes);
    head.append(button);
    button.addEventListener("click", () => sort(table, column, button));
  });
  tools.hidden = false;
  tools.addEventListener("input", filter);
  tools.addEventListener("submit", event => event.preventDefault());
  filter();
  // A link to an anchor's sheet opens it.
  function open() {
    const target = location.hash.length > 1 && document.getElementById(location.hash.slice(1));
    if (target && target.tagName === "DETAILS") { target.open = true; target.scrollIntoView(); }
  }
  addEventListener("hashchange", open);
  open();
})();
