// What the device keeps, in IndexedDB: the outbox, the pictures that go with it, and single things under a key.
//
// Exports
//   database()                    the open database (a promise of idb's IDBPDatabase)
//   kept(key) / keep(key, value)  one thing under a key; keep() resolves when it is on the disk
//   change(key, alter)            reads, alters and writes one thing in one transaction; answers the new
//   forget(key)
//   keysOf(start) / forgetAll(start, which)   all keys that begin so; forgets those, or of those which(key)
//   PICTURE                       how the keys of pictures begin
//   addRow(row, pictures)         a row of the outbox, with its pictures or not at all. Those of the entry that
//                                 it replaces go over to it
//   addPictureRow(row) / pictureRows(entry) / alterPicture(identifier, alter)   see picture_outbox.js
//   inWords(error)                what went wrong with the device's memory, as a person can read it
//   newIdentifier()               a random UUID
//   askToStay()                   asks the browser not to clear what is kept; true when it promises
//
// Nothing here is ever deleted by a new version. A new version may only add stores and indexes, so that a
// page of an older version goes on working beside it: it opens whatever version is there.

import { openDB } from "../vendor/idb-8.0.4/index.js";

const NAME = "tidetally-tank-side";
// 2: the store "pictures".
const VERSION = 2;
const STRICT = { durability: "strict" };

let opened = null;

export function database() {
  opened ??= open().catch((error) => {
    opened = null;
    throw error;
  });
  return opened;
}

async function open() {
  try {
    return await openDB(NAME, VERSION, handlers());
  } catch (error) {
    // A newer version has been here and has added something; what this version knows is still there.
    if (error.name === "VersionError") return openDB(NAME, undefined, handlers());
    throw error;
  }
}

function handlers() {
  return {
    upgrade(db) {
      if (!db.objectStoreNames.contains("outbox")) {
        // Keyed by a running number: keys made of identifiers would lose the order of writing.
        const outbox = db.createObjectStore("outbox", { keyPath: "sequence", autoIncrement: true });
        outbox.createIndex("identifier", "identifier", { unique: true });
        outbox.createIndex("state", "state");
      }
      if (!db.objectStoreNames.contains("kept")) db.createObjectStore("kept");
      if (!db.objectStoreNames.contains("pictures")) {
        db.createObjectStore("pictures", { keyPath: "identifier" }).createIndex("entry", "entry");
      }
    },
    // A newer page wants to add something: let it, and open again when next asked.
    blocking(_current, _blocked, event) {
      event.target.close();
      opened = null;
    },
    terminated() {
      opened = null;
    },
  };
}

export async function kept(key) {
  return (await database()).get("kept", key);
}

export async function keep(key, value) {
  await change(key, () => value);
}

export async function change(key, alter) {
  const tx = (await database()).transaction("kept", "readwrite", STRICT);
  const value = alter(await tx.store.get(key));
  await Promise.all([tx.store.put(value, key), tx.done]);
  return value;
}

export async function forget(key) {
  const tx = (await database()).transaction("kept", "readwrite", STRICT);
  await Promise.all([tx.store.delete(key), tx.done]);
}

export const PICTURE = "picture:";

export async function keysOf(start) {
  return (await database()).getAllKeys("kept", IDBKeyRange.bound(start, `${start}\uffff`));
}

export async function forgetAll(start, which = () => true) {
  const keys = (await keysOf(start)).filter(which);
  if (!keys.length) return;
  const tx = (await database()).transaction("kept", "readwrite", STRICT);
  await Promise.all([...keys.map((key) => tx.store.delete(key)), tx.done]);
}

/** Adds a row to the outbox; answers its running number once the disk has it. */
export async function addRow(row, added = []) {
  const tx = (await database()).transaction(["outbox", "pictures"], "readwrite", STRICT);
  const [outbox, pictures] = [tx.objectStore("outbox"), tx.objectStore("pictures")];
  const done = tx.done.then(() => null, (error) => error);
  try {
    const before = row.body.replaces ? await pictures.index("entry").getAll(row.body.replaces) : [];
    const handed = before.map((one) => ({ ...one, entry: row.identifier }));
    const adding = outbox.add(row);
    adding.catch(() => {}); // when a picture is refused, that is what is told
    const [sequence] = await Promise.all([adding, ...[...handed, ...added].map((one) => pictures.put(one))]);
    const failed = await done;
    if (failed) throw failed;
    return sequence;
  } catch (error) {
    // All or nothing, also where only one of them was refused before the disk was asked.
    if ((await Promise.race([done, "under way"])) === "under way") tx.abort();
    throw error;
  }
}

export async function addPictureRow(row) {
  const tx = (await database()).transaction("pictures", "readwrite", STRICT);
  await Promise.all([tx.store.add(row), tx.done]);
}

/** The rows of pictures, of one entry or all, the oldest first. */
export async function pictureRows(entry) {
  const db = await database();
  const found = entry ? await db.getAllFromIndex("pictures", "entry", entry) : await db.getAll("pictures");
  return found.sort((a, b) => a.saved_at.localeCompare(b.saved_at));
}

/** Alters one row of a picture; ``alter`` answers what to keep, or null. Nothing when it is not there. */
export async function alterPicture(identifier, alter) {
  const tx = (await database()).transaction("pictures", "readwrite", STRICT);
  const row = await tx.store.get(identifier);
  if (row) {
    const altered = alter(row);
    if (altered === null) await tx.store.delete(identifier);
    else await tx.store.put(altered);
  }
  await tx.done;
}

/** Alters rows in one transaction; ``alter`` gets each row that is there and answers what to keep, or null. */
export async function alterRows(sequences, alter) {
  const tx = (await database()).transaction("outbox", "readwrite", STRICT);
  for (const sequence of sequences) {
    const row = await tx.store.get(sequence);
    if (!row) continue;
    const altered = alter(row);
    if (altered === null) await tx.store.delete(sequence);
    else await tx.store.put(altered);
  }
  await tx.done;
}

/** All rows of the outbox in the order of writing; only those of ``state`` when one is given. */
export async function rows(state) {
  const db = await database();
  const found = state
    ? await db.getAllFromIndex("outbox", "state", state)
    : await db.getAll("outbox");
  return found.sort((a, b) => a.sequence - b.sequence);
}

export function inWords(error) {
  if (error?.name === "QuotaExceededError") {
    return "This device has no room left. Nothing was saved. Free some space (pictures, other apps) and save again; until then write it on paper.";
  }
  if (error?.name === "NoAuthorError") return error.message;
  return `This device could not keep it (${error?.name ?? error}: ${error?.message ?? ""}). Nothing was saved; write it on paper and tell the registrar.`;
}

export async function askToStay() {
  if (!navigator.storage?.persist) return false;
  return (await navigator.storage.persisted()) || navigator.storage.persist();
}

/** A random identifier (RFC 9562, version 4); plain http has no randomUUID. */
export function newIdentifier() {
  if (crypto.randomUUID) return crypto.randomUUID();
  const bytes = crypto.getRandomValues(new Uint8Array(16));
  bytes[6] = (bytes[6] & 0x0f) | 0x40;
  bytes[8] = (bytes[8] & 0x3f) | 0x80;
  const hex = Array.from(bytes, (byte) => byte.toString(16).padStart(2, "0")).join("");
  return [hex.slice(0, 8), hex.slice(8, 12), hex.slice(12, 16), hex.slice(16, 20), hex.slice(20)].join("-");
}
