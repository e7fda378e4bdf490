// The log: what a test needs, what is wrong with it, and the file it leaves in.
const FORCE = data.force, LENGTH = data.length;
const TESTS = {
  pull: ["held", "released", "stopped_by", "set"],
  reset: ["attempts", "successes", "reversal", "held"],
  veer: ["held", "veer", "veer_held", "released"],
};
const ALWAYS = ["date", "visit", "rode", "scope", "depth", "drag", "hold", "instrument"];
const UNITS = { held: FORCE.column, released: FORCE.column, depth: LENGTH.column, drag: LENGTH.column, hold: "s",
  reversal: "deg", veer: "deg", veer_held: "deg" };
const COLUMNS = ["anchor", "seabed", "test", "date", "visit", "held", "released", "stopped_by", "load_at", "scope", "depth",
  "rode", "drag", "hold", "instrument", "set", "attempts", "successes", "reversal", "veer", "veer_held", "exclude", "note"];

// A chain without a name stands in every row that names no rode; two columns of the campaign's own names.
const CHAIN = data.chain ? ["chain_kg_per_m", "chain_length_m"] : [];

const counts = (entry, field) => TESTS[entry.test].includes(field) || ALWAYS.includes(field);
const numberOf = (entry, field) => counts(entry, field) ? readNumber(entry[field] || "", data.limits[field]) : { value: NaN, text: "" };
const newtons = (entry, field) => numberOf(entry, field).value * FORCE.size;

// Faults and doubts by field, in words: what the campaign's own check would say, said at once.
function findings(entry) {
  const faults = {}, doubts = {};
  for (const field of Object.keys(data.limits)) {
    const { fault, doubt } = numberOf(entry, field);
    if (fault) faults[field] = fault;
    if (doubt) doubts[field] = doubt;
  }
  const value = Object.fromEntries(Object.keys(data.limits).map(field => [field, numberOf(entry, field).value]));
  const need = (field, bad, words) => { if (bad && !faults[field]) faults[field] = words; };
  need("released", value.released < value.held, "Below what it held. Write where it let go after holding; drags while digging in do not count.");
  if (entry.test === "pull") pullFindings(entry, value, need);
  if (entry.test === "reset") {
    need("attempts", !(value.attempts > 0), "Write how often it was tried.");
    need("successes", Number.isNaN(value.successes), "Write how often it set again; 0 when never.");
    need("successes", value.successes > value.attempts, "More than the attempts: check both.");
  }
  if (entry.test === "veer") {
    need("veer", !(value.veer > 0), "Write the angle that was asked for.");
    need("veer_held", value.veer_held > value.veer, "More than was asked for. Leave it blank when it held all the way round.");
    need("held", !(value.held > 0), "Write the load during the turn; without it the turn tells nothing.");
  }
  need("date", !/^[0-9]{4}-[0-9]{2}-[0-9]{2}$/.test(entry.date), "Write the date as 2026-05-31.");
  need("reason", entry.fouled && !clean(entry.reason), "Say what fouled it.");
  return { faults, doubts };
}
function pullFindings(entry, value, need) {
  const moved = value.released > 0, no = entry.set === "no";
  need("held", !(value.held > 0) && !moved && !no && !(entry.released || "").trim(),
    "Write what it held, where it let go, or that it did not dig in.");
  need("stopped_by", moved && entry.stopped_by && entry.stopped_by !== "anchor",
    "It let go, so the anchor stopped the pull. If it did not move, leave that load blank.");
  need("released", !moved && entry.stopped_by === "anchor" && !no, "It let go: write the load at which it did.");
}

// A verdict on what stands in an entry; none for a fouled test, none while a number it needs is wrong, and none for
// less than a whole reversal.
const JUDGED_BY = { pull: ["held", "released"], reset: ["attempts", "successes", "held", "reversal"], veer: ["held", "released", "veer", "veer_held"] };
function verdictOf(entry) {
  const { faults } = findings(entry);
  if (entry.fouled || JUDGED_BY[entry.test].some(name => faults[name])) return null;
  const cell = cellOf(entry.anchor, entry.seabed), number = name => numberOf(entry, name).value;
  const held = newtons(entry, "held"), released = newtons(entry, "released");
  if (entry.test === "veer") return turnVerdict(cell, held, released, number("veer"), number("veer_held"));
  if (entry.test === "pull") return verdict(cell, held, released, entry.set === "no");
  const turned = number("reversal");
  return Number.isNaN(turned) || turned === 180 ? countVerdict(cell, number("attempts"), number("successes"), held) : null;
}

// One line of text without what cannot be seen; the campaign's reader refuses hidden characters.
const clean = text => (text || "").replace(/[\p{Cc}\p{Zl}\p{Zp}]+/gu, " ").replace(/[\p{Cf}\p{Cs}]/gu, "").trim();

function cellText(entry, column) {
  if (column === "load_at") return data.load_at;
  if (CHAIN.includes(column)) return entry.rode ? "" : data.chain[CHAIN.indexOf(column)];
  if (column === "exclude") return entry.fouled ? `fouled: ${clean(entry.reason)}` : "";
  if (column in data.limits) return numberOf(entry, column).text;
  if (["anchor", "seabed", "test"].includes(column)) return entry[column];
  return column === "note" || counts(entry, column) ? clean(entry[column]) : "";
}
const quoted = text => /[",;\r\n]/.test(text) ? `"${text.replace(/"/g, '""')}"` : text;

// trials.csv with the campaign's columns; every row is one that the campaign's check lets through.
function csvText(entries) {
  const columns = [...COLUMNS, ...CHAIN];
  const head = ["trial", ...columns.map(name => UNITS[name] ? `${name}_${UNITS[name]}` : name)];
  const rows = entries.map(entry => [entry.id, ...columns.map(name => cellText(entry, name))]);
  return [head, ...rows].map(row => row.map(quoted).join(",")).join("\n") + "\n";
}

// In words, for the list under a test.
function summary(entry) {
  const load = field => numberOf(entry, field).text, unit = FORCE.word, parts = [];
  if (entry.test === "pull") {
    if (entry.set === "no") parts.push(load("released") ? `did not dig in, slid at ${load("released")} ${unit}` : "did not dig in");
    else {
      if (load("held")) parts.push(`held ${load("held")} ${unit}`);
      parts.push(load("released") ? `let go at ${load("released")} ${unit}` : "did not let go");
    }
  } else if (entry.test === "reset") parts.push(`reset: set again ${load("successes") || "?"} of ${load("attempts") || "?"}`);
  else parts.push(`veer: ${load("veer_held") || load("veer") || "?"}° of ${load("veer") || "?"}° under ${load("held") || "?"} ${unit}`);
  if (entry.fouled) parts.push(`fouled (${clean(entry.reason) || "?"}): stays in the log, left out of the fit`);
  if (clean(entry.note)) parts.push(clean(entry.note));
  return parts.join("; ");
}

// By the phone's own clock and place; the world's time may be on another day.
function localDate(now = new Date()) {
  const two = number => String(number).padStart(2, "0");
  return `${now.getFullYear()}-${two(now.getMonth() + 1)}-${two(now.getDate())}`;
}
