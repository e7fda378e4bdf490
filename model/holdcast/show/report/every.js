// The least efficiency over all seabeds as a line in each row, on one scale, beside the tester's threshold.
(() => {
  const { data, draws, drawing, quantile } = page, GRAVITY = 9.80665;
  const table = document.getElementById("every-table");
  if (!table) return;
  const samples = draws.visit_spread.length, anchors = data.anchors.length, seabeds = data.seabeds.length;
  const threshold = Math.log(Number(table.dataset.line));
  const rows = data.anchors.map((anchor, a) => {
    const weight = Math.log(anchor.mass * GRAVITY);
    const here = data.seabeds.map((_, s) => Float64Array.from({ length: samples },
      (_, d) => draws.log_capacity[(d * anchors + a) * seabeds + s] - weight));
    const least = Float64Array.from({ length: samples }, (_, d) => Math.min(...here.map(each => each[d]))).sort();
    return { band: [0.05, 0.5, 0.95].map(q => quantile(least, q)), medians: here.map(each => quantile(each.sort(), 0.5)) };
  });
  const all = rows.flatMap(row => [...row.band, ...row.medians]).concat(threshold);
  const low = Math.min(...all), high = Math.max(...all);
  const x = value => (3 + 194 * (value - low) / (high - low)).toFixed(0);
  table.querySelectorAll("td.drawn").forEach((cell, a) => {
    const { band, medians } = rows[a], tested = data.tested[a].every(Boolean);
    const svg = drawing("svg", cell, { viewBox: "0 0 200 20", class: "band", "aria-hidden": "true", focusable: "false" });
    drawing("path", svg, { d: `M${x(threshold)} 0v20`, class: "load" });
    drawing("path", svg, { d: `M${x(band[0])} 14H${x(band[2])}`, class: tested ? "line" : "guess" });
    drawing("path", svg, { d: `M${x(band[1])} 9v10`, class: "middle" });
    drawing("path", svg, { d: medians.map(value => `M${x(value)} 1v6`).join(""), class: "seabed" });
  });
  table.classList.add("with-lines");
})();
