// The sheets of a person on this device, and what they have written on them so far.
//
// A sheet holds no number. What is written is kept for its counter alone and goes from here when it is handed
// in; what was sent is emptied by the outbox, so that the next counter finds no number on this device.
//
// Exports
//   sheetsOf(person)            the sheets: asked of the server first, else the kept copy; null when this
//                               device never had them. Besides, fetched_at and fresh
//   draftOf(person, sheet)      {lines: {number: stated}, written: [stated], replaces}
//   keepDraft(person, sheet, draft) / dropDraft(person, sheet)
//   PATH, MEND, EMPTIED         for the outbox
//   bodyOf(sheet, draft, handIn) the entry for the interface
//   draftOfRow(row)             what a row that came back said, as a draft

import { NoSignal, ask } from "../tankside/device.js";
import { stamp } from "../tankside/lists.js";
import { forget, keep, kept } from "../tankside/store.js";
import { middle } from "./passes.js";

export const PATH = "/api/v1/counts";
export const MEND = "/tank/count#mend/";
// What may stay on the device once a count is sent: nothing that was counted.
export const EMPTIED = ["identifier", "person", "saved_at", "sheet", "round", "hand_in", "replaces"];

const LIST = (person) => `count-sheets:${person.id}`;
const DRAFT = (person, sheet) => `count:${person.id}:${sheet.number}:${sheet.round}`;

export async function sheetsOf(person) {
  const before = (await kept(LIST(person))) ?? null;
  if (!person.pass) return before;
  try {
    const answer = await ask("/api/v1/count-sheets", { method: "POST", json: { person: person.id, pass: person.pass } });
    if (!answer.ok) return before;
    const got = { ...(await answer.json()), fetched_at: await stamp() };
    await keep(LIST(person), got);
    return { ...got, fresh: true };
  } catch (error) {
    if (error instanceof NoSignal || error instanceof SyntaxError || error instanceof TypeError) return before;
    throw error;
  }
}

export async function draftOf(person, sheet) {
  return (await kept(DRAFT(person, sheet))) ?? { lines: {}, written: [] };
}

export const keepDraft = (person, sheet, draft) => keep(DRAFT(person, sheet), draft);
export const dropDraft = (person, sheet) => forget(DRAFT(person, sheet));

export function bodyOf(sheet, draft, handIn) {
  return {
    sheet: sheet.number,
    round: sheet.round,
    hand_in: handIn,
    lines: sheet.lines
      .filter((line) => says(draft.lines[line.line]))
      .map((line) => ({ line: line.line, ...stated(draft.lines[line.line]), seen: draft.lines[line.line].seen ?? {} })),
    written_in: draft.written.filter(says).map((one) => ({ name: one.name.trim(), ...stated(one) })),
    ...(draft.replaces ? { replaces: draft.replaces } : {}),
  };
}

/** A blank line is not counted; zero is a count. */
export function says(one) {
  if (!one) return false;
  const sexes = Object.values(one.sexes ?? {}).some((n) => Number.isInteger(n));
  return Number.isInteger(one.value) || Boolean(one.passes?.length) || Boolean(one.letter) || sexes || Object.keys(one.seen ?? {}).length > 0;
}

function stated(one) {
  const sexed = Object.values(one.sexes ?? {}).some((n) => Number.isInteger(n));
  const sexes = sexed ? Object.fromEntries(Object.entries(one.sexes).map(([sex, n]) => [sex, n ?? 0])) : null;
  return {
    counted_at: one.counted_at,
    value: one.passes?.length ? middle(one.passes) : (one.value ?? null),
    passes: one.passes ?? [],
    at_least: Boolean(one.at_least),
    letter: one.letter ?? "",
    sexes,
    remark: (one.remark ?? "").trim(),
  };
}

export function draftOfRow({ identifier, body }) {
  const lines = Object.fromEntries(body.lines.map(({ line, ...said }) => [line, said]));
  return { lines, written: body.written_in, replaces: identifier };
}
