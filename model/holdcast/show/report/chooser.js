// Choosing an anchor: reads the joint draws on this page, counts, and writes a table. Nothing is fetched.
(() => {
  const { data, draws, element, drawing, quantile } = page;
  const form = document.getElementById("choice");
  const result = document.getElementById("choice-result");
  const said = document.getElementById("choice-said");
  const REACH = 4.8, SURE = 0.95;
  const { POUNDS_FORCE, POUND } = page, FOOT = 0.3048, KNOT = 1852 / 3600, GRAVITY = 9.80665;

  const samples = draws.visit_spread.length, anchors = data.anchors.length, seabeds = data.seabeds.length;

  function between(x, xs, ys) {
    if (x <= xs[0]) return ys[0];
    for (let i = 1; i < xs.length; i++)
      if (x <= xs[i]) return ys[i - 1] + (x - xs[i - 1]) / (xs[i] - xs[i - 1]) * (ys[i] - ys[i - 1]);
    return ys[ys.length - 1];
  }
  // The table of loads by length and wind, log-log between entries, its own power outside (the page names it).
  function mooringLoad(length, wind) {
    if (!(length > 0) || !(wind > 0)) return NaN;
    const { lengths, winds, loads, power } = data.wind;
    const l = Math.log(length), w = Math.log(wind), last = winds.length - 1;
    const outside = Math.min(l - lengths[0], 0) + Math.max(l - lengths[lengths.length - 1], 0);
    const row = winds.map((_, k) => between(l, lengths, loads.map(each => each[k])) + power * outside);
    const far = Math.min(w - winds[0], 0) + Math.max(w - winds[last], 0);
    return Math.exp(between(w, winds, row) + 2 * far);
  }
  function outsideTable(length, wind) {
    const { lengths, winds } = data.wind, slack = 1e-6;
    const off = (x, xs) => Math.log(x) < xs[0] - slack || Math.log(x) > xs[xs.length - 1] + slack;
    return off(length, lengths) || off(wind, winds);
  }

  // Chance that visit (normal) and pull (Student's t, 4 degrees of freedom) leave a load held.
  function grid(ratio) {
    const steps = Math.min(200, Math.ceil(REACH / Math.min(1, 0.85 / Math.max(ratio, 1e-9))));
    const nodes = [], weights = [];
    let total = 0;
    for (let k = -steps; k <= steps; k++) {
      const node = k * REACH / steps, weight = Math.exp(-0.5 * node * node);
      nodes.push(node * ratio); weights.push(weight); total += weight;
    }
    return { nodes, weights: weights.map(weight => weight / total) };
  }
  function survival(margin, { nodes, weights }) {
    let total = 0;
    for (let k = 0; k < nodes.length; k++) {
      const t = margin + nodes[k], u = t / Math.sqrt(4 + t * t);
      total += weights[k] * (0.5 + 0.75 * u - 0.25 * u * u * u);
    }
    return total;
  }
  // Share of a normal below a number: Abramowitz and Stegun 26.2.17 (value from memory), off by at most 7.5e-8.
  function below(z) {
    const k = 1 / (1 + 0.2316419 * Math.abs(z));
    const tail = Math.exp(-0.5 * z * z) / Math.sqrt(2 * Math.PI) * k
      * (0.319381530 + k * (-0.356563782 + k * (1.781477937 + k * (-1.821255978 + k * 1.330274429))));
    return z > 0 ? 1 - tail : tail;
  }
  const weights = data.anchors.map(anchor => Math.log(anchor.mass * GRAVITY));
  // How a rode leads that is pulled straight at a scope; along the bottom without one. The fall of capacity with the
  // angle and what the anchor's own weight resists are those of the program; their constants come with the data.
  function lead(scope) {
    const { knee, reference, friction_angle, resists, let_go } = data.rode, RADIAN = Math.PI / 180;
    const angle = scope === null ? 0 : Math.asin(1 / scope) / RADIAN;
    const bend = degrees => degrees * degrees / (Math.sqrt(degrees * degrees + knee * knee) + knee);
    const steep = Math.min(angle, friction_angle) * RADIAN, friction = Math.tan(friction_angle * RADIAN);
    const resisted = resists / (Math.cos(steep) + friction * Math.sin(steep));
    return { angle, factor: 1 / Math.cos(angle * RADIAN), fall: bend(angle) / bend(reference),
      floor: Math.min(resisted, let_go ?? Infinity) };
  }
  // Each anchor's chance by draw in all chosen seabeds, its mean by seabed, and its weakest capacity by draw, on that
  // rode; the load is that along the rode.
  function chances(load, chosen, { fall, floor }) {
    const log = Math.log(load), slid = new Float64Array(anchors);
    const joint = Array.from({ length: anchors }, () => new Float64Array(samples).fill(1));
    const weakest = Array.from({ length: anchors }, () => new Float64Array(samples).fill(Infinity));
    const mean = Array.from({ length: anchors }, () => new Float64Array(seabeds));
    for (let d = 0; d < samples; d++) {
      for (let a = 0; a < anchors; a++)
        slid[a] = below((draws.log_sliding_efficiency[d] + weights[a] - log) / draws.sliding_scatter[d]);
      for (const s of chosen) {
        const scatter = draws.pull_scatter[d * seabeds + s], law = grid(draws.visit_spread[d] / scatter);
        for (let a = 0; a < anchors; a++) {
          const at = (d * anchors + a) * seabeds + s, sets = draws.sets[at];
          const capacity = draws.log_capacity[at] - draws.strength_of_fall[d] * fall;
          // No pull is told to stay below what the anchor's own weight resists by sliding.
          const held = load <= floor * Math.exp(weights[a]) ? 1
            : sets * survival((capacity - log) / scatter, law) + (1 - sets) * slid[a];
          joint[a][d] *= held;
          mean[a][s] += held / samples;
          if (capacity < weakest[a][d]) weakest[a][d] = capacity;
        }
      }
    }
    return { joint, mean, weakest };
  }
  // The places an anchor may have: others count where they are surely better or worse in 95% of the draws.
  function places(shown, joint) {
    return shown.map(a => {
      let better = 0, worse = 0;
      for (const b of shown) {
        if (a === b) continue;
        let up = 0, down = 0;
        for (let d = 0; d < samples; d++) {
          if (joint[a][d] > joint[b][d]) up++;
          else if (joint[a][d] < joint[b][d]) down++;
        }
        if (down >= SURE * samples) better++;
        if (up >= SURE * samples) worse++;
      }
      return [1 + better, shown.length - worse];
    });
  }

  const number = id => parseFloat(document.getElementById(id).value);
  const ticked = name => Array.from(form.querySelectorAll(`input[name=${name}]:checked`), box => Number(box.value));
  const us = () => document.getElementById("choice-units").value === "us";
  const loadText = newtons => us() ? `${Number((newtons / POUNDS_FORCE).toPrecision(3))} lbf`
    : `${Number((newtons / 1000).toPrecision(3))} kN`;
  const massText = kg => us() ? `${(kg / POUND).toFixed(0)} lb` : `${Number(kg.toFixed(1))} kg`;
  const chanceText = p => p < 0.005 ? "<1%" : p > 0.995 ? ">99%"
    : `${(100 * p).toFixed(p > 0.9 ? 1 : 0)}%`;
  function asked() {
    const wind = number("choice-wind") * KNOT, force = us() ? POUNDS_FORCE : 1000;
    const length = number("choice-length") * (us() ? FOOT : 1), given = number("choice-load");
    const byLength = document.getElementById("choice-by").value === "length";
    const rode = document.getElementById("choice-rode").value, metre = us() ? FOOT : 1;
    const scope = rode === "bottom" ? null : rode === "scope" ? number("choice-scope")
      : number("choice-rode-length") * metre / (number("choice-depth") * metre + number("choice-bow") * metre);
    return {
      rode, scope,
      load: byLength ? mooringLoad(length, wind) : given > 0 ? given * force : NaN,
      outside: byLength && outsideTable(length, wind),
      chance: number("choice-chance"), seabeds: ticked("seabed"), forms: ticked("form").map(i => data.forms[i]),
      mass: number("choice-mass") * (us() ? POUND : 1), price: data.price ? number("choice-price") : NaN,
    };
  }
  const fits = (anchor, question) => question.forms.includes(anchor.form)
    && !(anchor.mass > question.mass) && !(Number.isFinite(question.price) && !(anchor.price <= question.price));

  function redraw() {
    const began = performance.now(), question = asked();
    const byLength = document.getElementById("choice-by").value === "length";
    for (const id of ["choice-length", "choice-wind"]) document.getElementById(id).parentElement.hidden = !byLength;
    document.getElementById("choice-load").parentElement.hidden = byLength;
    for (const [id, kind] of [["choice-scope", "scope"], ["choice-rode-length", "length"], ["choice-depth", "length"],
      ["choice-bow", "length"]]) document.getElementById(id).parentElement.hidden = question.rode !== kind;
    for (const unit of form.querySelectorAll("[data-si]")) unit.textContent = unit.dataset[us() ? "us" : "si"];
    const missing = !question.seabeds.length ? "Choose at least one seabed."
      : !(question.load > 0) ? "Give the boat's length and wind, or a load, above 0."
      : question.scope === null || question.scope > 1 ? ""
      : question.rode === "scope" ? "Give a scope above 1."
      : "Give rode, depth and bow height; the rode is longer than depth and bow height together.";
    if (missing) {
      result.replaceChildren();
      said.textContent = missing;
      return;
    }
    const straight = lead(question.scope);
    question.tension = question.load * straight.factor;
    question.angle = straight.angle;
    const shown = data.anchors.map((_, a) => a).filter(a => fits(data.anchors[a], question));
    const { joint, mean, weakest } = chances(question.tension, question.seabeds, straight);
    const place = places(shown, joint);
    const rows = shown.map((a, i) => {
      const sorted = Float64Array.from(weakest[a]).sort();
      return { a, place: place[i], chance: joint[a].reduce((sum, p) => sum + p, 0) / samples,
        band: [0.05, 0.5, 0.95].map(q => quantile(sorted, q)),
        untested: question.seabeds.filter(s => !data.tested[a][s]) };
    }).sort((x, y) => y.chance - x.chance);
    write(question, rows, mean);
    result.dataset.loadN = question.load;
    result.dataset.tensionN = question.tension;
    result.dataset.redrawMs = (performance.now() - began).toFixed(1);
  }

  const short = value => Number(value.toPrecision(3));
  const alongRode = ({ scope, tension, angle }) => scope === null ? ""
    : `, ${loadText(tension)} along the rode at scope ${short(scope)} (${short(angle)}°)`;
  // A scope within a hundredth of the least pulled counts as the same one.
  function beyond(scope) {
    const least = data.rode.least_scope;
    if (scope === null || (least !== null && scope >= 0.99 * least)) return "";
    return least === null ? " No pull lifted a known rode: the fall with the angle is what the trade expects."
      : ` Pulls had scope ${short(least)} or more: the fall with the angle is carried beyond that.`;
  }
  function write(question, rows, mean) {
    const enough = rows.filter(row => row.chance >= question.chance);
    const where = question.seabeds.length === 1 ? `in ${data.seabeds[question.seabeds[0]]}`
      : `in all ${question.seabeds.length} seabeds together`;
    said.textContent = `Load ${loadText(question.load)}${alongRode(question)}. ${enough.length} of ${rows.length} anchors `
      + `${enough.length === 1 ? "reaches" : "reach"} ${100 * question.chance}% ${where}.` + (question.outside
        ? " This length or wind is outside the printed table of loads: an extrapolation." : "") + beyond(question.scope);
    const table = document.createElement("table");
    table.className = "choice";
    element("caption", table, `Chance that one new pull holds ${loadText(question.load)} ${where}`);
    const head = element("tr", element("thead", table));
    const many = question.seabeds.length > 1, price = data.price && rows.some(row => data.anchors[row.a].price !== null);
    for (const [text, kind] of [["anchor", ""], ["chance", "number"], ["place", "number"], ["capacity, 90% band", ""],
      ...(price ? [[data.price, "number"]] : []),
      ...(many ? question.seabeds.map(s => [data.seabeds[s], "number more"]) : [])])
      element("th", head, text, { scope: "col", class: kind });
    const low = Math.min(Math.log(question.tension), ...rows.map(row => row.band[0])) - 0.1;
    const high = Math.max(Math.log(question.tension), ...rows.map(row => row.band[2])) + 0.1;
    const across = 4 + many * question.seabeds.length + (price ? 1 : 0);
    for (const [name, part] of [["reach", enough],
      ["do not reach", rows.filter(row => !enough.includes(row))]]) {
      if (!part.length) continue;
      const body = element("tbody", table);
      element("th", element("tr", body, undefined, { class: "form" }), `${name} ${100 * question.chance}%: ${part.length}`,
        { colspan: across, scope: "rowgroup" });
      for (const row of part) writeRow(body, row, { low, high, question, mean, many, price });
    }
    result.replaceChildren(table);
  }

  function writeRow(body, row, { low, high, question, mean, many, price }) {
    const anchor = data.anchors[row.a], line = element("tr", body);
    const head = element("th", line, undefined, { scope: "row" });
    element("a", head, anchor.name, { href: `#anchor-${row.a + 1}` });
    element("small", head, ` ${massText(anchor.mass)}, ${anchor.form}`);
    if (row.untested.length)
      element("small", head, ` untested in ${row.untested.map(s => data.seabeds[s]).join(", ")}`, { class: "untold" });
    element("td", line, chanceText(row.chance), { class: "number median", "data-chance": row.chance });
    element("td", line, row.place[0] === row.place[1] ? row.place[0] : `${row.place[0]}–${row.place[1]}`, { class: "number" });
    const cell = element("td", line, undefined, { class: "drawn" }), x = v => (200 * (v - low) / (high - low)).toFixed(1);
    const band = row.band.map(v => loadText(Math.exp(v)));
    const svg = drawing("svg", cell, { viewBox: "0 0 200 16", class: "band", "aria-hidden": "true", focusable: "false" });
    drawing("path", svg, { d: `M${x(row.band[0])} 8H${x(row.band[2])}`, class: row.untested.length ? "guess" : "line" });
    drawing("path", svg, { d: `M${x(row.band[1])} 3v10`, class: "middle" });
    drawing("path", svg, { d: `M${x(Math.log(question.tension))} 0v16`, class: "load" });
    element("small", cell, `${band[1]} (${band[0]} to ${band[2]})`);
    if (price) element("td", line, anchor.price ?? "", { class: "number" });
    if (many) for (const s of question.seabeds) element("td", line, data.tested[row.a][s]
      ? chanceText(mean[row.a][s]) : `[${chanceText(mean[row.a][s])}]`, { class: "number more" });
  }

  // A change of units turns what stands in the boxes, so that the question stays the same.
  function turnUnits() {
    for (const [id, factor] of [["choice-length", FOOT], ["choice-rode-length", FOOT], ["choice-depth", FOOT],
      ["choice-bow", FOOT], ["choice-mass", POUND], ["choice-load", POUNDS_FORCE / 1000]]) {
      const box = document.getElementById(id), value = parseFloat(box.value);
      if (value > 0) box.value = Number((us() ? value / factor : value * factor).toPrecision(4));
    }
  }
  form.hidden = false;
  document.getElementById("choice-units").addEventListener("input", turnUnits);
  form.addEventListener("input", redraw);
  form.addEventListener("submit", event => event.preventDefault());
  redraw();
})();
