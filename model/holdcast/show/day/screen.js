// The screen: cards, one form that moves between them, and the file.
const byId = id => document.getElementById(id);
const form = byId("entry"), fields = name => form.elements.namedItem(name);
const FIELDS = ["test", "held", "released", "set", "stopped_by", "attempts", "successes", "reversal", "veer", "veer_held", "fouled",
  "reason", "note", "depth", "scope", "drag", "hold", "rode", "instrument", "date", "visit"];
const TYPED = ["held", "released", "attempts", "successes", "reversal", "veer", "veer_held", "fouled", "reason", "note", "drag", "hold", "set", "stopped_by"];
const DAY = ["visit", "rode", "instrument", "scope", "depth"].filter(name => byId(`day-${name}`));
const cards = Array.from(document.querySelectorAll(".test"));
const planned = card => data.plan[card.dataset.test];

function element(name, parent, text, attributes = {}) {
  const made = document.createElement(name);
  if (text !== undefined) made.textContent = text;
  for (const [key, value] of Object.entries(attributes)) made.setAttribute(key, value);
  parent.append(made);
  return made;
}
function show(card) { return planned(card) || { anchor: data.anchors[byId("other-anchor").value], seabed: data.seabeds[byId("other-seabed").value], pulls: 0 }; }
// The first planned test of an anchor in a seabed has its entries; what nobody planned stands under "any other".
const cardOf = entry => cards.find(card => planned(card) && planned(card).anchor === entry.anchor && planned(card).seabed === entry.seabed)
  || cards[cards.length - 1];

function fieldValue(name) {
  const field = fields(name);
  return !field ? "" : name === "fouled" ? field.checked : field.value;
}
function writeField(name, value) {
  const field = fields(name);
  if (!field) return;
  if (name === "fouled") field.checked = Boolean(value);
  else if (field instanceof RadioNodeList) for (const choice of field) choice.checked = choice.value === (value ?? "");
  else field.value = value ?? "";
}

function openForm(entry, card) {
  state.draft = entry;
  for (const name of FIELDS) writeField(name, entry[name]);
  form.querySelector("details").open = false;
  card.querySelector(".place").append(form);
  card.querySelector(".write").hidden = true;
  byId("entry-title").textContent = `${entry.anchor} in ${entry.seabed}`;
  byId("entry-id").textContent = entry.id;
  redrawForm();
}
function closeForm() {
  state.draft = null;
  byId("home").append(form);
  for (const card of cards) card.querySelector(".write").hidden = false;
  keep();
}
const touched = entry => TYPED.some(name => entry[name]);
// Nothing typed is thrown away: a draft that is left for another test is kept as it is, unfinished or not.
function leaveDraft() {
  if (state.draft && touched(state.draft)) keepDraft();
  else if (state.draft) closeForm();
}
function keepDraft() {
  const draft = state.draft, before = state.entries.find(entry => entry.made === draft.made);
  // What was opened and not changed counts as saved still.
  if (!before || before.deleted || FIELDS.some(name => (before[name] || "") !== (draft[name] || "")))
    state.entries = joinedEntries([...state.entries, { ...draft, edited: false, deleted: 0, changed: stamp() }]);
  closeForm();
  redraw();
  return draft;
}
function begin(card) {
  leaveDraft();
  const { anchor, seabed } = show(card), now = new Date();
  const changed = stamp(), made = `${changed}-${chanceMark(4)}`;
  const entry = { made, changed, saved: 0, deleted: 0, id: newId(), anchor, seabed, test: "pull", date: localDate(now), set: "", stopped_by: "" };
  for (const name of DAY) entry[name] = byId(`day-${name}`).value;
  openForm(entry, card);
  keep();
  byId("entry-title").focus();
}

function redrawForm() {
  const draft = state.draft;
  for (const part of form.querySelectorAll("[data-kinds]")) part.hidden = !part.dataset.kinds.split(" ").includes(draft.test);
  byId("reason-line").hidden = !draft.fouled;
  form.querySelector("label[for=f-held] span").textContent = draft.test === "pull" ? "Held at rest" : "Held";
  byId("f-held-hint").textContent = { pull: "highest load held", reset: "load that counted; blank: seen to stop the boat", veer: "load during the turn" }[draft.test];
  form.querySelector("label[for=f-released] span").textContent = draft.test === "pull" && draft.set === "no" ? "Slid at" : "Let go at";
  byId("f-released-hint").textContent = draft.test === "veer" ? "pulled harder after the turn, if it was" : draft.set === "no" ? "blank: not read" : "blank: it never did";
  const { faults, doubts } = findings(draft);
  for (const name of [...FIELDS, "reason"]) {
    const place = byId(`f-${name}-fault`), field = byId(`f-${name}`);
    // What is still blank is asked for when it is kept, not while somebody types.
    const asks = !String(draft[name] ?? "").trim() && !draft.pressed;
    const words = asks ? "" : faults[name] || doubts[name] || "";
    if (place && place.textContent !== words) place.textContent = words;
    if (field && place) field.setAttribute("aria-invalid", String(Boolean(faults[name]) && !asks));
  }
  byId("turn-words").textContent = turnText(cellOf(draft.anchor, draft.seabed), draft.test, faults.veer ? NaN : numberOf(draft, "veer").value);
  byId("keep-words").textContent = draft.pressed && Object.keys(faults).length ? "Not complete. Keep it again to leave it unfinished: it stays here, and out of the file." : "";
  const place = byId("verdict"), found = verdictOf(draft);
  place.textContent = found ? found.words : "";
  place.classList.toggle("repeat", Boolean(found && found.repeat));
  place.dataset.tail = found ? found.chance : "";
}

