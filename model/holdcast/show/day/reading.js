// What a reading says: numbers as people type them, the table of expected loads, and a verdict in words.
const data = JSON.parse(document.getElementById("day-data").textContent);
const UNUSUAL = 0.05;

// Whole numbers of 16 bits, little end first, to floats: low + step * whole. Level by level, anchor by anchor.
function unpacked({ data: text, low, step }) {
  const bytes = atob(text), values = new Float64Array(bytes.length / 2);
  for (let i = 0; i < values.length; i++)
    values[i] = low[0] + step[0] * (bytes.charCodeAt(2 * i) + 256 * bytes.charCodeAt(2 * i + 1));
  return values;
}
// Levels that rise: the lowest of each cell as above, then how far each stands above the one below it, in two digits.
const DIGITS = Object.fromEntries(Array.from("ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/", (digit, at) => [digit, at]));
function unpackedLevels({ first, rises, low, step }) {
  const lowest = unpacked({ data: first, low: [0], step: [1] }), places = lowest.length;
  const whole = new Float64Array(places + rises.length / 2);
  whole.set(lowest);
  for (let i = places, at = 0; i < whole.length; i++, at += 2)
    whole[i] = whole[i - places] + 64 * DIGITS[rises[at]] + DIGITS[rises[at + 1]];
  return whole.map(number => low + step * number);
}
const logReadings = unpackedLevels(data.readings);
const resetOdds = data.reset_odds && unpacked(data.reset_odds);
const resetConcentration = data.reset_odds && unpacked(data.reset_log_concentration).map(Math.exp);
const cells = data.anchors.length * data.seabeds.length;

// Where a name stands in the table; -1 for a name that this page does not know.
function cellOf(anchor, seabed) {
  const a = data.anchors.indexOf(anchor), s = data.seabeds.indexOf(seabed);
  return a < 0 || s < 0 ? -1 : a * data.seabeds.length + s;
}

// The line through points of rising x; level beyond the ends.
function between(x, xs, ys, points) {
  if (x <= xs(0)) return ys(0);
  for (let k = 1; k < points; k++)
    if (x <= xs(k)) return xs(k) === xs(k - 1) ? ys(k) : ys(k - 1) + (x - xs(k - 1)) / (xs(k) - xs(k - 1)) * (ys(k) - ys(k - 1));
  return ys(points - 1);
}
const toOdds = chance => Math.log(chance / (1 - chance)), toChance = odds => 1 / (1 + Math.exp(-odds));
// Lines between the log of a reading and the odds of a lower one, as the program's other answers draw them.
const odds = k => data.odds[k], logReading = cell => k => logReadings[k * cells + cell];
const readingAt = (cell, chance) => Math.exp(between(toOdds(chance), odds, logReading(cell), data.odds.length));
const chanceUpTo = (cell, newtons) => toChance(between(Math.log(newtons), logReading(cell), odds, data.odds.length));

// Chance of a reading as far out as this or further, on either side, before it was seen.
// held: the highest load held [N], 0 when it never held; released: where it let go [N], Infinity when it did not.
function sides(cell, held, released) {
  return { atLeast: held > 0 ? 1 - chanceUpTo(cell, held) : 1, atMost: released === Infinity ? 1 : chanceUpTo(cell, released) };
}

// "2.5", "2,5" and ".5" are numbers; "1,200" and "1.200" are too, but somebody may mean twelve hundred.
function readNumber(text, limit) {
  const typed = text.trim();
  if (!typed) return { value: NaN, text: "" };
  const point = typed.replace(",", ".");
  if (!/^([0-9]+\.?[0-9]*|\.[0-9]+)$/.test(point)) {
    const number = typed.match(/[0-9]+([.,][0-9]+)?/);
    return { value: NaN, text: "", fault: /^[-+−]/.test(typed) ? "Write the number without a sign."
      : number ? `Write the number alone, such as ${number[0]}: no letters, no unit, no spaces.` : "Write a number such as 2.5." };
  }
  const value = Number(point), answer = { value, text: point };
  if (limit.whole && !Number.isInteger(value)) answer.fault = "Write a whole number.";
  else if (limit.above !== null && !(value > limit.above)) answer.fault = `Write a number above ${limit.above}, or leave it blank.`;
  else if (limit.least !== null && value < limit.least) answer.fault = `Write ${roundNumber(limit.least)} or more, or leave it blank.`;
  else if (limit.most !== null && value > limit.most) answer.fault = `Too large: at most ${roundNumber(limit.most)}.`;
  else if (/^[1-9][0-9]{0,2}[.,][0-9]{3}$/.test(typed))
    answer.doubt = `Read as ${value}. If you mean ${typed.replace(/[.,]/, "")}, write it so.`;
  return answer;
}
const roundNumber = value => Number(value.toPrecision(3));

