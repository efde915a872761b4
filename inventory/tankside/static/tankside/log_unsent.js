// Tells on the page "My tanks" what waits on this device and was not yet sent. Without a store, nothing is told.

import { onChange, pending } from "./outbox.js";

const notice = document.getElementById("unsent");

async function tell() {
  try {
    const rows = await pending();
    const authors = [...new Set(rows.map((row) => row.author.name))].join(", ");
    const entries = rows.length === 1 ? "1 entry" : `${rows.length} entries`;
    notice.textContent = rows.length ? `Not yet sent from this device: ${entries}, by ${authors}.` : "";
    notice.hidden = rows.length === 0;
  } catch {
    notice.hidden = true;
  }
}

if (notice) {
  onChange(tell);
  tell();
}
