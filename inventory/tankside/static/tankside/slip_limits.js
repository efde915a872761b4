// What a permit says of a slip, without signal. It warns and never blocks: what was done is written down.
//
// Exports (pure: no page, no device)
//   lineFor(take, permit, names)   the permit's line that counts the animal, or null. take: {name, line}; line
//                       is the number of the line whose button was tapped. names: common name → scientific
//   counts(take)        how many count against a limit: kept + died; those let go alive are told apart
//   totals(takes, permit, names, earlier)  for each line that the slip touches: {line, here, before, limit,
//                       left, over}. earlier: takes of slips of this permit that wait on this device
//   warnings({slip, permit, persons, day, sums})  sentences
//   nameOf(line)        the name to begin with: "Two-spotted goby" of "Two-spotted goby (Gobiusculus flavescens)"

const MANY = /^\s*(?:\d+\s*[x×]?\s+)?(.*?)(?:\s*[x×]\s*\d+)?\s*$/i;

export function nameOf(line) {
  return line.scope === "taxon" ? line.words.split(",")[0].split("(")[0].trim() : "";
}

/** "3 x sea snail" and "sea snail x3" are a sea snail. */
function plain(name) {
  return (MANY.exec(name ?? "")?.[1] ?? "").trim().toLowerCase();
}

function namesIn(words) {
  return words.split(",")[0].split(/[()]/).map((part) => part.trim().toLowerCase()).filter(Boolean);
}

export function lineFor(take, permit, names = new Map()) {
  const written = plain(take.name);
  const accepted = names.get(written) ?? "";
  const own = permit.lines.filter((line) => line.scope === "taxon");
  const found = own.find((line) => {
    const known = [...namesIn(line.words), ...line.names.map((name) => name.toLowerCase())];
    return known.includes(written) || (accepted && known.includes(accepted.toLowerCase()));
  });
  return found ?? permit.lines.find((line) => line.number === take.line && line.scope !== "taxon") ?? null;
}

export const counts = (take) => (take.kept || 0) + (take.died || 0);

export function totals(takes, permit, names, earlier = []) {
  const sums = new Map();
  const add = (some, field) => {
    for (const take of some) {
      const line = lineFor(take, permit, names);
      if (!line) continue;
      const sum = sums.get(line.number) ?? { line, here: 0, before: 0 };
      sum[field] += counts(take);
      sums.set(line.number, sum);
    }
  };
  add(takes, "here");
  add(earlier, "before");
  return [...sums.values()].map((sum) => withLimit(sum));
}

function withLimit({ line, here, before }) {
  // A limit for each trip starts anew with this one; other slips are other trips.
  const waiting = line.per === "trip" ? 0 : before;
  const free = line.per === "trip" ? line.limit : line.left;
  const left = free === null || free === undefined ? null : free - waiting - here;
  return { line, here, before: waiting, limit: line.limit, left, over: left !== null && left < 0 ? -left : 0 };
}

export function inWords({ line, here, before, left, over }) {
  const waiting = before ? `, ${before} on slips not yet sent` : "";
  const head = `${line.words}: ${here} on this slip${waiting}`;
  if (left === null) return `${head}; what is left is not known here.`;
  return over ? `${head}; ${over} more than the permit allows.` : `${head}; ${left} left.`;
}

export function warnings({ slip, permit, persons, day, sums }) {
  const found = [];
  if (day < permit.valid_from || day > permit.valid_until) {
    found.push(`${permit.number} is valid from ${permit.valid_from} to ${permit.valid_until}.`);
  }
  const strangers = slip.people
    .map((id) => persons.find((person) => person.id === id)?.name)
    .filter((name) => name && permit.people.length && !permit.people.includes(name));
  if (strangers.length) found.push(`Not named on ${permit.number}: ${strangers.join(", ")}.`);
  if (permit.gear.length && slip.gear && !slip.gear.split(/[,+]/).every((one) => allowed(one, permit.gear))) {
    found.push(`${permit.number} allows: ${permit.gear.join(", ")}.`);
  }
  if (permit.seasons.length && !permit.seasons.some(([from, to]) => inSeason(day.slice(5), from, to))) {
    found.push(`Outside the season of ${permit.number}: ${permit.seasons.map(([from, to]) => `${from} to ${to}`).join(", ")}.`);
  }
  for (const sum of sums) {
    if (sum.over) found.push(`${inWords(sum)} Let them go alive if you can; write what was done.`);
  }
  return found;
}

function allowed(used, gear) {
  return !used.trim() || gear.some((one) => one.trim().toLowerCase() === used.trim().toLowerCase());
}

function inSeason(day, from, to) {
  return from <= to ? from <= day && day <= to : day >= from || day <= to;
}
