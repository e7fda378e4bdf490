// The same page open twice: what two pages keep is joined, entry by entry, so that neither replaces the other's.
// Both come to the same, in whatever order they hear of each other.

// Rises with every change, also where the phone's clock stands still or goes back.
function stamp() {
  state.stamp = Math.max(Date.now(), state.stamp + 1);
  return state.stamp;
}
// Letters or digits of chance, so that two phones with one plan give out different ids.
function chanceMark(length) {
  const letters = "abcdefghjkmnpqrstuvwxyz23456789", bytes = crypto.getRandomValues(new Uint8Array(length));
  return Array.from(bytes, byte => letters[byte % letters.length]).join("");
}

// Of two forms of one entry the later; of one change the form that was saved.
const isLater = (one, other) => (one.changed - other.changed || one.saved - other.saved || (one.id > other.id ? 1 : -1)) > 0;
function joinedEntries(entries) {
  const latest = new Map();
  for (const entry of entries) if (!latest.has(entry.made) || isLater(entry, latest.get(entry.made))) latest.set(entry.made, entry);
  return [...latest.values()].sort((one, other) => one.made < other.made ? -1 : 1);
}
// Two pages that had not heard of each other may have given one id to two tests: the later test takes another.
function withIdsOfTheirOwn(joint) {
  const owners = new Map();
  function named(entry) {
    let id = entry.id;
    while (owners.has(id.toLowerCase()) && owners.get(id.toLowerCase()) !== entry.made)
      id = entry.id.replace(/[0-9]+$/, String(++joint.count).padStart(2, "0"));
    owners.set(id.toLowerCase(), entry.made);
    return id === entry.id ? entry : { ...entry, id };
  }
  joint.entries = joint.entries.map(named);
  if (joint.draft) joint.draft = named(joint.draft);
  return joint;
}
const first = (one, other) => !one || (other && other < one) ? other : one;
// The draft on this screen stays on it. What somebody types on the other page stays there; where both pages have a draft,
// the other's is an unfinished entry here until that page keeps it.
function joined(mine, theirs) {
  const both = mine.draft && isOpen(theirs.draft, theirs.entries) && theirs.draft.made !== mine.draft.made;
  return withIdsOfTheirOwn({
    phone: first(mine.phone, theirs.phone), since: first(mine.since, theirs.since),
    count: Math.max(mine.count, theirs.count), stamp: Math.max(mine.stamp, theirs.stamp), aside: Math.max(mine.aside, theirs.aside),
    day: (theirs.day.changed || 0) > (mine.day.changed || 0) ? theirs.day : mine.day,
    entries: joinedEntries([...mine.entries, ...theirs.entries, ...both ? [theirs.draft] : []]),
    draft: mine.draft,
  });
}
// A draft that was kept or deleted since, and one that was typed in and was not.
const isOver = (draft, entries) => entries.some(entry => entry.made === draft.made && entry.changed >= draft.changed);
const isOpen = (draft, entries) => Boolean(draft) && touched(draft) && !isOver(draft, entries);
