// What the phone keeps: everything typed, at once, so that a dead battery loses nothing.
const EMPTY = { phone: "", count: 0, since: "", day: {}, entries: [], draft: null, removed: [], saved: [], aside: 0 };
let state = { ...EMPTY };
let keeps = true, written = null;

// What is kept, out of its text; null for a text that no page of ours wrote whole.
function parsed(text) {
  try {
    const found = JSON.parse(text);
    return found && Array.isArray(found.entries) ? found : null;
  } catch { return null; }
}
// What cannot be read is put aside, never written over: by every page that meets it, and told until it was saved.
const ASIDE = `${data.key} unreadable`;
function putAside(text) {
  try {
    const texts = textsAside();
    if (!texts.includes(text)) localStorage.setItem(texts.length ? `${ASIDE} ${texts.length + 1}` : ASIDE, text);
  } catch { keeps = false; }
}
function textsAside() {
  const texts = [];
  try {
    for (let text = localStorage.getItem(ASIDE); text !== null; text = localStorage.getItem(`${ASIDE} ${texts.length + 1}`)) texts.push(text);
  } catch { keeps = false; }
  return texts;
}
function kept() {
  let text = null;
  try { text = localStorage.getItem(data.key); } catch { keeps = false; }
  if (!text) return null;
  const found = parsed(text);
  if (found) { written = text; return { ...EMPTY, ...found }; }
  putAside(text);
  return null;
}
function keep() {
  const text = JSON.stringify(state);
  try {
    const there = localStorage.getItem(data.key);
    if (there && there !== written && !parsed(there)) putAside(there);
    localStorage.setItem(data.key, text);
    written = text;
    keeps = true;
  } catch { keeps = false; }
}
function writtenElsewhere() {
  try { return keeps && localStorage.getItem(data.key) !== written; } catch { return false; }
}

// Two letters or digits of chance, so that two phones with one plan give out different ids.
function phoneMark() {
  const letters = "abcdefghjkmnpqrstuvwxyz23456789", bytes = crypto.getRandomValues(new Uint8Array(2));
  return Array.from(bytes, byte => letters[byte % letters.length]).join("");
}
const knownIds = new Set(data.trials.map(id => id.toLowerCase()));
function newId() {
  let id;
  do id = `${localDate().replace(/-/g, "")}-${state.phone}-${String(++state.count).padStart(2, "0")}`;
  while (knownIds.has(id.toLowerCase()));
  return id;
}
const inCampaign = entry => knownIds.has(entry.id.toLowerCase());
const finished = entry => !Object.keys(findings(entry).faults).length;
const toSave = () => state.entries.filter(entry => !inCampaign(entry) && finished(entry));

// Entries go together and come back together, the last ones first.
function remove(ids) {
  const gone = state.entries.map((entry, place) => ({ entry, place })).filter(({ entry }) => ids.includes(entry.id));
  state.removed = [...state.removed, gone].slice(-20);
  state.entries = state.entries.filter(entry => !ids.includes(entry.id));
  keep();
}
function undo() {
  for (const { entry, place } of state.removed.pop() || []) state.entries.splice(place, 0, entry);
  keep();
}
