// Capacity against mass on each anchor's own sheet, a panel a seabed, drawn when the sheet is opened.
(() => {
  const { data, draws, floats, element, drawing, quantile, POUNDS_FORCE, POUND } = page, { curves } = data;
  if (!curves) return;
  const [LEFT, RIGHT, TOP, BOTTOM] = [28, 152, 5, 82];
  const us = data.units === "us", force = us ? POUNDS_FORCE : 1000, weight = us ? POUND : 1;
  const [forceUnit, massUnit] = us ? ["lbf", "lb"] : ["kN", "kg"];
  const logs = floats(curves.capacity), masses = curves.masses.map(Math.log), last = masses.length - 1;
  const seabeds = data.seabeds.length, samples = draws.visit_spread.length;
  // One design that hardly sets would press all others together: below half the least median where any was pulled, a
  // band runs along the foot.
  const medians = logs.filter((_, i) => i % 3 === 1), some = medians.filter((_, i) => pulledThere(Math.floor(i / masses.length)));
  const low = Math.min(...(some.length ? some : medians)) - Math.LN2, high = Math.max(...logs) + 0.05;
  const x = mass => (LEFT + (RIGHT - LEFT) * (mass - masses[0]) / (masses[last] - masses[0])).toFixed(1);
  const y = load => (BOTTOM - (BOTTOM - TOP) * (Math.min(Math.max(load, low), high) - low) / (high - low)).toFixed(1);
  function pulledThere(cell) {
    const design = Math.floor(cell / seabeds), seabed = cell % seabeds;
    return data.anchors.some((_, a) => curves.of[a] === design && data.tested[a][seabed]);
  }
  const three = value => Number(value.toPrecision(3));

  // Round numbers within the ends of a logarithmic axis: 1-2-5, or 1-3, or tens, as many as fit.
  function ticks(from, to, most) {
    for (const steps of [[1, 2, 5], [1, 3], [1]]) {
      const round = [];
      for (let tens = Math.floor(Math.log10(from)); tens <= Math.log10(to); tens++)
        for (const step of steps) round.push(Number((step * 10 ** tens).toPrecision(2)));
      const inside = round.filter(tick => tick >= from && tick <= to);
      if (inside.length <= most) return inside;
    }
    return [];
  }
  const loadTicks = ticks(Math.exp(low) / force, Math.exp(high) / force, 5);
  const massTicks = ticks(curves.masses[0] / weight, curves.masses[last] / weight, 4);

  // The curve of a design in a seabed, quantile by quantile: 5%, 50% and 95% of its log capacity at each mass.
  const curve = (design, seabed, q) => masses.map((_, m) => logs[((design * seabeds + seabed) * masses.length + m) * 3 + q]);
  const line = points => points.map(([across, up], i) => `${i ? "L" : "M"}${x(across)} ${y(up)}`).join("");
  function between(mass, values) {
    const i = Math.min(Math.max(masses.findIndex(each => each >= mass), 1), last);
    return values[i - 1] + (mass - masses[i - 1]) / (masses[i] - masses[i - 1]) * (values[i] - values[i - 1]);
  }
  // The median is full between the least and the largest mass of the design that was pulled anywhere.
  function inside(design, middle) {
    const pulled = data.anchors.filter((_, a) => curves.of[a] === design && data.tested[a].some(Boolean))
      .map(anchor => Math.log(anchor.mass));
    if (pulled.length < 2) return [];
    const ends = [Math.min(...pulled), Math.max(...pulled)];
    const between_ends = masses.filter(mass => mass > ends[0] && mass < ends[1]);
    return [ends[0], ...between_ends, ends[1]].map(mass => [mass, between(mass, middle)]);
  }

  function axes(svg) {
    for (const tick of loadTicks) {
      const at = y(Math.log(tick * force));
      drawing("path", svg, { d: `M${LEFT} ${at}H${RIGHT}`, class: "rule" });
      drawing("text", svg, { x: LEFT - 3, y: Number(at) + 3, "text-anchor": "end" }).textContent = tick;
    }
    for (const tick of massTicks) {
      const at = x(Math.log(tick * weight));
      drawing("path", svg, { d: `M${at} ${TOP}V${BOTTOM}`, class: "rule" });
      drawing("text", svg, { x: at, y: BOTTOM + 12, "text-anchor": "middle" }).textContent = tick;
    }
  }
  function panel(parent, a, seabed) {
    const design = curves.of[a], tested = Boolean(data.tested[a][seabed]), mass = Math.log(data.anchors[a].mass);
    const [least, middle, most] = [0, 1, 2].map(q => curve(design, seabed, q));
    const pulled = data.anchors.filter((_, b) => curves.of[b] === design && data.tested[b][seabed]);
    const figure = element("figure", parent);
    element("figcaption", figure, `${data.seabeds[seabed]}, ${forceUnit} by ${massUnit}` + (pulled.length ? "" : ", design untested here"));
    const words = curves.masses.map((each, m) => `${three(each / weight)} ${massUnit}: ${three(Math.exp(middle[m]) / force)} `
      + `(${three(Math.exp(least[m]) / force)} to ${three(Math.exp(most[m]) / force)}) ${forceUnit}`).join("; ");
    const svg = drawing("svg", figure, { viewBox: "0 0 160 98", role: "img",
      "aria-label": `Capacity by mass in ${data.seabeds[seabed]}. ${words}` });
    axes(svg);
    const around = [...masses.map((each, m) => [each, most[m]]), ...masses.map((each, m) => [each, least[m]]).reverse()];
    drawing("path", svg, { d: `${line(around)}Z`, class: "area" });
    drawing("path", svg, { d: line(masses.map((each, m) => [each, middle[m]])), class: "guess" });
    const full = inside(design, middle);
    if (full.length) drawing("path", svg, { d: line(full), class: "line" });
    for (const other of pulled) drawing("path", svg, { d: `M${x(Math.log(other.mass))} ${BOTTOM}v-7`, class: "pulled" });
    const own = Float64Array.from({ length: samples },
      (_, d) => draws.log_capacity[(d * data.anchors.length + a) * seabeds + seabed]).sort();
    drawing("path", svg, { d: `M${x(mass)} ${y(quantile(own, 0.05))}V${y(quantile(own, 0.95))}`,
      class: tested ? "own" : "own guess" });
    drawing("circle", svg, { cx: x(mass), cy: y(quantile(own, 0.5)), r: 3.2, class: tested ? "dot" : "dot hollow" });
  }
  document.getElementById("curves-note").hidden = false;
  for (const [a, sheet] of document.querySelectorAll("details.anchor").entries()) sheet.addEventListener("toggle", () => {
    const place = sheet.querySelector(".curves");
    if (sheet.open && !place.childElementCount) data.seabeds.forEach((_, seabed) => panel(place, a, seabed));
  });
})();