// Three digits and no finer than a hundredth, as Python writes them on this page.
function loadText(newtons) {
  const value = Number((newtons / data.force.size).toPrecision(3));
  return value.toFixed(value < 10 ? 2 : value < 100 ? 1 : 0);
}
// Nearly none and nearly all are not none and all.
const shareText = share => share > 0 && share < 0.01 ? "<1%" : share > 0.99 && share < 1 ? ">99%" : `${Math.round(100 * share)}%`;
function expectedText(cell) {
  const [low, middle, high] = [0.05, 0.5, 0.95].map(chance => loadText(readingAt(cell, chance)));
  return `Expect ${low} to ${high} ${data.force.word}; half of all pulls above ${middle}. Chance that it digs in: ${shareText(data.sets[cell])}.`;
}

const inHundred = chance => chance < 0.01 ? "fewer than 1" : `${Math.round(100 * chance)}`;
const again = test => `When boat and crew are ready, look at the anchor (clogged, fouled, bent?) and repeat the ${test} on fresh ground. `
  + "Keep this reading too: it counts.";

// The verdict on one pull: null when nothing can be said yet. Loads as for `sides`; both blank: it did not dig in.
function verdict(cell, held, released, slid) {
  if (cell < 0) return null;
  if (!(held > 0 || released > 0)) {
    if (!slid) return null;
    const chance = 1 - data.sets[cell], repeat = chance < UNUSUAL;
    return { chance, repeat, words: repeat
      ? `Unusual: of 100 pulls here, ${inHundred(chance)} would not dig in. ${again("pull")}`
      : `As expected: of 100 pulls here, ${inHundred(chance)} would not dig in.` };
  }
  const { atLeast, atMost } = sides(cell, held > 0 ? held : 0, released > 0 ? released : Infinity);
  return judged(atLeast, atMost, released > 0, "pull", "pulls");
}
// The same for every load: twice the smaller side. `ended`: it was seen to let go.
function judged(atLeast, atMost, ended, test, tests) {
  const chance = Math.min(1, 2 * Math.min(atLeast, atMost));
  const share = `Of 100 ${tests}, ${inHundred(chance)} would come out this far or further.`;
  if (chance < UNUSUAL) return { chance, repeat: true, words: `Unusually ${atMost < atLeast ? "low" : "high"}. ${share} ${again(test)}` };
  return { chance, repeat: false, words: ended ? `As expected. ${share}` : "As expected so far." };
}

// Chance of each count of successes: alike for every group of draws, within each by Polya's urn.
function countChances(cell, attempts, held) {
  const shares = new Array(attempts + 1).fill(0), groups = resetOdds.length / cells;
  // An attempt counts when the anchor digs in and then holds the load that it was judged by.
  const holds = held > 0 ? Math.min(1, (1 - chanceUpTo(cell, held)) / Math.max(data.sets[cell], 1e-9)) : 1;
  for (let group = 0; group < groups; group++) {
    const at = group * cells + cell, all = resetConcentration[at];
    const chance = Math.min(1 - 1e-9, Math.max(1e-9, holds / (1 + Math.exp(-resetOdds[at]))));
    const good = chance * all, bad = all - good;
    let one = 1;
    for (let k = 0; k < attempts; k++) one *= (bad + k) / (all + k);
    for (let k = 0; ; k++) {
      shares[k] += one / groups;
      if (k === attempts) break;
      one *= (attempts - k) / (k + 1) * (good + k) / (bad + attempts - k - 1);
    }
  }
  return shares;
}
const TRY_AGAIN = "When boat and crew are ready, look at the anchor (clogged, fouled, bent?) and try again on fresh ground. "
  + "Keep this count too.";

// The verdict on a count of successes; null when the log tells of no reset or the count is not complete.
function countVerdict(cell, attempts, successes, held) {
  if (cell < 0 || !resetOdds || !(attempts > 0) || !(successes >= 0) || successes > attempts || attempts > 200) return null;
  const shares = countChances(cell, attempts, held), sum = part => part.reduce((total, share) => total + share, 0);
  const asFew = sum(shares.slice(0, successes + 1)), asMany = sum(shares.slice(successes));
  const chance = Math.min(1, 2 * Math.min(asFew, asMany)), share = `Of 100 counts like this one, ${inHundred(chance)} would come out this far or further.`;
  return chance < UNUSUAL
    ? { chance, repeat: true, words: `Unusually ${asFew < asMany ? "few" : "many"}. ${share} ${TRY_AGAIN}` }
    : { chance, repeat: false, words: `As expected. ${share}` };
}
