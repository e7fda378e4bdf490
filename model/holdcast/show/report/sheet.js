// The score sheet: one measure at a time, sorted by any column, filtered by words, form and evidence.
(() => {
  const tables = Array.from(document.querySelectorAll("table.score"));
  const tools = document.getElementById("sheet-tools"), said = document.getElementById("sheet-said");
  const measure = document.getElementById("sheet-measure");
  const words = document.getElementById("sheet-words"), kind = document.getElementById("sheet-form");

  // "[1.03]", "<1%" and ">99%" are numbers too; a band stands behind the median.
  const number = text => { const found = text.match(/[0-9.]+/); return found ? parseFloat(found[0]) : NaN; };
  // A band as a line under its numbers, on one scale for the whole table; what is untested is dashed.
  function drawBands(table) {
    const cells = Array.from(table.querySelectorAll("td small"), small => {
      const median = small.previousSibling.textContent;
      return { cell: small.parentElement, guess: median.startsWith("["), ends: small.textContent.split("–").map(number), middle: number(median) };
    });
    const share = cells.length && cells[0].cell.textContent.includes("%"), line = parseFloat(table.dataset.line);
    const scale = v => share ? v : Math.log(Math.max(v, 1e-9));
    const all = cells.flatMap(each => each.ends).concat(line > 0 ? [line] : []).map(scale);
    const low = share ? 0 : Math.min(...all), high = share ? 100 : Math.max(...all);
    const x = v => (2 + 96 * (scale(v) - low) / (high - low || 1)).toFixed(0);
    for (const { cell, guess, ends, middle } of cells) {
      const svg = document.createElementNS("http://www.w3.org/2000/svg", "svg");
      svg.setAttribute("viewBox", "0 0 100 8");
      svg.setAttribute("aria-hidden", "true");
      for (const [kind, d] of [[guess ? "guess" : "line", `M${x(ends[0])} 4H${x(ends[1])}`], ["middle", `M${x(middle)} 1v6`],
        ...(line > 0 ? [["load", `M${x(line)} 0v8`]] : [])]) {
        const path = document.createElementNS("http://www.w3.org/2000/svg", "path");
        path.setAttribute("class", kind);
        path.setAttribute("d", d);
        svg.append(path);
      }
      cell.append(svg);
    }
  }

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
    const value = row => numbers ? number(row.cells[column].textContent) : row.cells[column].textContent;
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
  tables.forEach(drawBands);
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