function redraw() {
  for (const card of cards) redrawCard(card);
  redrawDay();
  redrawSave();
}
// Where the eye belongs after an entry was kept: on its line, with its verdict.
function focusEntry(entry) {
  for (const line of cardOf(entry).querySelectorAll(".entries li")) if (line.dataset.made === entry.made) line.focus();
}
function redrawCard(card) {
  const list = card.querySelector(".entries");
  list.replaceChildren();
  for (const entry of entriesHere().filter(each => cardOf(each) === card)) {
    const line = element("li", list, undefined, { tabindex: "-1", "data-made": entry.made }), found = verdictOf(entry), { faults } = findings(entry);
    const where = planned(card) ? "" : `${entry.anchor} in ${entry.seabed}: `, words = where + summary(entry);
    element("b", line, words[0].toUpperCase() + words.slice(1));
    element("small", line, entry.id + (inCampaign(entry) ? ", in the campaign already" : ""));
    if (Object.keys(faults).length) element("p", line, `Not finished, not in the file yet. ${Object.values(faults)[0]}`, { class: "notice" });
    if (found) element("p", line, found.words, { class: found.repeat ? "repeat" : "" });
    const buttons = element("p", line, undefined, { class: "buttons" });
    for (const [words, act] of [["Edit", () => edit(entry)], ["Delete", () => drop(entry)]]) {
      const button = element("button", buttons, words, { type: "button", "aria-label": `${words} ${entry.id}` });
      button.addEventListener("click", act);
    }
  }
  const test = planned(card);
  if (!test) byId("other-expected").textContent = expectedText(cellOf(show(card).anchor, show(card).seabed));
  const done = list.children.length, button = card.querySelector(".write");
  button.textContent = !done || !test ? "Write down a test" : `Write down another (${done} so far, ${test.pulls} planned)`;
}
function edit(entry) {
  leaveDraft();
  openForm({ ...entry, pressed: true, edited: true, changed: stamp() }, cardOf(entry));
  keep();
  byId("entry-title").focus();
}
function drop(entry) {
  if (state.draft && state.draft.made === entry.made) closeForm();
  remove([entry]);
  redraw();
  byId("undo").focus();
}

function redrawDay() {
  const told = byId("keeping"), rescued = textsAside().length > state.aside;
  byId("save-aside").hidden = !rescued;
  told.textContent = !keeps ? "This browser keeps nothing. Save the file after each test, and write on paper too."
    : rescued ? "What this phone had kept could not be read. It was put aside, not deleted: save it, and write on paper too."
    : state.since ? `This phone keeps what you write (since ${state.since}).`
    : "Before you leave the dock: close this page and open it again. Then it says here whether this phone keeps what you write.";
  for (const name of ["scope", "depth"]) {
    const { fault, doubt } = readNumber(byId(`day-${name}`).value, data.limits[name]);
    byId(`day-${name}-fault`).textContent = fault || doubt || "";
    byId(`day-${name}`).setAttribute("aria-invalid", String(Boolean(fault)));
  }
  const rode = byId("day-rode") ? byId("day-rode").value : "", scope = readNumber(byId("day-scope").value, data.limits.scope).value;
  const other = [rode && rode !== data.rode ? rode : "", data.scope !== null && Math.abs(scope / data.scope - 1) > 0.1 ? `scope ${scope}` : ""].filter(Boolean);
  byId("other-rode").hidden = !other.length;
  byId("other-rode").textContent = other.length ? `The expected loads are not for ${other.join(" and ")}: readings at the bow may come out higher or lower, and "unusual" may mislead.` : "";
}

