// The kinds of entry: their words, and what each asks. Pure: no page, no device.
//
// Exports
//   KINDS           in the order in which they are offered; see the fields of one below
//   kindOf(name)
//   offered({lot, open})  the kinds that make sense for a lot, a look-alike set, or the tank itself
//   inWords({kind, n, unit, one, to, about, animal, place, at})  the confirmation: "2 dead, two-spotted goby, Kelp
//                   Hall, 08:10"; "about 40, between 30 and 60, hatched, ..."
//   SEXES, BODIES, PARTS, SUSPICIONS, ABUNDANCE  [value, words]

export const SEXES = [["unknown", "not known"], ["male", "male"], ["female", "female"], ["hermaphrodite", "hermaphrodite"]];

export const BODIES = [
  ["freezer", "Freezer"],
  ["vet", "For the vet"],
  ["museum", "To the museum"],
  ["fixed", "Fixed"],
  ["discarded", "Thrown away"],
  ["not found", "Not found"],
];

// How much there is of what nobody counts; the letters are those of the count sheets (SACFOR).
export const ABUNDANCE = [["S", "superabundant"], ["A", "abundant"], ["C", "common"], ["F", "frequent"], ["O", "occasional"], ["R", "rare"]];

export const PARTS = [["whole", "Whole"], ["part", "Part"], ["remains", "Remains"]];

export const SUSPICIONS = ["eaten", "jumped out", "overflow or drain", "taken", "hiding"];

// button: words of the choice. said: the words of the confirmation. asks: fields beyond number, time and note.
// for: what it is offered for: "lot", "open" (look-alikes or genus only), "tank" (no animal of the list). An
// animal that is on no list is sent as a note: it does not change the book until a registrar gives it a name.
// touches: somebody handles an animal or a body, so cautions come first.
export const KINDS = [
  kind("died", "Died", (n) => `${n} dead`, ["body", "cause"], { for: ["lot", "open"], touches: true }),
  kind("missing", "Missing", (n) => `${n} missing`, ["last_seen", "suspicion"], { for: ["lot", "open"] }),
  kind("moved", "Moved", (n) => `${n} moved`, ["to_place"], { touches: true }),
  kind("put_down", "Put down", (n) => `${n} put down`, ["cause", "body"], { for: ["lot", "open"], touches: true }),
  kind("born", "Born", (n) => `${n} born`, ["range"], { animals: "groups" }),
  kind("hatched", "Hatched", (n) => `${n} hatched`, ["young", "range"], { animals: "groups" }),
  kind("eggs", "Eggs", (n) => `${n} laid`, ["eggs", "range"]),
  kind("divided", "Divided", (n) => `${n} more by division`, [], { only: "can_divide" }),
  kind("found", "Found", (n) => `${n} found`, [], { animals: "groups", touches: true }),
  kind("arrived", "Arrived", arrived, ["arrival"], { touches: true }),
  kind("settled", "Settled from sea water", (n) => `${n} settled from sea water`, [], { animals: "groups" }),
  kind("seen_again", "Seen again", (n) => `${n} seen again`, []),
  kind("sexed", "Sexed", (n, to) => (to ? `${n} now ${to}` : `${n} sexed`), ["sexes"], { touches: true }),
  kind("staged", "Stage", (n, to) => (to ? `${n} now ${to}` : `${n} of another stage`), ["stages"]),
  kind("note", "Note", () => "note", [], { for: ["lot", "tank"] }),
  kind("unlisted", "Not on this list", (n, to) => `${to || n} not on the list`, ["unlisted"], { for: ["tank"], touches: true }),
];

/** ``dead``: "all" or how many were dead on arrival besides the ``n`` that live. */
function arrived(n, dead) {
  if (!dead) return `${n} arrived`;
  if (dead !== "all") return `${n} arrived alive, ${dead} dead on arrival`;
  return `${n} arrived, ${n > 1 || String(n).includes(" ") ? "all " : ""}dead on arrival`;
}

function kind(name, button, said, asks, more = {}) {
  return { kind: name, button, said, asks, for: ["lot"], animals: "all", only: null, touches: false, ...more };
}

export function kindOf(name) {
  return KINDS.find((one) => one.kind === name);
}

export function offered({ lot, open }) {
  const what = lot ? "lot" : open ? "open" : "tank";
  return KINDS.filter(
    (one) =>
      one.for.includes(what) &&
      !(lot && one.animals === "groups" && lot.kind === "individual") &&
      !(lot && one.only && !lot[one.only]),
  );
}

export function inWords({ kind: name, n, unit, one, to, about, animal, place, at }) {
  // What was laid is counted by itself, whoever laid it.
  const laid = name === "eggs" && to ? to : null;
  const by = laid ?? (one ? null : unit);
  const many = by === null ? "" : by && by !== "animal" ? `${n} ${n === 1 ? by : plural(by)}` : n;
  const where = name === "moved" && to ? `${place} to ${to}` : place;
  return [...whatInWords(kindOf(name), many, to, about), animal, where, at].filter(Boolean).join(", ");
}

/** ``about``: {low, high}, the least and the most that the number can have been; null where it is not said. */
function whatInWords(kind, many, to, about) {
  const { low, high } = { low: null, high: null, ...about };
  if (low === null && high === null) return [kind.said(many, to).trim()];
  const bounds = low === null ? `at most ${high}` : high === null ? `at least ${low}` : `between ${low} and ${high}`;
  const number = low === high ? [`exactly ${many}`] : [`about ${many}`, bounds];
  return [...number, kind.said("", to).trim()];
}

function plural(unit) {
  if (unit.endsWith("y")) return `${unit.slice(0, -1)}ies`;
  return /(s|x|ch)$/.test(unit) ? `${unit}es` : `${unit}s`;
}
