// A turn under load: at which load the anchor lets go after it, from the levels of a few turns.
const turnedLevels = data.turned && unpackedLevels(data.turned), turnedLeast = data.turned && unpacked(data.turned_least);

// Between the turns of the table by the polynomial through all of them; then levels that rise.
function logTurned(cell, degrees) {
  const { turns } = data, levels = [];
  const weights = turns.map(turn => turns.reduce((product, other) => other === turn ? product : product * (degrees - other) / (turn - other), 1));
  data.turn_odds.forEach((_, k) => {
    const level = weights.reduce((sum, weight, at) => sum + weight * turnedLevels[(k * turns.length + at) * cells + cell], 0);
    levels.push(k ? Math.max(level, levels[k - 1]) : level);
  });
  return k => levels[k];
}
const turnOdds = k => data.turn_odds[k];
function turnedChance(cell, degrees, newtons) {
  const log = Math.log(newtons);
  return toChance(log <= turnedLeast[cell] ? turnOdds(0) : between(log, logTurned(cell, degrees), turnOdds, data.turn_odds.length));
}
const turnedAt = (cell, degrees, chance) => Math.exp(Math.max(turnedLeast[cell],
  between(toOdds(chance), turnOdds, logTurned(cell, degrees), data.turn_odds.length)));

// What to expect of a reversal or a turn; blank where the log tells of none.
function turnText(cell, test, degrees) {
  if (cell < 0) return "";
  if (test === "reset" && data.resets) return `Expect it to dig in again in ${shareText(data.resets[cell])} of reversals.`;
  if (test !== "veer" || !data.veer_kept) return "";
  if (!turnedLevels || !(degrees > 0)) return `Expect half a turn under load to leave about ${shareText(data.veer_kept[cell])} of what a straight pull holds.`;
  const [low, middle, high] = [0.05, 0.5, 0.95].map(chance => loadText(turnedAt(cell, degrees, chance)));
  return `After a turn of ${degrees}°, expect ${low} to ${high} ${data.force.word}; half of all turns hold more than ${middle}.`;
}

// The verdict on a turn: held to the end, or let go on the way, up to so many degrees later than it was read.
// null without a load or an angle, and where the log tells of no turn.
function turnVerdict(cell, held, released, asked, reached) {
  if (cell < 0 || !turnedLevels || !(held > 0) || !(asked > 0)) return null;
  const onTheWay = reached < asked;
  const atLeast = 1 - turnedChance(cell, onTheWay ? reached : asked, held);
  const atMost = onTheWay ? turnedChance(cell, Math.min(reached + data.turn_read_to, asked), held)
    : released > 0 ? turnedChance(cell, asked, released) : 1;
  return judged(atLeast, atMost, onTheWay || released > 0, "turn", "turns like this one");
}
