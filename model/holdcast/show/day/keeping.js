// What the phone keeps: everything typed, at once, so that a dead battery loses nothing.
const EMPTY = { phone: "", count: 0, stamp: 0, since: "", day: {}, entries: [], draft: null, aside: 0 };
// `written`: the text of the store that this page knows; `elsewhere`: what is being typed on another page.
let state = { ...EMPTY };
let keeps = true, written = null, elsewhere = null;

// What is kept, out of its text; null for a text that no page of ours wrote whole.
function parsed(text) {
  try {
    const content = JSON.parse(text);
    if (!content || !Array.isArray(content.entries)) return null;
    const whole = entry => ({ made: entry.id, changed: 1, saved: 0, deleted: 0, ...entry });
    return { ...EMPTY, ...content, entries: content.entries.map(whole), draft: content.draft ? whole(content.draft) : null };
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
// Joins a text that was kept to what this page has; returns what was in it, null where it cannot be read.
function join(text) {
  const theirs = parsed(text);
  if (!theirs) { putAside(text); return null; }
  state = joined(state, theirs);
  elsewhere = isOpen(theirs.draft, state.entries) && !(state.draft && state.draft.made === theirs.draft.made) ? theirs.draft : null;
  return theirs;
}
// Joins what stands in the store, where another page wrote it; null where nothing new can be read.
function joinStore() {
  let text = null;
  try { text = localStorage.getItem(data.key); } catch { keeps = false; }
  if (!text || text === written) return null;
  written = text;
  return join(text);
}
// What this phone is called and since when it keeps: under a key of its own, since a browser may read a full store as empty
// while a page loads. So a page that was told nothing has written nothing into the log.
const MARK = `${data.key} phone`;
function markPhone(now) {
  let mark = {};
  try { mark = JSON.parse(localStorage.getItem(MARK)) || {}; } catch { /* unreadable: this page's own stands */ }
  const known = state.phone || mark.phone;
  state.phone = known || chanceMark(2);
  state.since = first(state.since, mark.since) || (known ? now : "");
  if (mark.phone === state.phone && mark.since === state.since) return;
  try { localStorage.setItem(MARK, JSON.stringify({ phone: state.phone, since: state.since })); } catch { keeps = false; }
}
function keep() {
  joinStore();
  const text = JSON.stringify({ ...state, draft: state.draft || elsewhere });
  try {
    localStorage.setItem(data.key, text);
    written = text;
    keeps = true;
  } catch { keeps = false; }
}
// What another page wrote: its text as it was written there, which may have been replaced since. An entry that the store lost
// by that is written again; a page that has none writes nothing.
function hear(text) {
  if (text) join(text);
  joinStore();
  const stored = written && parsed(written);
  if (!state.entries.length && !state.draft) return;
  if (!stored || JSON.stringify(stored.entries) !== JSON.stringify(state.entries)) keep();
}

const knownIds = new Set(data.trials.map(id => id.toLowerCase()));
function newId() {
  let id;
  do id = `${localDate().replace(/-/g, "")}-${state.phone}-${String(++state.count).padStart(2, "0")}`;
  while (knownIds.has(id.toLowerCase()) || state.entries.some(entry => entry.id.toLowerCase() === id.toLowerCase()));
  return id;
}
const inCampaign = entry => knownIds.has(entry.id.toLowerCase());
const finished = entry => !Object.keys(findings(entry).faults).length;
const isDraft = entry => Boolean(state.draft) && !state.draft.edited && entry.made === state.draft.made;
const entriesHere = () => state.entries.filter(entry => !entry.deleted && !isDraft(entry));
const toSave = () => entriesHere().filter(entry => !inCampaign(entry) && finished(entry));

// Entries go together and come back together, the last ones first.
function change(entries, to) {
  const changed = stamp(), names = entries.map(entry => entry.made);
  state.entries = state.entries.map(entry => names.includes(entry.made) ? { ...entry, ...to(changed), changed } : entry);
  keep();
}
const remove = entries => change(entries, changed => ({ deleted: changed }));
function undo() {
  const last = Math.max(...state.entries.map(entry => entry.deleted));
  if (last > 0) change(state.entries.filter(entry => entry.deleted === last), () => ({ deleted: 0 }));
}