function redrawSave() {
  const ready = toSave(), open = entriesHere().filter(entry => !inCampaign(entry) && !finished(entry));
  const fresh = ready.filter(entry => entry.saved !== entry.changed).length;
  byId("save-words").textContent = (ready.length === 0 ? "Nothing to save yet." : `${ready.length} test${ready.length > 1 ? "s" : ""} for the file, `
    + (fresh ? `${fresh} not saved yet.` : "all saved.")) + (open.length ? ` Not finished, left out: ${open.map(entry => entry.id).join(", ")}.` : "")
    + (state.draft ? " One is still open: keep it first." : "");
  byId("save-text").value = ready.length ? csvText(ready) : "";
  byId("save-file").disabled = !ready.length;
  byId("share-file").hidden = !ready.length || !sharable();
  byId("undo").hidden = !state.entries.some(entry => entry.deleted);
  byId("clear").hidden = !entriesHere().length;
}
const fileName = () => `trials-${localDate()}-${state.phone}.csv`;
const file = () => new File([csvText(toSave())], fileName(), { type: "text/csv" });
const sharable = () => Boolean(navigator.canShare && navigator.canShare({ files: [file()] }));
function markSaved() {
  // Saving changes no entry: what another window changed meanwhile stands.
  const saved = toSave().map(entry => entry.made);
  state.entries = state.entries.map(entry => saved.includes(entry.made) ? { ...entry, saved: entry.changed } : entry);
  keep();
  redrawSave();
}
function handOut(content) {
  const address = URL.createObjectURL(content);
  const link = element("a", document.body, "", { href: address, download: content.name, hidden: "" });
  link.click();
  link.remove();
  setTimeout(() => URL.revokeObjectURL(address), 60000);
}
function saveFile() {
  handOut(file());
  markSaved();
}
function saveAside() {
  const texts = textsAside();
  handOut(new File([texts.join("\n")], `put-aside-${localDate()}-${state.phone}.txt`, { type: "text/plain" }));
  state.aside = texts.length;
  keep();
  redrawDay();
}
async function shareFile() {
  try { await navigator.share({ files: [file()], title: fileName() }); markSaved(); } catch { /* put off by the tester: nothing is lost */ }
}

// The draft that this page found open and nobody typed in here: when another page keeps it, it is done.
let openedAsKept = null;
function load() {
  const found = joinStore(), today = localDate();
  if (found && found.draft && !isOver(found.draft, state.entries)) state.draft = found.draft;
  elsewhere = null;
  openedAsKept = state.draft && state.draft.made;
  markPhone(`${today} ${new Date().toTimeString().slice(0, 5)}`);
  // A visit is a day's: yesterday's name does not stand for today's.
  if (state.day.date !== today) state.day = { ...state.day, visit: today, date: today };
  state.day = { rode: data.rode, scope: data.scope ?? "", instrument: byId("day-instrument") ? byId("day-instrument").value : "", ...state.day };
  for (const card of cards) card.querySelector(".write").hidden = false;
  if (state.draft) openForm(state.draft, cardOf(state.draft));
  else byId("home").append(form);
  redrawAll();
}
// All but the fields of the test that is open here.
function redrawAll() {
  for (const name of DAY) if (document.activeElement !== byId(`day-${name}`)) byId(`day-${name}`).value = state.day[name] ?? "";
  if (state.draft) byId("entry-id").textContent = state.draft.id;
  redraw();
}

for (const card of cards) {
  card.querySelector(".write").addEventListener("click", () => begin(card));
}
for (const id of ["today", "other", "save"]) byId(id).hidden = false;
form.addEventListener("input", () => {
  for (const name of FIELDS) state.draft[name] = fieldValue(name);
  state.draft.changed = stamp();
  openedAsKept = null;
  keep();
  redrawForm();
});
form.addEventListener("submit", event => {
  event.preventDefault();
  const { faults } = findings(state.draft), first = FIELDS.find(name => faults[name]);
  // Pressed once: the fault is told. Pressed again: it is kept unfinished, for hands that are needed elsewhere.
  if (first && !state.draft.pressed) {
    state.draft.pressed = true;
    keep();
    redrawForm();
    const field = byId(`f-${first}`);
    if (field.closest("details")) field.closest("details").open = true;
    field.focus();
    return;
  }
  focusEntry(keepDraft());
});
// A new test goes where deleted ones go, and can be brought back; an edited one stays as it was.
byId("cancel").addEventListener("click", () => {
  const draft = state.draft, card = cardOf(draft);
  if (touched(draft) && !draft.edited) remove([keepDraft()]);
  else closeForm();
  redraw();
  card.querySelector(".write").focus();
});
byId("today").addEventListener("input", () => {
  state.day = { ...state.day, ...Object.fromEntries(DAY.map(name => [name, byId(`day-${name}`).value])), changed: stamp() };
  keep();
  redrawDay();
});
byId("other").addEventListener("input", event => { if (!form.contains(event.target)) redraw(); });
byId("save-file").addEventListener("click", saveFile);
byId("save-aside").addEventListener("click", saveAside);
byId("share-file").addEventListener("click", shareFile);
byId("save-text").addEventListener("focus", event => event.target.select());
byId("undo").addEventListener("click", () => { undo(); redraw(); });
byId("clear").addEventListener("click", () => { leaveDraft(); remove(entriesHere()); redraw(); byId("undo").focus(); });
// The same page open twice: what one keeps, the other shows, also one that slept meanwhile.
function showJoined() {
  if (state.draft && state.draft.made === openedAsKept && isOver(state.draft, state.entries)) closeForm();
  redrawAll();
}
addEventListener("storage", event => {
  if (event.key === data.key && event.newValue) hear(event.newValue);
  showJoined();
});
function catchUp() { if (joinStore()) showJoined(); }
addEventListener("pageshow", catchUp);
document.addEventListener("visibilitychange", catchUp);
load();
